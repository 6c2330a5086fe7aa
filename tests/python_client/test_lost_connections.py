"""Connections that break: nothing is lost, nothing is measured twice."""

import contextlib
import subprocess
import threading
import time

import pytest

import goodwire
from daemon import BINARIES
from goodwire import State
from rigs import DELAY_MS, IN_REAL_TIME
from wire import BreakingLine


@pytest.fixture
def line(slow_server):
    line = BreakingLine(slow_server.removeprefix("unix:"))
    yield line
    line.close()


def start(folder, state):
    """Starts a daemon at the folder's socket; gives its process once it listens."""
    (folder / "goodwire.toml").write_text(IN_REAL_TIME)
    command = [BINARIES / "goodwired", "--config", folder / "goodwire.toml", "--state", state]
    with open(folder / "log", "a") as log:
        daemon = subprocess.Popen(
            [*command, "--listen", f"unix:{folder}/d.sock"], stdout=subprocess.PIPE, stderr=log, text=True
        )
    assert daemon.stdout.readline().startswith("listening "), (folder / "log").read_text()
    return daemon


@contextlib.contextmanager
def killable(folder, state):
    """Gives the address of a daemon, and what kills it at once."""
    daemon = start(folder, state)
    try:
        yield f"unix:{folder}/d.sock", daemon.kill
    finally:
        daemon.kill()
        daemon.wait(10)
        daemon.stdout.close()


def count(server, analysis):
    with goodwire.connect(server) as venue:
        return len(list(venue.results(analysis=analysis)))


def test_a_watch_whose_line_breaks_twice_ends_with_the_one_result(connect, line, slow_server):
    venue = connect(line.address)
    before = count(slow_server, "latency")
    for after_s in (1.0, 2.0):
        threading.Timer(after_s, line.cut).start()
    measurement = venue.measure("lectern", "latency", repeats=4)
    assert measurement.state is State.SUCCEEDED
    assert measurement.figure("latency").value == pytest.approx(DELAY_MS, abs=0.01)
    assert count(slow_server, "latency") == before + 1


def test_an_order_whose_answer_is_lost_is_measured_once(connect, line, slow_server):
    venue = connect(line.address)
    venue.status()
    before = count(slow_server, "latency")
    line.drops_answers = True
    assert venue.measure("lectern", "latency").state is State.SUCCEEDED
    assert count(slow_server, "latency") == before + 1


def test_an_upload_whose_line_breaks_is_analysed_once(connect, line, slow_server):
    venue = connect(line.address)
    sent = venue.stimulus("latency", rate_hz=48000)
    before = count(slow_server, "latency")
    line.drops_answers = True
    measurement = venue.analyse("latency", sent=sent, returned=sent, reference=sent, rate_hz=48000)
    assert measurement.state is State.SUCCEEDED and not line.drops_answers
    assert count(slow_server, "latency") == before + 1


def test_a_round_whose_line_breaks_is_run_once(connect, line):
    venue = connect(line.address)
    before = len(list(venue.runs()))
    threading.Timer(1.0, line.cut).start()
    assert venue.run_round("nightly").state == "ENDED"
    assert len(list(venue.runs())) == before + 1


def test_a_daemon_that_is_killed_and_started_again_tells_the_one_measurement_interrupted(connect, tmp_path):
    state = tmp_path / "state"
    with killable(tmp_path, state) as (address, kill):
        venue = connect(address)
        venue.status()
        (handle,) = venue.start("lectern", "response", duration_s=20)
        again = []
        threading.Timer(1.0, kill).start()
        threading.Timer(1.5, lambda: again.append(start(tmp_path, state))).start()
        measurement = handle.wait(timeout_s=25)
        assert measurement.name == handle.name
        assert (measurement.state, measurement.reason.id) == (State.FAILED, "interrupted")
        assert [one.name for one in venue.results()] == [handle.name]
        assert venue.measure("lectern", "latency").state is State.SUCCEEDED
        again[0].terminate()
        again[0].wait(10)


def test_a_daemon_that_stays_away_is_given_up(connect, tmp_path, monkeypatch):
    monkeypatch.setattr("goodwire._patience.PATIENCE_S", 1.0)
    with killable(tmp_path, tmp_path / "state") as (address, kill):
        venue = connect(address)
        venue.status()
        threading.Timer(1.0, kill).start()
        began = time.monotonic()
        with pytest.raises(goodwire.NotRunning, match="no goodwired has answered for 1 s"):
            venue.measure("lectern", "response", duration_s=20)
        assert time.monotonic() - began < 8
