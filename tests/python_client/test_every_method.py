"""Every method of both faces against a real daemon."""

import inspect
import time
from datetime import datetime, timedelta, timezone
from xml.etree import ElementTree

import numpy as np
import pytest

import goodwire
import goodwire.aio
from faces import first
from goodwire import Outcome, State
from rigs import DELAY_MS


def test_both_faces_have_the_same_methods_with_the_same_parameters():
    for waiting, looping in ((goodwire.Client, goodwire.aio.AsyncClient), (goodwire.Handle, goodwire.aio.AsyncHandle)):
        for name, method in inspect.getmembers(waiting, inspect.isfunction):
            if not name.startswith("_"):
                twin = getattr(looping, name)
                assert list(inspect.signature(method).parameters) == list(inspect.signature(twin).parameters), name
        public = {name for name in vars(looping) if not name.startswith("_")}
        assert public == {name for name in vars(waiting) if not name.startswith("_")}


def test_the_daemon_tells_status_links_and_analyses(venue):
    status = venue.status()
    assert (status.site, status.backend, status.simulated, status.link_count) == ("script", "simulated", True, 2)
    assert status.rate_hz == 48000 and status.hold is None and status.is_ready
    lectern, foyer = venue.links()
    assert (lectern.name, lectern.send, lectern.return_, lectern.setup["channel"]) == ("lectern", 1, 1, "2")
    assert foyer.name == "foyer"
    by_id = {analysis.id: analysis for analysis in venue.analyses()}
    assert {"latency", "response", "level", "noise"} <= set(by_id)
    repeats = next(one for one in by_id["latency"].parameters if one.id == "repeats")
    assert repeats.kind == "WHOLE" and repeats.default >= repeats.min


def test_a_link_is_measured_with_parameters_and_news(venue):
    heard = []
    measurement = venue.measure("lectern", "latency", repeats=4, on_news=heard.append, setup={"channel": "3"})
    assert measurement.state is State.SUCCEEDED and measurement.simulated and measurement.is_over
    assert measurement.parameters["repeats"] == 4 and measurement.setup["channel"] == "3"
    latency = measurement.figure("latency")
    assert latency.value == pytest.approx(DELAY_MS, abs=0.01) and latency.unit == "ms"
    assert measurement.outcome is Outcome.PASS and measurement.exit_code == 0
    assert all(isinstance(one, goodwire.News) for one in heard)


def test_a_handle_is_watched_awaited_and_cancelled(venue):
    (handle,) = venue.start("lectern", "latency")
    *_, last = list(handle.watch())
    assert last.name == handle.name and last.state is State.SUCCEEDED
    assert handle.wait().name == handle.name
    assert handle.cancel().state is State.SUCCEEDED, "what is over stays as it is"


def test_several_links_are_measured_at_once(venue):
    lectern, foyer = venue.measure_all("all", "latency")
    assert (lectern.link, foyer.link) == ("lectern", "foyer")
    assert foyer.figure("latency").value == pytest.approx(5.0, abs=0.01)


def test_channels_are_planned_with_a_survey_from_a_file_or_a_text(venue, tmp_path):
    plan = venue.measure("lectern", "channels").require().channel_plan
    assert plan.certainty is goodwire.Certainty.EXACT and plan.flaws == ()
    # Wi-Fi channel 6 ends at 2447 MHz: channel 3 begins 2 MHz above it, 2 lies 1 MHz from channel 1.
    assert [(link.link, link.channel, link.channel_now) for link in plan.links] == [("lectern", "3", "2")]
    assert plan.separation_mhz_least == pytest.approx(2.0) and venue.links()[0].channel_table == "belt"
    air = tmp_path / "air.txt"
    air.write_text("band 2450 2460 oven\n")
    for survey in (air, str(air), goodwire.Survey("band 2450 2460 oven", ended=timedelta(minutes=5), origin=str(air))):
        measurement = venue.measure("lectern", "channels", survey=survey).require()
        assert measurement.channel_plan.links[0].channel == "2"
        assert measurement.channel_plan.occupied[-1].origin == str(air)
        assert "survey-age-unknown" not in [note.id for note in measurement.notes]
    (of_all,) = venue.measure_all("all", "channels", survey=goodwire.Survey("6 20", form="TYPED"))
    assert "survey-age-unknown" in [note.id for note in of_all.notes]
    (handle,) = venue.start("lectern", "channels", survey=air)
    assert handle.wait().channel_plan.links[0].channel == "2"
    assert venue.measure("lectern", "latency").channel_plan is None


