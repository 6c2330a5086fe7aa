"""Whoever gives up waiting leaves nothing playing; a fork gets a clear error."""

import asyncio
import os
import signal
import threading
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

import goodwire
import goodwire.aio
from goodwire import State


#: A cancelled measurement ramps down, and then is over.
SOON_S = 3


def last_state(server, link="lectern"):
    """How the newest measurement of a link ended; where it has not soon, how it stands."""
    deadline = time.monotonic() + SOON_S
    with goodwire.connect(server) as venue:
        while True:
            newest = next(iter(venue.results(link=link)))
            if newest.is_over or time.monotonic() > deadline:
                return newest.state
            time.sleep(0.05)


def test_a_timeout_of_1_s_cancels_the_measurement(connect, slow_server):
    venue = connect(slow_server)
    began = time.monotonic()
    with pytest.raises(goodwire.TimedOut, match="was not over after 1 s"):
        venue.measure("lectern", "response", duration_s=20, timeout_s=1)
    assert 1 <= time.monotonic() - began < 4
    assert last_state(slow_server) is State.CANCELLED


def test_a_timeout_cancels_every_link_that_was_measured(connect, slow_server):
    venue = connect(slow_server)
    with pytest.raises(goodwire.TimedOut):
        venue.measure_all("all", "response", duration_s=20, timeout_s=1)
    assert [last_state(slow_server, link) for link in ("lectern", "foyer")] == [State.CANCELLED] * 2


def test_a_timeout_cancels_a_round(connect, slow_server):
    venue = connect(slow_server)
    with pytest.raises(goodwire.TimedOut):
        venue.run_round("nightly", timeout_s=0.5)
    time.sleep(SOON_S)
    assert next(iter(venue.runs())).is_over
    assert last_state(slow_server) is State.CANCELLED


def test_an_error_of_the_callers_own_cancels_too(connect, slow_server):
    def fail(news):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        connect(slow_server).measure("lectern", "response", duration_s=20, on_news=fail)
    assert last_state(slow_server) is State.CANCELLED


def test_waiting_for_a_handle_in_vain_leaves_it_running(connect, slow_server):
    (handle,) = connect(slow_server).start("lectern", "response", duration_s=20)
    with pytest.raises(goodwire.TimedOut):
        handle.wait(timeout_s=0.5)
    assert last_state(slow_server) in (State.QUEUED, State.RUNNING)
    handle.cancel()
    assert handle.wait(timeout_s=SOON_S).state is State.CANCELLED


@pytest.fixture
def control_c():
    """Python's own answer to Ctrl-C, which it does not give where it was begun in the background."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("control_c")
def test_control_c_cancels_the_measurement(slow_server):
    with goodwire.connect(slow_server) as venue:
        threading.Timer(1.5, os.kill, (os.getpid(), signal.SIGINT)).start()
        with pytest.raises(KeyboardInterrupt):
            venue.measure("lectern", "response", duration_s=20)
    assert last_state(slow_server) is State.CANCELLED


def test_a_cancelled_task_cancels_the_measurement(slow_server):
    async def begin_and_cancel():
        async with goodwire.aio.connect(slow_server) as venue:
            task = asyncio.create_task(venue.measure("lectern", "response", duration_s=20))
            await asyncio.sleep(1.5)
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task

    asyncio.run(begin_and_cancel())
    assert last_state(slow_server) is State.CANCELLED


def test_eight_measurements_are_watched_on_one_loop(server):
    async def watch():
        async with goodwire.aio.connect(server) as venue:
            handles = [handle for _ in range(4) for handle in await venue.start("all", "latency")]
            return await asyncio.gather(*(handle.wait(timeout_s=60) for handle in handles))

    assert [one.state for one in asyncio.run(watch())] == [State.SUCCEEDED] * 8


@pytest.mark.parametrize("connects_anew", [False, True])
def test_a_forked_process_gets_a_clear_error_within_5_s_and_no_hang(server, connects_anew):
    def ask_in_the_child():
        try:
            (goodwire.connect(server) if connects_anew else venue).status()
        except goodwire.GoodwireError as error:
            return 0 if "forked" in str(error) else 2
        finally:
            venue.close()
        return 1

    with goodwire.connect(server) as venue:
        venue.status()
        child = os.fork()
        if child == 0:
            # Nothing of pytest may run in the child: it leaves by its exit code.
            os._exit(ask_in_the_child())
        assert exit_code(child, 5) == 0
        assert venue.status().site == "script", "the parent goes on"


def exit_code(child, patience_s):
    """How a process ended; None where it had to be killed."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def test_a_spawned_process_connects_as_always(server):
    with goodwire.connect(server) as venue, ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert venue.status() == pool.submit(status_of, server).result(timeout=30)


def status_of(server):
    with goodwire.connect(server) as venue:
        return venue.status()
