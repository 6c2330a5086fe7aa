"""The same face for asyncio.

    import goodwire.aio

    async with goodwire.aio.connect() as venue:
        measurement = await venue.measure("lectern", "latency", present=True)
        print(measurement.figure("latency"))
"""

from __future__ import annotations

import asyncio
import uuid
from collections.abc import AsyncIterator, Iterable, Mapping, Sequence
from contextlib import aclosing, suppress
from datetime import datetime, timedelta
from types import TracebackType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import _asks, _requests
from ._async_connection import AsyncConnection
from ._errors import GoodwireError, NotRunning
from ._patience import Patience
from ._uploads import Upload
from .client import OnNews, OnRun, one_link
from .live import ReturnLevel, Wiring
from .radio import SurveySource
from .recordings import Mark, Source
from .results import Measurement, Outcome, Sound
from .rig import Analysis, Baseline, Link, News, Round, Run, Status, Trend
from .v1 import round_pb2


class AsyncHandle:
    """A measurement that was asked for: to be followed, awaited or cancelled."""

    def __init__(self, connection: AsyncConnection, measurement: Measurement) -> None:
        self._connection = connection
        #: ``measurements/…``.
        self.name = measurement.name
        #: The bare name of the link.
        self.link = measurement.link

    def watch(self, *, timeout_s: float | None = None) -> AsyncIterator[News | Measurement]:
        """What is new until it is over; the last is the final :class:`Measurement`."""
        return self._connection.follow(self.name, Patience(timeout_s))

    async def wait(self, *, timeout_s: float | None = None, on_news: OnNews | None = None) -> Measurement:
        """Waits until it is over; whoever gives up here leaves it running."""
        return await self._wait(Patience(timeout_s), on_news)

    async def cancel(self) -> Measurement:
        """Ends it: its sound stops at once, and :meth:`wait` tells soon after how it ended.

        One that is over stays as it is.
        """
        return await self._connection.ask(_asks.cancel(self.name))

    async def mark(self, metres: float | None = None, label: str = "") -> float:
        """Notes on a running watch, such as ``dropout``, where somebody stands now; gives its seconds there."""
        return await self._connection.persist(_asks.mark(self.name, metres, label))

    async def finish(self) -> Measurement:
        """Ends a running watch with what it saw, where :meth:`cancel` would have it tell nothing.

        :meth:`wait` tells the result soon after. One that is over stays as it is.
        """
        return await self._connection.ask(_asks.finish(self.name))

    async def _wait(self, patience: Patience, on_news: OnNews | None) -> Measurement:
        async with aclosing(self._connection.follow(self.name, patience)) as told:
            async for news in told:
                if isinstance(news, Measurement):
                    if news.is_over:
                        return news
                elif on_news:
                    on_news(news)
        raise NotRunning(f"{self.name} was not told to its end")


