"""How long something is waited for, and how long a lost server may stay away meanwhile."""

from __future__ import annotations

import time

from ._errors import NotRunning, TimedOut
from ._requests import PATIENCE_S


class Patience:
    """The deadline that a caller set, and when a lost server is given up."""

    def __init__(self, timeout_s: float | None) -> None:
        self._timeout_s = timeout_s
        self._deadline = None if timeout_s is None else time.monotonic() + timeout_s
        self.renew()

    def renew(self) -> None:
        """The server has answered."""
        self._give_up = time.monotonic() + PATIENCE_S

    def left_s(self) -> float | None:
        """Seconds until the deadline; None where there is none."""
        return None if self._deadline is None else max(0.0, self._deadline - time.monotonic())

    def check(self, what: str, lost: NotRunning) -> None:
        """Raises where the deadline has passed, or the server has stayed away too long."""
        if self.left_s() == 0.0:
            raise self.timed_out(what)
        if time.monotonic() > self._give_up:
            raise NotRunning(f"{what}: no goodwired has answered for {PATIENCE_S:g} s") from lost

    def timed_out(self, what: str) -> TimedOut:
        """What to raise at the deadline."""
        return TimedOut(f"{what} was not over after {self._timeout_s:g} s")
