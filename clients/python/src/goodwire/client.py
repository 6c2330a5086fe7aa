"""The client that waits."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from types import TracebackType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import _asks, _requests
from ._connection import Connection
from ._errors import GoodwireError, NotRunning, Refused
from ._patience import Patience
from ._uploads import Upload
from .live import ReturnLevel, Wiring
from .radio import SurveySource
from .recordings import Mark, Source
from .results import Measurement, Outcome, Sound
from .rig import Analysis, Baseline, Link, News, Round, Run, Status, Trend
from .v1 import round_pb2

#: Is told what is new while something is waited for.
OnNews = Callable[[News], None]
#: Is told how a run stands at each of its changes.
OnRun = Callable[[Run], None]


class Handle:
    """A measurement that was asked for: to be followed, awaited or cancelled."""

    def __init__(self, connection: Connection, measurement: Measurement) -> None:
        self._connection = connection
        #: ``measurements/…``.
        self.name = measurement.name
        #: The bare name of the link.
        self.link = measurement.link

    def watch(self, *, timeout_s: float | None = None) -> Iterator[News | Measurement]:
        """What is new until it is over; the last is the final :class:`Measurement`.

        A lost connection is taken up again for half a minute.
        """
        return self._connection.follow(self.name, Patience(timeout_s))

    def wait(self, *, timeout_s: float | None = None, on_news: OnNews | None = None) -> Measurement:
        """Waits until it is over; whoever gives up here leaves it running."""
        return self._wait(Patience(timeout_s), on_news)

    def cancel(self) -> Measurement:
        """Ends it: its sound stops at once, and :meth:`wait` tells soon after how it ended.

        One that is over stays as it is.
        """
        return self._connection.ask(_asks.cancel(self.name))

    def mark(self, metres: float | None = None, label: str = "") -> float:
        """Notes on a running watch, such as ``dropout``, where somebody stands now; gives its seconds there."""
        return self._connection.persist(_asks.mark(self.name, metres, label))

    def finish(self) -> Measurement:
        """Ends a running watch with what it saw, where :meth:`cancel` would have it tell nothing.

        :meth:`wait` tells the result soon after. One that is over stays as it is.
        """
        return self._connection.ask(_asks.finish(self.name))

    def _wait(self, patience: Patience, on_news: OnNews | None) -> Measurement:
        for news in self._connection.follow(self.name, patience):
            if isinstance(news, Measurement):
                if news.is_over:
                    return news
            elif on_news:
                on_news(news)
        raise NotRunning(f"{self.name} was not told to its end")


class Client:
    """A connection to a goodwired. Made by :func:`goodwire.connect`; ends with its ``with``."""

    def __init__(self, server: str | None = None) -> None:
        self._connection = Connection(server)

    def __enter__(self) -> Client:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Ends the connection. What was asked for goes on."""
        self._connection.close()

    # What there is.

    def status(self) -> Status:
        """How the daemon is."""
        return self._connection.ask(_asks.status())

    def links(self) -> tuple[Link, ...]:
        """The rig's links with their last verdict."""
        return tuple(self._connection.pages(_asks.links()))

    def analyses(self) -> tuple[Analysis, ...]:
        """What can be measured, with every parameter."""
        return self._connection.ask(_asks.analyses())

    def levels(self) -> Iterator[tuple[ReturnLevel, ...]]:
        """Live levels of every return: at once, then ten times a second until nobody asks for the next.

        Also while something is measured, and during a hold. Whoever is slow is told less often, each time
        with the highest peak since the last.
        """
        return self._connection.stream(_asks.levels())

    def mark(self, measurement: Measurement | str, metres: float | None = None, label: str = "") -> float:
        """Notes on a running watch, whoever began it, where somebody stands now; gives its seconds there."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return self._connection.persist(_asks.mark(name, metres, label))

    def finish(self, measurement: Measurement | str) -> Measurement:
        """Ends a running watch, whoever began it, with what it saw: see :meth:`measurement` soon after."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return self._connection.ask(_asks.finish(name))

    def wiring(self, *, present: bool = False, timeout_s: float = 600.0) -> Wiring:
        """Says which return hears which send, and what is wrong with that.

        Plays a quiet noise on every send at once, louder step by step: mute the PA and tell the people in the
        room. It waits for its turn at the rig; whoever gives up ends it.
        """
        return self._connection.ask(_asks.wiring(present, timeout_s))

    # Measuring.

    def start(
        self,
        links: str | Iterable[str],
        analysis: str,
        *,
        present: bool = False,
        resume: bool = False,
        setup: Mapping[str, str] | None = None,
        survey: SurveySource | None = None,
        **parameters: Any,
    ) -> tuple[Handle, ...]:
        """Asks for one analysis of one or several links, ``"all"`` for every one; gives a handle each.

        ``present=True`` says that a person is in the room and that sound may be played now. ``resume=True``
        says that a watch goes on by itself where the server was ended and started again. ``survey`` is what
        was just found in the air, for ``channels``: the path of a file, or a :class:`Survey`.
        """
        request = _requests.measure(
            links, analysis, parameters, present=present, resume=resume, setup=setup, survey=survey
        )
        started = self._connection.persist(_asks.measure(request))
        return tuple(Handle(self._connection, one) for one in started)

    def measure(
        self,
        link: str,
        analysis: str,
        *,
        present: bool = False,
        setup: Mapping[str, str] | None = None,
        survey: SurveySource | None = None,
        timeout_s: float | None = None,
        on_news: OnNews | None = None,
        **parameters: Any,
    ) -> Measurement:
        """Measures one link and waits for the result: ``measure("lectern", "latency", repeats=8)``.

        A measurement that failed is given, with its reason; :meth:`Measurement.require` raises it.
        """
        handles = self.start(one_link(link), analysis, present=present, setup=setup, survey=survey, **parameters)
        (measurement,) = self._wait(handles, Patience(timeout_s), on_news)
        return measurement

    def measure_all(
        self,
        links: Iterable[str] | str,
        analysis: str,
        *,
        present: bool = False,
        setup: Mapping[str, str] | None = None,
        survey: SurveySource | None = None,
        timeout_s: float | None = None,
        on_news: OnNews | None = None,
        **parameters: Any,
    ) -> tuple[Measurement, ...]:
        """Measures several links at once; ``"all"`` means every one."""
        handles = self.start(links, analysis, present=present, setup=setup, survey=survey, **parameters)
        return self._wait(handles, Patience(timeout_s), on_news)

    def match(self, link: str, *, present: bool = False, timeout_s: float | None = None) -> Measurement:
        """With a plain cable in the link's place: measures how the two paths differ."""
        request = _requests.measure(one_link(link), "response", {}, present=present, match=True)
        started = self._connection.persist(_asks.measure(request))
        (measurement,) = self._wait([Handle(self._connection, one) for one in started], Patience(timeout_s), None)
        return measurement

    def analyse(
        self,
        analysis: str,
        *,
        sent: Source,
        returned: Source,
        reference: Source | None = None,
        rate_hz: float | None = None,
        link: str = "",
        match: Measurement | str = "",
        marks: Iterable[Mark] = (),
        timeout_s: float | None = None,
        **parameters: Any,
    ) -> Measurement:
        """Analyses recordings: paths of WAV or FLAC files, ``"walk.wav:2"`` for a channel, or arrays of
        one channel at ``rate_hz``, full scale = 1; :class:`Recording` is an array with another rate.

        ``match`` is divided out: a measurement, its name, or the ``.json`` file that it was exported to.
        ``marks`` are what was noted on the way. Arrays are sent in pieces, never copied whole.
        """
        recordings = {"sent": sent, "returned": returned, "reference": reference}
        upload = Upload(
            analysis, recordings, rate_hz=rate_hz, parameters=parameters, link=link, match=match, marks=marks
        )
        patience = Patience(timeout_s)
        handle = Handle(self._connection, self._connection.upload(upload, patience))
        (measurement,) = self._wait([handle], patience, None)
        return measurement

    def stimulus(self, analysis: str, *, rate_hz: int, **parameters: Any) -> NDArray[np.float32]:
        """The sound of an analysis, full scale = 1."""
        return _asks.joined(self._connection.stream(_asks.stimulus(analysis, rate_hz, parameters)))

    def sound(self, measurement: Measurement, sound: Sound | str) -> NDArray[np.float32]:
        """A sound of a result, full scale = 1."""
        id = sound if isinstance(sound, str) else sound.id
        return _asks.joined(self._connection.stream(_asks.sound(measurement.name, id)))

    # What was measured.

    def measurement(self, name: str) -> Measurement:
        """One measurement with its curves."""
        return self._connection.ask(_asks.measurement(name))

    def results(
        self,
        *,
        link: str = "",
        analysis: str = "",
        since: datetime | timedelta | None = None,
        outcome: Outcome | None = None,
    ) -> Iterator[Measurement]:
        """Measurements without curves, newest first; pages are asked for as they are needed.

        ``since`` is a time with a zone, or an age: ``timedelta(days=7)``.
        """
        return self._connection.pages(_asks.results(link, analysis, since, outcome))

    def trend(
        self, link: str, analysis: str, figure: str, *, since: datetime | timedelta | None = None, **at: Any
    ) -> Trend:
        """The history of a figure: ``trend("lectern", "level", "gain")``."""
        return self._connection.ask(_asks.trend(link, analysis, figure, at, since))

    def baselines(self) -> tuple[Baseline, ...]:
        """What later measurements are compared with."""
        return tuple(self._connection.pages(_asks.baselines()))

    def set_baseline(self, measurement: Measurement | str) -> Baseline:
        """Compares later measurements of the same link and analysis with this one."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return self._connection.ask(_asks.set_baseline(name))

    def clear_baseline(self, link: str, analysis: str) -> None:
        """Compares with nothing any more; the measurement stays."""
        self._connection.ask(_asks.clear_baseline(link, analysis))

    # Rounds.

    def rounds(self) -> tuple[Round, ...]:
        """The rounds with their next due dates."""
        return self._connection.ask(_asks.rounds())

    def run_round(
        self,
        name: str,
        *,
        present: bool = False,
        wait: bool = True,
        timeout_s: float | None = None,
        on_run: OnRun | None = None,
    ) -> Run:
        """Runs a round now and waits for its verdict; with ``wait=False`` it only begins it."""
        request = round_pb2.RunRoundRequest(name=name, request_id=str(uuid.uuid4()), present=present)
        run = self._connection.persist(_asks.run_round(request))
        return self._wait_for_run(run, Patience(timeout_s), on_run) if wait else run

    def run(self, name: str) -> Run:
        """One run with all its checks."""
        return self._connection.ask(_asks.run(name))

    def runs(self, *, round: str = "", since: datetime | timedelta | None = None) -> Iterator[Run]:
        """Runs and missed due dates, newest first."""
        return self._connection.pages(_asks.runs(round, since))

    def cancel_run(self, name: str) -> Run:
        """Ends a run with all its measurements."""
        return self._connection.ask(_asks.cancel_run(name))

    def report(self, *names: str) -> str:
        """The page of one run, or of measurements side by side, as HTML."""
        pieces = self._connection.stream(_asks.report(names))
        return b"".join(pieces).decode()

    def draw_channel_plan(self, measurement: str) -> str:
        """The picture of the channel plan that a measurement holds, as an SVG file."""
        return self._connection.ask(_asks.draw_channel_plan(measurement)).decode()

    # The room.

    def hold(self, reason: str = "") -> int:
        """The room is in use: ends what plays, plays nothing until :meth:`release`. Gives how many ended."""
        return self._connection.ask(_asks.hold(reason))

    def release(self) -> bool:
        """Ends a hold; gives whether there was one."""
        return self._connection.ask(_asks.release())

    def permit(self, until: datetime | timedelta | None = None, *, reason: str = "") -> datetime | None:
        """The room is empty: sound may be played until then with nobody present. Gives when it ends.

        Make sure that the room really is empty: test sounds come without warning.
        """
        return self._connection.ask(_asks.permit(until, reason))

    def withdraw_permit(self) -> bool:
        """Ends a permit; gives whether there was one."""
        return self._connection.ask(_asks.withdraw_permit())

    def excuse(self, link: str, until: datetime | timedelta | None, *, reason: str = "") -> Link:
        """A link is away until then, and rounds leave it out; with None it is back."""
        return self._connection.ask(_asks.excuse(link, until, reason))

    def stop(self) -> int:
        """Cancels everything, silent at once; gives how many were cancelled."""
        return self._connection.ask(_asks.stop())

    def _wait(
        self, handles: Sequence[Handle], patience: Patience, on_news: OnNews | None
    ) -> tuple[Measurement, ...]:
        """Waits for all; whoever gives up, for whatever reason, leaves nothing playing."""
        try:
            return tuple([handle._wait(patience, on_news) for handle in handles])
        except BaseException:
            for handle in handles:
                # What is raised is why it was given up, not that the daemon is gone, too.
                with suppress(GoodwireError):
                    handle.cancel()
            raise

    def _wait_for_run(self, run: Run, patience: Patience, on_run: OnRun | None) -> Run:
        """Waits for a run; whoever gives up leaves nothing playing."""
        try:
            for run in self._connection.follow_run(run.name, patience):
                if on_run:
                    on_run(run)
            return run
        except BaseException:
            with suppress(GoodwireError):
                self.cancel_run(run.name)
            raise


def one_link(link: str) -> str:
    """The name of one link, where only one may be meant."""
    if not isinstance(link, str) or link == "all":
        raise Refused(f"{link!r} means several links; measure_all measures several")
    return link
