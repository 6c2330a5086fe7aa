"""A plain grpcio client with generated stubs: health, measure, watch, cancel, over both transports."""

import os
import pathlib
import re
import subprocess
import sys
import uuid

import grpc
import pytest
from grpc_health.v1 import health_pb2, health_pb2_grpc

ROOT = pathlib.Path(__file__).resolve().parents[2]
# grpcio sends the path of a Unix socket, percent-encoded, as `:authority`; HTTP/2 servers refuse that.
AUTHORITY = [("grpc.default_authority", "localhost")]


@pytest.fixture(params=["unix", "tcp"])
def channel(request, servers):
    options = AUTHORITY if request.param == "unix" else []
    with grpc.insecure_channel(servers[request.param], options=options) as channel:
        yield channel


@pytest.fixture
def api(stubs):
    from goodwire.v1 import measurement_pb2, measurement_pb2_grpc

    return measurement_pb2, measurement_pb2_grpc


def test_health_is_serving(channel):
    stub = health_pb2_grpc.HealthStub(channel)
    for service in ("", "audio", "store", "plugins"):
        answer = stub.Check(health_pb2.HealthCheckRequest(service=service), timeout=5)
        assert answer.status == health_pb2.HealthCheckResponse.SERVING, service


def test_measure_and_watch_to_the_end(channel, api):
    messages, services = api
    stub = services.MeasurementServiceStub(channel)
    asked = stub.Measure(
        messages.MeasureRequest(links=["lectern"], analysis="latency", request_id=str(uuid.uuid4())), timeout=5
    )
    name = asked.measurements[0].name
    news = list(stub.WatchMeasurement(messages.WatchMeasurementRequest(name=name), timeout=60))
    assert news[0].HasField("measurement"), "the present state comes first"
    last = news[-1].measurement
    assert last.state == messages.Measurement.SUCCEEDED, last.reason
    assert last.simulated
    latency = next(f for f in last.figures if f.id == "latency")
    assert latency.value == pytest.approx(3.125, abs=0.01) and latency.unit == "ms"
    assert stub.GetMeasurement(messages.GetMeasurementRequest(name=name), timeout=5) == last


def test_cancel(channel, api):
    messages, services = api
    stub = services.MeasurementServiceStub(channel)
    request = messages.MeasureRequest(links=["lectern"], analysis="response")
    request.parameters.update({"duration_s": 20})
    name = stub.Measure(request, timeout=5).measurements[0].name
    stub.CancelMeasurement(messages.CancelMeasurementRequest(name=name), timeout=5)
    *_, last = stub.WatchMeasurement(messages.WatchMeasurementRequest(name=name), timeout=10)
    assert last.measurement.state == messages.Measurement.CANCELLED


def test_refusal_names_every_wrong_field(channel, api):
    messages, services = api
    stub = services.MeasurementServiceStub(channel)
    with pytest.raises(grpc.RpcError) as refused:
        stub.Measure(messages.MeasureRequest(links=["nobody"], analysis="horoscope"), timeout=5)
    assert refused.value.code() == grpc.StatusCode.INVALID_ARGUMENT
    assert "nobody" in refused.value.details() and "horoscope" in refused.value.details()


def test_the_example_in_the_read_me_runs_as_it_stands(stubs, servers, tmp_path):
    example = (ROOT / "clients/python/examples/measure.py").read_text()
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(), re.S)
    assert example in blocks, "README.md and clients/python/examples/measure.py differ"
    script = tmp_path / "measure.py"
    script.write_text(example)
    done = subprocess.run(
        [sys.executable, script, servers["unix"], "lectern", "latency"],
        env={**os.environ, "PYTHONPATH": str(stubs)},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert re.search(r"^latency +3\.1\d+ ± ", done.stdout, re.M), done.stdout
