"""How the asyncio client sends what is asked: as `_connection`, but for `async`."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import aclosing
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


class AsyncConnection:
    """A channel of gRPC, and what is done where it breaks."""

    def __init__(self, server: str | None) -> None:
        address, options = target(server)
        self._guard = ForkGuard()
        self._channel = grpc.aio.insecure_channel(address, options=options)
        self._has_answered = False

    async def close(self) -> None:
        """Ends it, where it is this process's own."""
        if self._guard.is_at_home:
            await self._channel.close()

    async def ask(self, ask: Ask[T]) -> T:
        """Asks once."""
        self._guard.check()
        call = self._channel.unary_unary(
            ask.path,
            request_serializer=type(ask.request).SerializeToString,
            response_deserializer=ask.answer.FromString,
        )
        try:
            answer = await call(ask.request, timeout=ask.timeout_s)
            self._has_answered = True
            return ask.read(answer)
        except (grpc.RpcError, Unreadable) as error:
            await self._fail(error, ask.path)

    async def persist(self, ask: Ask[T]) -> T:
        """Asks again where the connection broke: the request's id makes one of all tries."""
        patience = Patience(None)
        while True:
            try:
                return await self.ask(ask)
            except NotRunning as lost:
                await self._endure(ask.path, patience, lost)

    async def upload(self, upload: Upload, patience: Patience) -> Measurement:
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
                    return upload.read(await call(upload.pieces(), timeout=patience.left_s()))
                except (grpc.RpcError, Unreadable) as error:
                    await self._fail(error, upload.path)
            except NotRunning as lost:
                await self._endure("the upload", patience, lost)
            except TimedOut:
                raise patience.timed_out("the upload") from None

    async def pages(self, listing: Listing[T]) -> AsyncGenerator[T, None]:
        """The items of all pages, each asked for when it is needed."""
        page_token = ""
        while True:
            items, page_token = await self.ask(listing.page(page_token))
            for item in items:
                yield item
            if not page_token:
                return

    async def stream(self, stream: Stream[T]) -> AsyncGenerator[T, None]:
        """Every answer; ends the call where nobody listens any longer."""
        self._guard.check()
        call = self._channel.unary_stream(
            stream.path,
            request_serializer=type(stream.request).SerializeToString,
            response_deserializer=stream.answer.FromString,
        )
        answers = call(stream.request, timeout=stream.timeout_s)
        try:
            async for answer in answers:
                self._has_answered = True
                yield stream.read(answer)
        except (grpc.RpcError, Unreadable) as error:
            await self._fail(error, stream.path)
        finally:
            answers.cancel()

    async def follow(self, name: str, patience: Patience) -> AsyncGenerator[News | Measurement, None]:
        """What is new of a measurement to its end, through lost connections."""
        async with aclosing(self._to_the_end(_asks.watch(name), name, patience)) as told:
            async for news in told:
                if news:
                    yield news
                if isinstance(news, Measurement) and news.is_over:
                    return

    async def follow_run(self, name: str, patience: Patience) -> AsyncGenerator[Run, None]:
        """A run at each of its changes to its end, through lost connections."""
        async with aclosing(self._to_the_end(_asks.watch_run(name), name, patience)) as told:
            async for run in told:
                yield run
                if run.is_over:
                    return

    async def server_version(self) -> str:
        """The daemon's version; empty where it does not tell it."""
        ask = _asks.status()
        call = self._channel.unary_unary(
            ask.path,
            request_serializer=type(ask.request).SerializeToString,
            response_deserializer=ask.answer.FromString,
        )
        try:
            return ask.read(await call(ask.request, timeout=ask.timeout_s)).version
        except grpc.RpcError:
            return ""

    async def _to_the_end(self, stream: Stream[T], name: str, patience: Patience) -> AsyncGenerator[T, None]:
        """The answers of a watch, which is taken up again until the caller has heard enough."""
        patience.renew()
        while True:
            try:
                async with aclosing(self.stream(replace(stream, timeout_s=patience.left_s()))) as answers:
                    async for answer in answers:
                        patience.renew()
                        yield answer
                await self._fail(Unreadable("an early end to"), stream.path)
            except NotRunning as lost:
                await self._endure(name, patience, lost)
            except TimedOut:
                raise patience.timed_out(name) from None

    async def _endure(self, what: str, patience: Patience, lost: NotRunning) -> None:
        """Pauses before the next try; raises where there is to be none."""
        # A daemon that never answered is not waited for.
        if not self._has_answered:
            raise lost
        patience.check(what, lost)
        await asyncio.sleep(_requests.PAUSE_S)

    async def _fail(self, error: Any, path: str) -> NoReturn:
        """Raises what a failed call means."""
        failure = typed(error)
        if isinstance(failure, NotSupported):
            failure = of_another_version(str(failure), path, await self.server_version())
        raise failure from error