def test_the_picture_of_a_plan_names_link_and_channel_and_what_is_no_plan_has_none(venue):
    planned = venue.measure("lectern", "channels").require()
    picture = ElementTree.fromstring(venue.draw_channel_plan(planned.name))
    assert picture.tag == "{http://www.w3.org/2000/svg}svg"
    assert "lectern · 3" in [text.strip() for text in picture.itertext()]
    with pytest.raises(goodwire.Refused, match="plan"):
        venue.draw_channel_plan(venue.measure("lectern", "latency").name)


@pytest.mark.parametrize(
    ("survey", "said"),
    [
        ("gone.txt", "gone.txt cannot be read"),
        (goodwire.Survey("6 20", form="SPELLED"), "TYPED, SPECTRUM, SCAN"),
        (goodwire.Survey("6 20", ended=datetime(2026, 1, 1)), "has no zone"),
        (goodwire.Survey("15 20"), "line 1: Wi-Fi channel 15 does not exist"),
    ],
)
def test_a_survey_that_cannot_be_read_is_refused_and_says_why(venue, survey, said):
    with pytest.raises(goodwire.Refused, match=said):
        venue.measure("lectern", "channels", survey=survey)


def test_two_paths_are_matched(venue):
    measurement = venue.match("foyer")
    assert measurement.require().is_match


def test_a_stimulus_is_analysed_after_a_delay_of_480_samples(venue):
    sent = venue.stimulus("latency", rate_hz=48000)
    assert sent.dtype == np.float32 and np.max(np.abs(sent)) <= 1.0
    returned = np.concatenate([np.zeros(480), sent])
    reference = np.concatenate([sent, np.zeros(480)])
    measurement = venue.analyse("latency", sent=sent, returned=returned, reference=reference, rate_hz=48000)
    assert measurement.recorded and measurement.figure("latency").value == pytest.approx(10.0, abs=0.001)


def test_sounds_of_a_result_can_be_heard(venue):
    measurement = venue.measure("lectern", "null").require()
    sound = measurement.sounds[0]
    assert venue.sound(measurement, sound).size == sound.frame_count
    assert venue.sound(measurement, sound.id).size == sound.frame_count


def test_results_are_filtered_and_found_again(venue):
    measured = venue.measure("lectern", "latency")
    assert venue.measurement(measured.name).json() == measured.json()
    newest = next(iter(venue.results(link="lectern", analysis="latency", outcome=Outcome.PASS)))
    assert newest.name == measured.name and not newest.curves
    assert list(venue.results(since=timedelta(hours=1)))
    assert not list(venue.results(since=datetime.now(timezone.utc) + timedelta(hours=1)))
    trend = venue.trend("lectern", "latency", "latency", since=timedelta(hours=1))
    assert trend.unit == "ms" and trend.points[-1].measurement == measured.name


def test_5_results_come_once_each_through_pages_of_2(venue, monkeypatch):
    monkeypatch.setattr("goodwire._asks.PAGE_SIZE_MAX", 2)
    since = datetime.now(timezone.utc)
    measured = [venue.measure("foyer", "latency").name for _ in range(5)]
    assert [one.name for one in venue.results(link="foyer", since=since)] == measured[::-1]


def test_a_baseline_is_set_listed_and_cleared(venue):
    measured = venue.measure("foyer", "latency")
    assert venue.set_baseline(measured).measurement == measured.name
    assert measured.name in [one.measurement for one in venue.baselines()]
    assert venue.clear_baseline("foyer", "latency") is None
    assert measured.name not in [one.measurement for one in venue.baselines()]


