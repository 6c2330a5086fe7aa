"""A server of another version is told by a sentence that names both versions."""

import dataclasses

import pytest

import goodwire
from goodwire.v1 import measurement_pb2, rig_pb2, round_pb2
from wire import pretending


def old(request, context):
    return rig_pb2.Status(version="0.0.7")


def names_both(error):
    return "goodwired 0.0.7" in str(error.value) and f"package is {goodwire.__version__}" in str(error.value)


def test_a_call_that_the_server_does_not_know_is_not_supported(connect):
    with pretending({"RigService/GetStatus": old}) as address:
        venue = connect(address)
        asked = {
            "Measure": lambda: venue.measure("lectern", "latency"),
            "ListRounds": venue.rounds,
            "ListMeasurements": lambda: list(venue.results()),
            "RenderReport": lambda: venue.report("runs/1"),
            "AnalyseRecordings": lambda: venue.analyse("latency", sent=[0.1], returned=[0.1], rate_hz=48000),
        }
        for method, ask in asked.items():
            with pytest.raises(goodwire.NotSupported, match=method) as refused:
                ask()
            assert names_both(refused)


def test_a_server_without_any_version_is_told_as_such(connect):
    with pretending({}) as address:
        with pytest.raises(goodwire.NotSupported, match="a goodwired of unknown version does not know"):
            connect(address).status()


@pytest.mark.parametrize(
    "answer", [measurement_pb2.MeasureResponse(), measurement_pb2.MeasureResponse(measurements=[{"link": "links/a"}])]
)
def test_an_order_that_is_answered_without_a_measurement_is_told_so(connect, answer):
    answers = {"RigService/GetStatus": old, "MeasurementService/Measure": lambda request, context: answer}
    with pretending(answers) as address:
        with pytest.raises(goodwire.NotSupported, match="measurement") as refused:
            connect(address).measure("lectern", "latency")
    assert names_both(refused)


def test_a_run_without_a_name_is_told_so(connect):
    answers = {"RigService/GetStatus": old, "RoundService/RunRound": lambda request, context: round_pb2.Run()}
    with pretending(answers) as address:
        with pytest.raises(goodwire.NotSupported, match="a run without a name") as refused:
            connect(address).run_round("nightly")
    assert names_both(refused)


def test_a_watch_that_ends_before_the_measurement_does_not_go_on_for_ever(connect):
    queued = measurement_pb2.Measurement(name="measurements/1", link="links/a", state="QUEUED")

    def begin(request, context):
        return measurement_pb2.MeasureResponse(measurements=[queued])

    def tell(request, context):
        yield measurement_pb2.WatchMeasurementResponse(measurement=queued)

    answers = {
        "RigService/GetStatus": old,
        "MeasurementService/Measure": begin,
        "MeasurementService/WatchMeasurement": tell,
    }
    with pretending(answers) as address:
        with pytest.raises(goodwire.NotSupported, match="early end to WatchMeasurement") as refused:
            connect(address).measure("a", "latency")
    assert names_both(refused)


def test_an_older_server_that_lacks_new_fields_is_read_as_far_as_it_goes(connect):
    with pretending({"RigService/GetStatus": old}) as address:
        status = connect(address).status()
    assert status.version == "0.0.7" and status.hold is None and status.permit_until_time is None
    assert dataclasses.is_dataclass(status)


def test_states_and_outcomes_of_a_newer_server_are_never_taken_for_success():
    message = measurement_pb2.Measurement(name="measurements/1")
    message.state = 17
    measurement = goodwire.results.measurement_of(message)
    assert measurement.state is goodwire.State.UNKNOWN and measurement.exit_code == 3
    message.state, message.verdict.outcome = measurement_pb2.Measurement.SUCCEEDED, 17
    assert goodwire.results.measurement_of(message).outcome is goodwire.Outcome.UNMEASURED
