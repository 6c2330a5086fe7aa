"""How the client that waits sends what is asked."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, NoReturn, TypeVar

import grpc

from . import _asks, _requests
from ._address import target
from ._asks import Ask, Listing, Stream
from ._errors import NotRunning, NotSupported, TimedOut, Unreadable, of_another_version, typed
from ._guard import ForkGuard
from ._patience import Patience
from ._uploads import Upload
from .results import Measurement
from .rig import News, Run

T = TypeVar("T")


class Connection:
    """A channel of gRPC, and what is done where it breaks."""

    def __init__(self, server: str | None) -> None:
        address, options = target(server)
        self._guard = ForkGuard()
        self._channel = grpc.insecure_channel(address, options=options)
        self._has_answered = False

    def close(self) -> None:
        """Ends it, where it is this process's own."""
        if self._guard.is_at_home:
            self._channel.close()

    def ask(self, ask: Ask[T]) -> T:
        """Asks once."""
        self._guard.check()
        call = self._channel.unary_unary(
            ask.path,
            request_serializer=type(ask.request).SerializeToString,
            response_deserializer=ask.answer.FromString,
        )
        try:
            answer = call(ask.request, timeout=ask.timeout_s)
            self._has_answered = True
            return ask.read(answer)
        except (grpc.RpcError, Unreadable) as error:
            self._fail(error, ask.path)

    def persist(self, ask: Ask[T]) -> T:
        """Asks again where the connection broke: the request's id makes one of all tries."""
        patience = Patience(None)
        while True:
            try:
                return self.ask(ask)
            except NotRunning as lost:
                self._endure(ask.path, patience, lost)

    def upload(self, upload: Upload, patience: Patience) -> Measurement:
        """Sends recordings, from the start again where the connection broke."""
        self._guard.check()
        call = self._channel.stream_unary(
            upload.path,
            request_serializer=upload.request.SerializeToString,
            response_deserializer=upload.answer.FromString,
        )
        while True:
            try:
                try:
                    return upload.read(call(upload.pieces(), timeout=patience.left_s()))
                except (grpc.RpcError, Unreadable) as error:
                    self._fail(error, upload.path)
            except NotRunning as lost:
                self._endure("the upload", patience, lost)
            except TimedOut:
                raise patience.timed_out("the upload") from None

    def pages(self, listing: Listing[T]) -> Iterator[T]:
        """The items of all pages, each asked for when it is needed."""
        page_token = ""
        while True:
            items, page_token = self.ask(listing.page(page_token))
            yield from items
            if not page_token:
                return

    def stream(self, stream: Stream[T]) -> Iterator[T]:
        """Every answer; ends the call where nobody listens any longer."""
        self._guard.check()
        call = self._channel.unary_stream(
            stream.path,
            request_serializer=type(stream.request).SerializeToString,
            response_deserializer=stream.answer.FromString,
        )
        answers = call(stream.request, timeout=stream.timeout_s)
        try:
            for answer in answers:
                self._has_answered = True
                yield stream.read(answer)
        except (grpc.RpcError, Unreadable) as error:
            self._fail(error, stream.path)
        finally:
            answers.cancel()

    def follow(self, name: str, patience: Patience) -> Iterator[News | Measurement]:
        """What is new of a measurement to its end, through lost connections."""
        for news in self._to_the_end(_asks.watch(name), name, patience):
            if news:
                yield news
            if isinstance(news, Measurement) and news.is_over:
                return

    def follow_run(self, name: str, patience: Patience) -> Iterator[Run]:
        """A run at each of its changes to its end, through lost connections."""
        for run in self._to_the_end(_asks.watch_run(name), name, patience):
            yield run
            if run.is_over:
                return

    def server_version(self) -> str:
        """The daemon's version; empty where it does not tell it."""
        ask = _asks.status()
        call = self._channel.unary_unary(
            ask.path,
            request_serializer=type(ask.request).SerializeToString,
            response_deserializer=ask.answer.FromString,
        )
        try:
            return ask.read(call(ask.request, timeout=ask.timeout_s)).version
        except grpc.RpcError:
            return ""

    def _to_the_end(self, stream: Stream[T], name: str, patience: Patience) -> Iterator[T]:
        """The answers of a watch, which is taken up again until the caller has heard enough."""
        patience.renew()
        while True:
            try:
                for answer in self.stream(replace(stream, timeout_s=patience.left_s())):
                    patience.renew()
                    yield answer
                self._fail(Unreadable("an early end to"), stream.path)
            except NotRunning as lost:
                self._endure(name, patience, lost)
            except TimedOut:
                raise patience.timed_out(name) from None

    def _endure(self, what: str, patience: Patience, lost: NotRunning) -> None:
        """Pauses before the next try; raises where there is to be none."""
        # A daemon that never answered is not waited for.
        if not self._has_answered:
            raise lost
        patience.check(what, lost)
        time.sleep(_requests.PAUSE_S)

    def _fail(self, error: Any, path: str) -> NoReturn:
        """Raises what a failed call means."""
        failure = typed(error)
        if isinstance(failure, NotSupported):
            failure = of_another_version(str(failure), path, self.server_version())
        raise failure from error