class AsyncClient:
    """A connection to a goodwired for one event loop. Made by :func:`connect`."""

    def __init__(self, server: str | None = None) -> None:
        self._connection = AsyncConnection(server)

    async def __aenter__(self) -> AsyncClient:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        await self.close()

    async def close(self) -> None:
        """Ends the connection. What was asked for goes on."""
        await self._connection.close()

    # What there is.

    async def status(self) -> Status:
        """How the daemon is."""
        return await self._connection.ask(_asks.status())

    async def links(self) -> tuple[Link, ...]:
        """The rig's links with their last verdict."""
        return tuple([one async for one in self._connection.pages(_asks.links())])

    async def analyses(self) -> tuple[Analysis, ...]:
        """What can be measured, with every parameter."""
        return await self._connection.ask(_asks.analyses())

    def levels(self) -> AsyncIterator[tuple[ReturnLevel, ...]]:
        """As :meth:`goodwire.Client.levels`."""
        return self._connection.stream(_asks.levels())

    async def mark(self, measurement: Measurement | str, metres: float | None = None, label: str = "") -> float:
        """Notes on a running watch, whoever began it, where somebody stands now; gives its seconds there."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return await self._connection.persist(_asks.mark(name, metres, label))

    async def finish(self, measurement: Measurement | str) -> Measurement:
        """Ends a running watch, whoever began it, with what it saw: see :meth:`measurement` soon after."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return await self._connection.ask(_asks.finish(name))

    async def wiring(self, *, present: bool = False, timeout_s: float = 600.0) -> Wiring:
        """As :meth:`goodwire.Client.wiring`."""
        return await self._connection.ask(_asks.wiring(present, timeout_s))

    # Measuring.

    async def start(
        self,
        links: str | Iterable[str],
        analysis: str,
        *,
        present: bool = False,
        resume: bool = False,
        setup: Mapping[str, str] | None = None,
        survey: SurveySource | None = None,
        **parameters: Any,
    ) -> tuple[AsyncHandle, ...]:
        """As :meth:`goodwire.Client.start`."""
        request = _requests.measure(
            links, analysis, parameters, present=present, resume=resume, setup=setup, survey=survey
        )
        started = await self._connection.persist(_asks.measure(request))
        return tuple(AsyncHandle(self._connection, one) for one in started)

    async def measure(
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
        """As :meth:`goodwire.Client.measure`."""
        handles = await self.start(one_link(link), analysis, present=present, setup=setup, survey=survey, **parameters)
        (measurement,) = await self._wait(handles, Patience(timeout_s), on_news)
        return measurement

    async def measure_all(
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
        """As :meth:`goodwire.Client.measure_all`."""
        handles = await self.start(links, analysis, present=present, setup=setup, survey=survey, **parameters)
        return await self._wait(handles, Patience(timeout_s), on_news)

    async def match(self, link: str, *, present: bool = False, timeout_s: float | None = None) -> Measurement:
        """As :meth:`goodwire.Client.match`."""
        request = _requests.measure(one_link(link), "response", {}, present=present, match=True)
        started = await self._connection.persist(_asks.measure(request))
        handles = [AsyncHandle(self._connection, one) for one in started]
        (measurement,) = await self._wait(handles, Patience(timeout_s), None)
        return measurement

    async def analyse(
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
        """As :meth:`goodwire.Client.analyse`."""
        recordings = {"sent": sent, "returned": returned, "reference": reference}
        upload = await asyncio.to_thread(
            # Every sample of an array is looked at, which may take its time.
            Upload,
            analysis,
            recordings,
            rate_hz=rate_hz,
            parameters=parameters,
            link=link,
            match=match,
            marks=marks,
        )
        patience = Patience(timeout_s)
        handle = AsyncHandle(self._connection, await self._connection.upload(upload, patience))
        (measurement,) = await self._wait([handle], patience, None)
        return measurement

    async def stimulus(self, analysis: str, *, rate_hz: int, **parameters: Any) -> NDArray[np.float32]:
        """The sound of an analysis, full scale = 1."""
        pieces = self._connection.stream(_asks.stimulus(analysis, rate_hz, parameters))
        return _asks.joined([piece async for piece in pieces])

    async def sound(self, measurement: Measurement, sound: Sound | str) -> NDArray[np.float32]:
        """A sound of a result, full scale = 1."""
        id = sound if isinstance(sound, str) else sound.id
        return _asks.joined([piece async for piece in self._connection.stream(_asks.sound(measurement.name, id))])

    # What was measured.

    async def measurement(self, name: str) -> Measurement:
        """One measurement with its curves."""
        return await self._connection.ask(_asks.measurement(name))

    def results(
        self,
        *,
        link: str = "",
        analysis: str = "",
        since: datetime | timedelta | None = None,
        outcome: Outcome | None = None,
    ) -> AsyncIterator[Measurement]:
        """As :meth:`goodwire.Client.results`."""
        return self._connection.pages(_asks.results(link, analysis, since, outcome))

    async def trend(
        self, link: str, analysis: str, figure: str, *, since: datetime | timedelta | None = None, **at: Any
    ) -> Trend:
        """The history of a figure."""
        return await self._connection.ask(_asks.trend(link, analysis, figure, at, since))

    async def baselines(self) -> tuple[Baseline, ...]:
        """What later measurements are compared with."""
        return tuple([one async for one in self._connection.pages(_asks.baselines())])

    async def set_baseline(self, measurement: Measurement | str) -> Baseline:
        """Compares later measurements of the same link and analysis with this one."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return await self._connection.ask(_asks.set_baseline(name))

    async def clear_baseline(self, link: str, analysis: str) -> None:
        """Compares with nothing any more; the measurement stays."""
        await self._connection.ask(_asks.clear_baseline(link, analysis))

    # Rounds.

    async def rounds(self) -> tuple[Round, ...]:
        """The rounds with their next due dates."""
        return await self._connection.ask(_asks.rounds())

    async def run_round(
        self,
        name: str,
        *,
        present: bool = False,
        wait: bool = True,
        timeout_s: float | None = None,
        on_run: OnRun | None = None,
    ) -> Run:
        """As :meth:`goodwire.Client.run_round`."""
        request = round_pb2.RunRoundRequest(name=name, request_id=str(uuid.uuid4()), present=present)
        run = await self._connection.persist(_asks.run_round(request))
        return await self._wait_for_run(run, Patience(timeout_s), on_run) if wait else run

    async def run(self, name: str) -> Run:
        """One run with all its checks."""
        return await self._connection.ask(_asks.run(name))

    def runs(self, *, round: str = "", since: datetime | timedelta | None = None) -> AsyncIterator[Run]:
        """Runs and missed due dates, newest first."""
        return self._connection.pages(_asks.runs(round, since))

    async def cancel_run(self, name: str) -> Run:
        """Ends a run with all its measurements."""
        return await self._connection.ask(_asks.cancel_run(name))

    async def report(self, *names: str) -> str:
        """The page of one run, or of measurements side by side, as HTML."""
        return b"".join([piece async for piece in self._connection.stream(_asks.report(names))]).decode()

    async def draw_channel_plan(self, measurement: str) -> str:
        """The picture of the channel plan that a measurement holds, as an SVG file."""
        return (await self._connection.ask(_asks.draw_channel_plan(measurement))).decode()

    # The room.

    async def hold(self, reason: str = "") -> int:
        """The room is in use: ends what plays, plays nothing until :meth:`release`."""
        return await self._connection.ask(_asks.hold(reason))

    async def release(self) -> bool:
        """Ends a hold; gives whether there was one."""
        return await self._connection.ask(_asks.release())

    async def permit(self, until: datetime | timedelta | None = None, *, reason: str = "") -> datetime | None:
        """As :meth:`goodwire.Client.permit`: make sure that the room really is empty."""
        return await self._connection.ask(_asks.permit(until, reason))

    async def withdraw_permit(self) -> bool:
        """Ends a permit; gives whether there was one."""
        return await self._connection.ask(_asks.withdraw_permit())

    async def excuse(self, link: str, until: datetime | timedelta | None, *, reason: str = "") -> Link:
        """A link is away until then, and rounds leave it out; with None it is back."""
        return await self._connection.ask(_asks.excuse(link, until, reason))

    async def stop(self) -> int:
        """Cancels everything, silent at once; gives how many were cancelled."""
        return await self._connection.ask(_asks.stop())

    async def _wait(
        self, handles: Sequence[AsyncHandle], patience: Patience, on_news: OnNews | None
    ) -> tuple[Measurement, ...]:
        """Waits for all; whoever gives up, for whatever reason, leaves nothing playing."""
        waiting = [asyncio.ensure_future(handle._wait(patience, on_news)) for handle in handles]
        try:
            return tuple(await asyncio.gather(*waiting))
        except BaseException:
            for one in waiting:
                one.cancel()
            await asyncio.shield(_cancel_all(handles))
            raise

    async def _wait_for_run(self, run: Run, patience: Patience, on_run: OnRun | None) -> Run:
        """Waits for a run; whoever gives up leaves nothing playing."""
        try:
            async with aclosing(self._connection.follow_run(run.name, patience)) as told:
                async for run in told:
                    if on_run:
                        on_run(run)
            return run
        except BaseException:
            with suppress(GoodwireError):
                await asyncio.shield(self.cancel_run(run.name))
            raise


async def _cancel_all(handles: Iterable[AsyncHandle]) -> None:
    for handle in handles:
        # What is raised is why it was given up, not that the daemon is gone, too.
        with suppress(GoodwireError):
            await handle.cancel()


def connect(server: str | None = None) -> AsyncClient:
    """As :func:`goodwire.connect`; call it where the event loop runs."""
    return AsyncClient(server)
