"""Channels of gRPC do not live through a fork: a process that was forked has to connect anew."""

from __future__ import annotations

import os

from ._errors import GoodwireError


class ForkGuard:
    """Remembers the process that connected; raises in any other."""

    def __init__(self) -> None:
        self._process = os.getpid()

    @property
    def is_at_home(self) -> bool:
        """True in the process that connected."""
        return os.getpid() == self._process

    def check(self) -> None:
        """Raises in a process that was forked since."""
        if not self.is_at_home:
            raise GoodwireError(
                "this connection was made before the process was forked, and would hang: connect in the new "
                "process, or use multiprocessing.set_start_method('spawn')"
            )
