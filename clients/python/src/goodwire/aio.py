"""The same face for asyncio.

    import goodwire.aio

    async with goodwire.aio.connect() as venue:
        measurement = await venue.measure("lectern", "latency", present=True)
        print(measurement.figure("latency"))
"""

from __future__ import annotations

import asyncio
import os
import time
import uuid
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from types import TracebackType
from typing import Any, TypeVar

import grpc
import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import _asks, _requests, _uploads
from ._address import target
from ._asks import Ask, Listing, Stream
from ._errors import NotRunning, NotSupported, Refused, TimedOut, raise_typed
from ._guard import ForkGuard
from ._patience import Patience
from .results import Measurement, Outcome, Sound, measurement_of
from .rig import Analysis, Baseline, Link, News, Round, Run, Status, Trend, news_of
from .v1 import measurement_pb2, round_pb2

T = TypeVar("T")

#: Is told what is new while something is waited for.
OnNews = Callable[[News], None]


class AsyncHandle:
    """A measurement that was asked for: to be followed, awaited or cancelled."""

    def __init__(self, client: AsyncClient, measurement: Measurement) -> None:
        self._client = client
        #: ``measurements/…``.
        self.name = measurement.name
        #: The bare name of the link.
        self.link = measurement.link

    def watch(self, *, timeout_s: float | None = None) -> AsyncIterator[News | Measurement]:
        """What is new until it is over; the last is the final :class:`Measurement`."""
        return self._client._follow(self.name, timeout_s)

    async def wait(self, *, timeout_s: float | None = None, on_news: OnNews | None = None) -> Measurement:
        """Waits until it is over."""
        async for news in self.watch(timeout_s=timeout_s):
            if isinstance(news, Measurement):
                if news.is_over:
                    return news
            elif on_news:
                on_news(news)
        raise NotRunning(f"{self.name} was not told to its end")

    async def cancel(self) -> Measurement:
        """Ends it; its sound stops at once. One that is over stays as it is."""
        return await self._client._ask(_asks.cancel(self.name))