def test_a_round_runs_and_is_reported(venue):
    (nightly,) = venue.rounds()
    assert nightly.name == "nightly" and nightly.analyses == ("latency",)
    told = []
    run = venue.run_round("nightly", timeout_s=60, on_run=told.append)
    assert run.state == "ENDED" and run.outcome is Outcome.PASS and run.exit_code == 0
    assert [check.link for check in run.checks] == ["lectern", "foyer"] and told[-1] == run
    assert venue.run(run.name) == run
    assert next(iter(venue.runs(round="nightly", since=timedelta(hours=1)))).name == run.name
    begun = venue.run_round("nightly", wait=False)
    assert venue.cancel_run(begun.name).name == begun.name
    page = venue.report(run.name)
    assert page.startswith("<!DOCTYPE html>") and "lectern" in page


def test_the_room_is_held_released_permitted_and_silenced(venue):
    venue.hold("a wedding")
    assert venue.status().hold == "a wedding"
    assert venue.release() is True and venue.release() is False
    until = venue.permit(timedelta(hours=1), reason="doors are shut")
    assert until > datetime.now(timezone.utc)
    assert venue.withdraw_permit() is True
    away = venue.excuse("foyer", timedelta(days=1), reason="on repair")
    assert away.excused_until_time > datetime.now(timezone.utc)
    assert venue.excuse("foyer", None).excused_until_time is None
    assert venue.stop() == 0


def test_live_levels_of_3_returns_go_on_for_as_long_as_they_are_read(connect, slow_server):
    told = first(5, connect(slow_server), "levels")
    assert len(told) == 5
    for levels in told:
        assert [(one.return_, one.name) for one in levels] == [(1, "lectern"), (2, "foyer"), (3, "reference")]
    assert all(one.peak_dbfs >= one.rms_dbfs - 3.02 and not one.is_clipped for one in told[-1])


def test_the_wiring_is_told_pair_by_pair_and_is_right(venue):
    wiring = venue.wiring(present=True)
    assert wiring.faults == () and wiring.simulated and wiring.level_dbfs == -70.0
    assert [(one.send, one.return_, one.name) for one in wiring.pairs] == [
        (1, 1, "lectern"),
        (2, 2, "foyer"),
        (3, 3, "reference"),
    ]
    lectern = wiring.pairs[0]
    assert lectern.is_heard and not lectern.is_inverted and lectern.level_dbfs == -80.0
    assert lectern.delay_ms == pytest.approx(DELAY_MS, abs=0.05) and lectern.gain_db == pytest.approx(0, abs=0.5)


def test_a_watch_is_marked_by_its_handle_and_by_name_and_finished_with_what_it_saw(connect, slow_server):
    venue = connect(slow_server)
    (handle,) = venue.start("lectern", "dropout", duration_s=60, wake_s=0, present=True, resume=True)
    first_s = eventually_marked(handle, 2.0, "door")
    time.sleep(2)  # the link is found within half a second of the pilot
    assert venue.mark(handle.name, label="no distance") > first_s
    with pytest.raises(goodwire.Refused) as refused:
        handle.mark(-1.0)
    assert [violation.field for violation in refused.value.violations] == ["metres"]
    assert venue.finish(handle.name).name == handle.name
    measurement = handle.wait(timeout_s=30).require()
    assert handle.finish().state is State.SUCCEEDED, "what is over stays as it is"
    marks = [event for event in measurement.events if event.id == "mark"]
    assert [mark.text for mark in marks] == ["door", "no distance"]
    assert marks[0].start_s == pytest.approx(first_s) and marks[0].at == {"metres": 2.0} and marks[1].at == {}
    assert measurement.figure("dropouts").value == 0 and measurement.simulated


def test_what_is_no_watch_does_not_go_on_after_a_restart(venue):
    with pytest.raises(goodwire.Refused) as refused:
        venue.start("lectern", "latency", present=True, resume=True)
    assert [violation.field for violation in refused.value.violations] == ["resume"]


def eventually_marked(handle, metres, label):
    """Marks as soon as the watch is running, after the room was listened to."""
    until = time.monotonic() + 30
    while True:
        try:
            return handle.mark(metres, label)
        except goodwire.GoodwireError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)
