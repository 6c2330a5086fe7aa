"""The asyncio face, called like the one that waits: so that one test holds both to the same."""

import inspect
from contextlib import aclosing, closing
from itertools import islice


class OnLoop:
    """Runs what its client or handle gives on a loop; what comes one by one comes as a list."""

    def __init__(self, client, loop):
        self._client = client
        self._loop = loop

    def __getattr__(self, name):
        found = getattr(self._client, name)
        if not callable(found):
            return found
        return lambda *positional, **named: self._plain(found(*positional, **named))

    def _plain(self, answer):
        if inspect.isawaitable(answer):
            answer = self._loop.run_until_complete(answer)
        if hasattr(answer, "__aiter__"):
            answer = self._loop.run_until_complete(_listed(answer))
        if isinstance(answer, tuple):
            return tuple(OnLoop(one, self._loop) if hasattr(one, "watch") else one for one in answer)
        return answer


def first(count, face, method):
    """The first answers of a method that gives them without end."""
    if isinstance(face, OnLoop):
        return face._loop.run_until_complete(_first(count, getattr(face._client, method)()))
    with closing(getattr(face, method)()) as answers:
        return list(islice(answers, count))


async def _first(count, answers):
    found = []
    async with aclosing(answers):
        async for one in answers:
            found.append(one)
            if len(found) == count:
                return found
    return found


async def _listed(answers):
    return [one async for one in answers]
