"""The client that waits."""

from __future__ import annotations

import os
import time
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
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


class Handle:
    """A measurement that was asked for: to be followed, awaited or cancelled."""

    def __init__(self, client: Client, measurement: Measurement) -> None:
        self._client = client
        #: ``measurements/…``.
        self.name = measurement.name
        #: The bare name of the link.
        self.link = measurement.link

    def watch(self, *, timeout_s: float | None = None) -> Iterator[News | Measurement]:
        """What is new until it is over; the last is the final :class:`Measurement`.

        A lost connection is taken up again for half a minute.
        """
        return self._client._follow(self.name, timeout_s)

    def wait(self, *, timeout_s: float | None = None, on_news: OnNews | None = None) -> Measurement:
        """Waits until it is over."""
        for news in self.watch(timeout_s=timeout_s):
            if isinstance(news, Measurement):
                if news.is_over:
                    return news
            elif on_news:
                on_news(news)
        raise NotRunning(f"{self.name} was not told to its end")

    def cancel(self) -> Measurement:
        """Ends it; its sound stops at once. One that is over stays as it is."""
        return self._client._ask(_asks.cancel(self.name))


class Client:
    """A connection to a goodwired. Made by :func:`goodwire.connect`; ends with its ``with``."""

    def __init__(self, server: str | None = None) -> None:
        address, options = target(server)
        self._channel = grpc.insecure_channel(address, options=options)
        self._guard = ForkGuard()
        self._has_answered = False

    def __enter__(self) -> Client:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Ends the connection. What was asked for goes on."""
        self._channel.close()

    # What there is.

    def status(self) -> Status:
        """How the daemon is."""
        return self._ask(_asks.status())

    def links(self) -> tuple[Link, ...]:
        """The rig's links with their last verdict."""
        return tuple(self._list(_asks.links()))

    def analyses(self) -> tuple[Analysis, ...]:
        """What can be measured, with every parameter."""
        return self._ask(_asks.analyses())

    def levels(self) -> Iterator[Mapping[str, float]]:
        """Live levels of every return; no goodwired of this version has them."""
        raise NotSupported(f"goodwired {self.status().version} does not tell live levels: a newer one may")

    # Measuring.

    def start(
        self,
        links: str | Iterable[str],
        analysis: str,
        *,
        present: bool = False,
        setup: Mapping[str, str] | None = None,
        **parameters: Any,
    ) -> tuple[Handle, ...]:
        """Asks for one analysis of one or several links, ``"all"`` for every one; gives a handle each.

        ``present=True`` says that a person is in the room and that sound may be played now.
        """
        request = _requests.measure(links, analysis, parameters, present=present, setup=setup)
        started = self._persist(_asks.measure(request))
        return tuple(Handle(self, one) for one in started)

    def measure(
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
        """Measures one link and waits for the result: ``measure("lectern", "latency", repeats=8)``.

        A measurement that failed is given, with its reason; :meth:`Measurement.require` raises it.
        """
        handles = self.start(link, analysis, present=present, setup=setup, **parameters)
        if len(handles) != 1:
            for handle in handles:
                handle.cancel()
            raise Refused(f"`{link}` means {len(handles)} links; measure_all measures several")
        return self._wait(handles[0], timeout_s, on_news)

    def measure_all(
        self,
        links: Iterable[str] | str,
        analysis: str,
        *,
        present: bool = False,
        setup: Mapping[str, str] | None = None,
        timeout_s: float | None = None,
        **parameters: Any,
    ) -> tuple[Measurement, ...]:
        """Measures several links at once; ``"all"`` means every one."""
        handles = self.start(links, analysis, present=present, setup=setup, **parameters)
        return tuple(self._wait(handle, timeout_s, None) for handle in handles)

    def match(self, link: str, *, present: bool = False, timeout_s: float | None = None) -> Measurement:
        """With a plain cable in the link's place: measures how the two paths differ."""
        request = _requests.measure(link, "response", {}, present=present, match=True)
        (started,) = self._persist(_asks.measure(request))
        return self._wait(Handle(self, started), timeout_s, None)

    def analyse(
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
        """Analyses recordings: paths of WAV or FLAC files, ``"walk.wav:2"`` for a channel, or arrays of
        one channel at ``rate_hz``, full scale = 1. Arrays are sent in pieces, never copied whole."""
        recordings = {"sent": sent, "returned": returned, "reference": reference}
        pieces = _uploads.pieces(
            analysis,
            recordings,
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
            answer = call(pieces, timeout=timeout_s)
        except grpc.RpcError as error:
            raise_typed(error)
        return self._wait(Handle(self, measurement_of(answer.measurement)), timeout_s, None)

    def stimulus(self, analysis: str, *, rate_hz: int, **parameters: Any) -> NDArray[np.float32]:
        """The sound of an analysis, full scale = 1."""
        return _asks.joined(self._stream(_asks.stimulus(analysis, rate_hz, parameters)))

    def sound(self, measurement: Measurement, sound: Sound | str) -> NDArray[np.float32]:
        """A sound of a result, full scale = 1."""
        id = sound if isinstance(sound, str) else sound.id
        return _asks.joined(self._stream(_asks.sound(measurement.name, id)))

    # What was measured.

    def measurement(self, name: str) -> Measurement:
        """One measurement with its curves."""
        return self._ask(_asks.measurement(name))

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
        return self._list(_asks.results(link, analysis, since, outcome))

    def trend(
        self, link: str, analysis: str, figure: str, *, since: datetime | timedelta | None = None, **at: Any
    ) -> Trend:
        """The history of a figure: ``trend("lectern", "level", "gain")``."""
        return self._ask(_asks.trend(link, analysis, figure, at, since))

    def baselines(self) -> tuple[Baseline, ...]:
        """What later measurements are compared with."""
        return tuple(self._list(_asks.baselines()))

    def set_baseline(self, measurement: Measurement | str) -> Baseline:
        """Compares later measurements of the same link and analysis with this one."""
        name = measurement if isinstance(measurement, str) else measurement.name
        return self._ask(_asks.set_baseline(name))

    def clear_baseline(self, link: str, analysis: str) -> None:
        """Compares with nothing any more; the measurement stays."""
        self._ask(_asks.clear_baseline(link, analysis))

    # Rounds.

    def rounds(self) -> tuple[Round, ...]:
        """The rounds with their next due dates."""
        return self._ask(_asks.rounds())

    def run_round(
        self,
        name: str,
        *,
        present: bool = False,
        wait: bool = True,
        on_run: Callable[[Run], None] | None = None,
    ) -> Run:
        """Runs a round now and waits for its verdict; with ``wait=False`` it only begins it."""
        request = round_pb2.RunRoundRequest(name=name, request_id=str(uuid.uuid4()), present=present)
        run = self._persist(_asks.run_round(request))
        return self._follow_run(run.name, on_run) if wait else run

    def run(self, name: str) -> Run:
        """One run with all its checks."""
        return self._ask(_asks.run(name))

    def runs(self, *, round: str = "", since: datetime | timedelta | None = None) -> Iterator[Run]:
        """Runs and missed due dates, newest first."""
        return self._list(_asks.runs(round, since))

    def cancel_run(self, name: str) -> Run:
        """Ends a run with all its measurements."""
        return self._ask(_asks.cancel_run(name))

    def report(self, *names: str) -> str:
        """The page of one run, or of measurements side by side, as HTML."""
        return b"".join(self._stream(_asks.report(names))).decode()

    # The room.

    def hold(self, reason: str = "") -> int:
        """The room is in use: ends what plays, plays nothing until :meth:`release`. Gives how many ended."""
        return self._ask(_asks.hold(reason))

    def release(self) -> bool:
        """Ends a hold; gives whether there was one."""
        return self._ask(_asks.release())

    def permit(self, until: datetime | timedelta | None = None, *, reason: str = "") -> datetime | None:
        """The room is empty: sound may be played until then with nobody present. Gives when it ends.

        Make sure that the room really is empty: test sounds come without warning.
        """
        return self._ask(_asks.permit(until, reason))

    def withdraw_permit(self) -> bool:
        """Ends a permit; gives whether there was one."""
        return self._ask(_asks.withdraw_permit())

    def excuse(self, link: str, until: datetime | timedelta | None, *, reason: str = "") -> Link:
        """A link is away until then, and rounds leave it out; with None it is back."""
        return self._ask(_asks.excuse(link, until, reason))

    def stop(self) -> int:
        """Cancels everything, silent at once; gives how many were cancelled."""
        return self._ask(_asks.stop())

    # How it is asked.

    def _ask(self, ask: Ask[T]) -> T:
        self._guard.check()
        call = self._channel.unary_unary(
            ask.path,
            request_serializer=type(ask.request).SerializeToString,
            response_deserializer=ask.answer.FromString,
        )
        try:
            answer = call(ask.request, timeout=ask.timeout_s)
        except grpc.RpcError as error:
            raise_typed(error)
        self._has_answered = True
        return ask.read(answer)

    def _persist(self, ask: Ask[T]) -> T:
        """Asks again where the connection broke: the request's id makes one measurement of all tries."""
        deadline = time.monotonic() + _requests.PATIENCE_S
        while True:
            try:
                return self._ask(ask)
            except NotRunning:
                # A daemon that never answered is not waited for.
                if not self._has_answered or time.monotonic() > deadline:
                    raise
            time.sleep(_requests.PAUSE_S)

    def _list(self, listing: Listing[T]) -> Iterator[T]:
        page_token = ""
        while True:
            items, page_token = self._ask(listing.page(page_token))
            yield from items
            if not page_token:
                return

    def _stream(self, stream: Stream[T]) -> Iterator[T]:
        self._guard.check()
        call = self._channel.unary_stream(
            stream.path,
            request_serializer=type(stream.request).SerializeToString,
            response_deserializer=stream.answer.FromString,
        )
        answers = call(stream.request, timeout=stream.timeout_s)
        try:
            for answer in answers:
                yield stream.read(answer)
        except grpc.RpcError as error:
            raise_typed(error)
        finally:
            # Whoever stops listening must not leave the server talking.
            answers.cancel()

    def _wait(self, handle: Handle, timeout_s: float | None, on_news: OnNews | None) -> Measurement:
        """Waits; whoever gives up leaves nothing playing."""
        try:
            return handle.wait(timeout_s=timeout_s, on_news=on_news)
        except (KeyboardInterrupt, TimedOut):
            handle.cancel()
            raise

    def _follow(self, name: str, timeout_s: float | None) -> Iterator[News | Measurement]:
        """What is new of a measurement to its end, through lost connections."""
        patience = Patience(timeout_s)
        while True:
            try:
                for response in self._stream(replace(_asks.watch(name), timeout_s=patience.left_s())):
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
            time.sleep(_requests.PAUSE_S)

    def _follow_run(self, name: str, on_run: Callable[[Run], None] | None) -> Run:
        patience = Patience(None)
        while True:
            try:
                for run in self._stream(_asks.watch_run(name)):
                    patience.renew()
                    if on_run:
                        on_run(run)
                    if run.is_over:
                        return run
            except NotRunning:
                patience.check(name)
            time.sleep(_requests.PAUSE_S)
