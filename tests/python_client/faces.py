"""The asyncio face, called like the one that waits: so that one test holds both to the same."""

import inspect


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


async def _listed(answers):
    return [one async for one in answers]
