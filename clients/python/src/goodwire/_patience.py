"""How long something is followed: through lost connections, but not for ever."""

from __future__ import annotations

import time

from ._errors import NotRunning, TimedOut
from ._requests import PATIENCE_S


class Patience:
    """The deadline that a caller set, and how long a lost server may stay away."""

    def __init__(self, timeout_s: float | None) -> None:
        self._deadline = None if timeout_s is None else time.monotonic() + timeout_s
        self.renew()

    def renew(self) -> None:
        """The server has answered."""
        self._give_up = time.monotonic() + PATIENCE_S

    def left_s(self) -> float | None:
        """Seconds until the deadline; None where there is none."""
        return None if self._deadline is None else max(0.0, self._deadline - time.monotonic())

    def check(self, name: str) -> None:
        """Raises where the server has stayed away too long."""
        if time.monotonic() > self._give_up:
            raise NotRunning(f"{name} cannot be followed any longer: no goodwired has answered for {PATIENCE_S:g} s")

    def check_deadline(self, name: str) -> None:
        """Raises where the deadline has passed."""
        if self._deadline is not None and time.monotonic() >= self._deadline:
            raise TimedOut(f"{name} is not over yet")
