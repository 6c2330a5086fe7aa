"""Errors are typed by what a caller can do about them, and carry the server's words."""

import copy
import dataclasses
import pickle
import time

import grpc
import numpy as np
import pytest
from google.protobuf.any_pb2 import Any
from google.rpc import error_details_pb2, status_pb2

import goodwire
from daemon import running
from goodwire.v1 import rig_pb2
from rigs import IN_REAL_TIME, IN_VIRTUAL_TIME
from wire import pretending


def test_a_wrong_request_is_refused_with_every_wrong_field(venue):
    with pytest.raises(goodwire.Refused) as refused:
        venue.measure("lectern", "latency", repeats=-3, level_dbfs=40, sharpness=1)
    assert refused.value.reason == "INVALID_FIELDS"
    fields = {violation.field for violation in refused.value.violations}
    assert fields == {"parameters.repeats", "parameters.level_dbfs", "parameters.sharpness"}
    assert all(violation.text for violation in refused.value.violations)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None, {"a": 1}, [1, float("nan")], ["x"], object()])
def test_a_parameter_that_is_no_finite_number_is_refused_by_its_name(venue, value):
    with pytest.raises(goodwire.Refused, match="`level_dbfs`"):
        venue.measure("lectern", "latency", level_dbfs=value)


@pytest.mark.parametrize("several", ["all", ["lectern", "foyer"]])
def test_measure_measures_one_link_and_says_what_measures_several(venue, several):
    with pytest.raises(goodwire.Refused, match="measure_all"):
        venue.measure(several, "latency")


def test_an_unknown_name_is_told_with_what_is_near(venue):
    with pytest.raises(goodwire.UnknownName) as unknown:
        venue.run_round("nihgtly")
    assert "nightly" in str(unknown.value) and unknown.value.reason == "NOT_FOUND"
    with pytest.raises(goodwire.UnknownName):
        venue.measurement("measurements/00000000-0000-7000-8000-000000000000")
    with pytest.raises(goodwire.UnknownName, match="gain"):
        venue.measure("lectern", "level").figure("latency")


def test_a_hold_permits_nothing(connect, tmp_path):
    with running(tmp_path, IN_VIRTUAL_TIME) as address:
        venue = connect(address)
        venue.hold("a wedding")
        with pytest.raises(goodwire.NotPermitted, match="a wedding") as refused:
            venue.measure("lectern", "latency", present=True)
        assert refused.value.reason == "HOLD"


@pytest.mark.parametrize(
    ("safety", "reason"),
    [("unattended = false", "PRESENCE_REQUIRED"), ("unattended = true\npermit_hours = 12", "PERMIT_REQUIRED")],
)
def test_nobody_present_and_no_permit_are_told_apart(connect, tmp_path, safety, reason):
    with running(tmp_path, f"{IN_VIRTUAL_TIME}\n[safety]\n{safety}\n") as address:
        venue = connect(address)
        with pytest.raises(goodwire.NotPermitted) as refused:
            venue.measure("lectern", "latency")
        assert refused.value.reason == reason
        assert venue.measure("lectern", "latency", present=True).state is goodwire.State.SUCCEEDED


def test_where_nobody_listens_it_is_told_within_2_s(connect, tmp_path):
    began = time.monotonic()
    with pytest.raises(goodwire.NotRunning, match="goodwired --config"):
        connect(f"unix:{tmp_path}/nobody.sock").measure("lectern", "latency")
    assert time.monotonic() - began < 2


@pytest.mark.parametrize("address", ["lectern", "https://127.0.0.1:1", "unix:", "http://"])
def test_an_address_of_another_kind_is_refused(connect, address):
    with pytest.raises(goodwire.GoodwireError, match="neither unix:PATH nor http://HOST:PORT"):
        connect(address)


def test_the_environment_says_where_the_daemon_listens(connect, server, monkeypatch):
    monkeypatch.setenv("GOODWIRE_SERVER", server)
    assert connect(None).status().site == "script"


def refusing(code, *details):
    """Answers every call with a status of these details."""

    def answer(request, context):
        status = status_pb2.Status(code=code.value[0], message="as told")
        for detail in details:
            packed = Any()
            packed.Pack(detail)
            status.details.append(packed)
        context.set_trailing_metadata((("grpc-status-details-bin", status.SerializeToString()),))
        context.abort(code, "as told")

    return answer


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (grpc.StatusCode.RESOURCE_EXHAUSTED, goodwire.Busy),
        (grpc.StatusCode.ABORTED, goodwire.Busy),
        (grpc.StatusCode.FAILED_PRECONDITION, goodwire.Refused),
        (grpc.StatusCode.INTERNAL, goodwire.GoodwireError),
    ],
)
def test_statuses_become_errors_with_the_servers_reason(connect, code, kind):
    details = refusing(code, error_details_pb2.ErrorInfo(reason="STORAGE_FULL"))
    with pretending({"RigService/GetStatus": details}) as address:
        with pytest.raises(kind, match="as told") as told:
            connect(address).status()
    assert type(told.value) is kind and told.value.reason == "STORAGE_FULL"


def test_details_that_cannot_be_read_leave_the_message(connect):
    def answer(request, context):
        context.set_trailing_metadata((("grpc-status-details-bin", b"\xff\xff\xff"),))
        context.abort(grpc.StatusCode.NOT_FOUND, "as told")

    with pretending({"RigService/GetStatus": answer}) as address:
        with pytest.raises(goodwire.UnknownName, match="as told"):
            connect(address).status()


def test_a_server_that_says_nothing_is_given_up_at_the_deadline(connect, monkeypatch):
    def answer(request, context):
        time.sleep(1.5)
        return rig_pb2.StopResponse()

    # A call's deadline is 15 s; nobody should wait that long for a test.
    ask = goodwire._asks.stop
    monkeypatch.setattr("goodwire._asks.stop", lambda: dataclasses.replace(ask(), timeout_s=0.3))
    with pretending({"RigService/Stop": answer}) as address:
        with pytest.raises(goodwire.TimedOut):
            connect(address).stop()


def test_a_failed_measurement_is_given_and_raised_where_it_is_required(connect, tmp_path):
    with running(tmp_path, IN_REAL_TIME) as address:
        venue = connect(address)
        (handle,) = venue.start("lectern", "response", duration_s=20)
        connect(address).hold("doors")
        measurement = handle.wait(timeout_s=20)
    assert measurement.state is goodwire.State.FAILED and measurement.reason.id == "hold"
    assert measurement.outcome is goodwire.Outcome.UNMEASURED and measurement.exit_code == 3
    with pytest.raises(goodwire.Failed, match="doors") as failed:
        measurement.require()
    assert failed.value.reason == "hold"


def test_what_has_come_cannot_be_changed(venue):
    measurement = venue.measure("lectern", "response")
    with pytest.raises(AttributeError):
        measurement.link = "foyer"
    with pytest.raises(ValueError):
        measurement.curve("magnitude").y[0] = 0.0
    with pytest.raises(TypeError):
        measurement.parameters["repeats"] = 1
    assert measurement.curve("magnitude").y.dtype == np.float64


def test_a_measurement_can_be_copied_and_sent_to_another_process(venue):
    measurement = venue.measure("lectern", "response")
    for twin in (pickle.loads(pickle.dumps(measurement)), copy.deepcopy(measurement)):
        assert twin.json() == measurement.json() and twin.figures == measurement.figures
        assert np.array_equal(twin.curve("magnitude").y, measurement.curve("magnitude").y)