class AsyncClient:
    """A connection to a goodwired for one event loop. Made by :func:`connect`."""

    def __init__(self, server: str | None = None) -> None:
        address, options = target(server)
        self._channel = grpc.aio.insecure_channel(address, options=options)
        self._guard = ForkGuard()
        self._has_answered = False

    async def __aenter__(self) -> AsyncClient:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        await self.close()

    async def close(self) -> None:
        """Ends the connection. What was asked for goes on."""
        await self._channel.close()

    # What there is.

    async def status(self) -> Status:
        """How the daemon is."""
        return await self._ask(_asks.status())

    async def links(self) -> tuple[Link, ...]:
        """The rig's links with their last verdict."""
        return tuple([one async for one in self._list(_asks.links())])

    async def analyses(self) -> tuple[Analysis, ...]:
        """What can be measured, with every parameter."""
        return await self._ask(_asks.analyses())

    async def levels(self) -> AsyncIterator[Mapping[str, float]]:
        """Live levels of every return; no goodwired of this version has them."""
        version = (await self.status()).version
        raise NotSupported(f"goodwired {version} does not tell live levels: a newer one may")

    # Measuring.

    async def start(
        self,
        links: str | Iterable[str],
        analysis: str,
        *,
        present: bool = False,
        setup: Mapping[str, str] | None = None,
        **parameters: Any,
    ) -> tuple[AsyncHandle, ...]:
        """As :meth:`goodwire.Client.start`."""
        request = _requests.measure(links, analysis, parameters, present=present, setup=setup)
        started = await self._persist(_asks.measure(request))
        return tuple(AsyncHandle(self, one) for one in started)

    async def measure(
        self,
        link: str,
        analysis: str,
        *,
        present: bool = False,
        setup: Mapping[str, str] | None = None,
        timeout_s: float | None = None,
        on_news: OnNews | None = None,
        **parameters: Any,
    ) -> Measurement:
        """As :meth:`goodwire.Client.measure`."""
        handles = await self.start(link, analysis, present=present, setup=setup, **parameters)
        if len(handles) != 1:
            for handle in handles:
                await handle.cancel()
            raise Refused(f"`{link}` means {len(handles)} links; measure_all measures several")
        return await self._wait(handles[0], timeout_s, on_news)

    async def measure_all(
        self,
        links: Iterable[str] | str,
        analysis: str,
        *,
        present: bool = False,
        setup: Mapping[str, str] | None = None,
        timeout_s: float | None = None,
        **parameters: Any,
    ) -> tuple[Measurement, ...]:
        """As :meth:`goodwire.Client.measure_all`."""
        handles = await self.start(links, analysis, present=present, setup=setup, **parameters)
        return tuple(await asyncio.gather(*(self._wait(handle, timeout_s, None) for handle in handles)))

    async def match(self, link: str, *, present: bool = False, timeout_s: float | None = None) -> Measurement:
        """As :meth:`goodwire.Client.match`."""
        request = _requests.measure(link, "response", {}, present=present, match=True)
        (started,) = await self._persist(_asks.measure(request))
        return await self._wait(AsyncHandle(self, started), timeout_s, None)

    async def analyse(
        self,
        analysis: str,
        *,
        sent: str | os.PathLike[str] | ArrayLike,
        returned: str | os.PathLike[str] | ArrayLike,
        reference: str | os.PathLike[str] | ArrayLike | None = None,
        rate_hz: float | None = None,
        link: str = "",
        match: str = "",
        timeout_s: float | None = None,
        **parameters: Any,
    ) -> Measurement:
        """As :meth:`goodwire.Client.analyse`."""
        pieces = _uploads.pieces(
            analysis,
            {"sent": sent, "returned": returned, "reference": reference},
            rate_hz=rate_hz,
            parameters=parameters,
            link=link,
            match=match,
            request_id=str(uuid.uuid4()),
        )
        self._guard.check()
        call = self._channel.stream_unary(
            _asks.ANALYSE_PATH,
            request_serializer=measurement_pb2.AnalyseRecordingsRequest.SerializeToString,
            response_deserializer=measurement_pb2.AnalyseRecordingsResponse.FromString,
        )
        try:
            answer = await call(pieces, timeout=timeout_s)
        except grpc.RpcError as error:
            raise_typed(error)
        return await self._wait(AsyncHandle(self, measurement_of(answer.measurement)), timeout_s, None)

    async def stimulus(self, analysis: str, *, rate_hz: int, **parameters: Any) -> NDArray[np.float32]:
        """The sound of an analysis, full scale = 1."""
        pieces = self._stream(_asks.stimulus(analysis, rate_hz, parameters))
        return _asks.joined([piece async for piece in pieces])

    async def sound(self, measurement: Measurement, sound: Sound | str) -> NDArray[np.float32]:
        """A sound of a result, full scale = 1."""
        id = sound if isinstance(sound, str) else sound.id
        return _asks.joined([piece async for piece in self._stream(_asks.sound(measurement.name, id))])

    # What was measured.

    async def measurement(self, name: str) -> Measurement:
        """One measurement with its curves."""
        return await self._ask(_asks.measurement(name))

    def results(
        self,
        *,
        link: str = "",
        analysis: str = "",
        since: datetime | timedelta | None = None,
        outcome: Outcome | None = None,
    ) -> AsyncIterator[Measurement]:
        """As :meth:`goodwire.Client.results`."""
        return self._list(_asks.results(link, analysis, since, outcome))

    async def trend(
        self, link: str, analysis: str, figure: str, *, since: datetime | timedelta | None = None, **at: Any
    ) -> Trend:
        """The history of a figure."""
        return await self._ask(_asks.trend(link, analysis, figure, at, since))

    async def baselines(self) -> tuple[Baseline, ...]:
        """What later measurements are compared with."""
        return tuple([one async for one in self._list(_asks.baselines())])

    async def set_baseline(self, measurement: Measurement | str) -> Baseline:
        """Compares later measurements of the same link and analysis with this one."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return await self._ask(_asks.set_baseline(name))

    async def clear_baseline(self, link: str, analysis: str) -> None:
        """Compares with nothing any more; the measurement stays."""
        await self._ask(_asks.clear_baseline(link, analysis))

    # Rounds.

    async def rounds(self) -> tuple[Round, ...]:
        """The rounds with their next due dates."""
        return await self._ask(_asks.rounds())

    async def run_round(
        self,
        name: str,
        *,
        present: bool = False,
        wait: bool = True,
        on_run: Callable[[Run], None] | None = None,
    ) -> Run:
        """As :meth:`goodwire.Client.run_round`."""
        request = round_pb2.RunRoundRequest(name=name, request_id=str(uuid.uuid4()), present=present)
        run = await self._persist(_asks.run_round(request))
        return await self._follow_run(run.name, on_run) if wait else run

    async def run(self, name: str) -> Run:
        """One run with all its checks."""
        return await self._ask(_asks.run(name))

    def runs(self, *, round: str = "", since: datetime | timedelta | None = None) -> AsyncIterator[Run]:
        """Runs and missed due dates, newest first."""
        return self._list(_asks.runs(round, since))

    async def cancel_run(self, name: str) -> Run:
        """Ends a run with all its measurements."""
        return await self._ask(_asks.cancel_run(name))

    async def report(self, *names: str) -> str:
        """The page of one run, or of measurements side by side, as HTML."""
        return b"".join([piece async for piece in self._stream(_asks.report(names))]).decode()

    # The room.

    async def hold(self, reason: str = "") -> int:
        """The room is in use: ends what plays, plays nothing until :meth:`release`."""
        return await self._ask(_asks.hold(reason))

    async def release(self) -> bool:
        """Ends a hold; gives whether there was one."""
        return await self._ask(_asks.release())

    async def permit(self, until: datetime | timedelta | None = None, *, reason: str = "") -> datetime | None:
        """As :meth:`goodwire.Client.permit`: make sure that the room really is empty."""
        return await self._ask(_asks.permit(until, reason))

    async def withdraw_permit(self) -> bool:
        """Ends a permit; gives whether there was one."""
        return await self._ask(_asks.withdraw_permit())

    async def excuse(self, link: str, until: datetime | timedelta | None, *, reason: str = "") -> Link:
        """A link is away until then, and rounds leave it out; with None it is back."""
        return await self._ask(_asks.excuse(link, until, reason))

    async def stop(self) -> int:
        """Cancels everything, silent at once; gives how many were cancelled."""
        return await self._ask(_asks.stop())

    # How it is asked.

    async def _ask(self, ask: Ask[T]) -> T:
        self._guard.check()
        call = self._channel.unary_unary(
            ask.path,
            request_serializer=type(ask.request).SerializeToString,
            response_deserializer=ask.answer.FromString,
        )
        try:
            answer = await call(ask.request, timeout=ask.timeout_s)
        except grpc.RpcError as error:
            raise_typed(error)
        self._has_answered = True
        return ask.read(answer)

    async def _persist(self, ask: Ask[T]) -> T:
        """Asks again where the connection broke: the request's id makes one measurement of all tries."""
        deadline = time.monotonic() + _requests.PATIENCE_S
        while True:
            try:
                return await self._ask(ask)
            except NotRunning:
                if not self._has_answered or time.monotonic() > deadline:
                    raise
            await asyncio.sleep(_requests.PAUSE_S)

    async def _list(self, listing: Listing[T]) -> AsyncIterator[T]:
        page_token = ""
        while True:
            items, page_token = await self._ask(listing.page(page_token))
            for item in items:
                yield item
            if not page_token:
                return

    async def _stream(self, stream: Stream[T]) -> AsyncIterator[T]:
        self._guard.check()
        call = self._channel.unary_stream(
            stream.path,
            request_serializer=type(stream.request).SerializeToString,
            response_deserializer=stream.answer.FromString,
        )
        answers = call(stream.request, timeout=stream.timeout_s)
        try:
            async for answer in answers:
                yield stream.read(answer)
        except grpc.RpcError as error:
            raise_typed(error)
        finally:
            # Whoever stops listening must not leave the server talking.
            answers.cancel()

    async def _wait(self, handle: AsyncHandle, timeout_s: float | None, on_news: OnNews | None) -> Measurement:
        """Waits; whoever gives up leaves nothing playing."""
        try:
            return await handle.wait(timeout_s=timeout_s, on_news=on_news)
        except (asyncio.CancelledError, TimedOut):
            await asyncio.shield(handle.cancel())
            raise

    async def _follow(self, name: str, timeout_s: float | None) -> AsyncIterator[News | Measurement]:
        """What is new of a measurement to its end, through lost connections."""
        patience = Patience(timeout_s)
        while True:
            try:
                async for response in self._stream(replace(_asks.watch(name), timeout_s=patience.left_s())):
                    patience.renew()
                    if response.HasField("measurement"):
                        measurement = measurement_of(response.measurement)
                        yield measurement
                        if measurement.is_over:
                            return
                    elif news := news_of(response):
                        yield news
            except NotRunning:
                patience.check(name)
            patience.check_deadline(name)
            await asyncio.sleep(_requests.PAUSE_S)

    async def _follow_run(self, name: str, on_run: Callable[[Run], None] | None) -> Run:
        patience = Patience(None)
        while True:
            try:
                async for run in self._stream(_asks.watch_run(name)):
                    patience.renew()
                    if on_run:
                        on_run(run)
                    if run.is_over:
                        return run
            except NotRunning:
                patience.check(name)
            await asyncio.sleep(_requests.PAUSE_S)


def connect(server: str | None = None) -> AsyncClient:
    """As :func:`goodwire.connect`; call it where the event loop runs."""
    return AsyncClient(server)
