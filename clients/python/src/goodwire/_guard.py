"""gRPC does not live through a fork: in a process that was forked after it was begun, calls hang or fail by chance."""

from __future__ import annotations

import os

from ._errors import GoodwireError


class ForkGuard:
    """Knows the process in which gRPC was begun, and lets no other use what it inherited."""

    #: A forked process inherits its parent's; one that was spawned begins with none.
    _process: int | None = None

    def __init__(self) -> None:
        if ForkGuard._process is None:
            ForkGuard._process = os.getpid()
        self.check()

    @property
    def is_at_home(self) -> bool:
        """True in the process in which gRPC was begun."""
        return os.getpid() == ForkGuard._process

    def check(self) -> None:
        """Raises in a process that was forked since."""
        if not self.is_at_home:
            raise GoodwireError(
                "this process was forked from one that had connected to a goodwired, and connections do not live "
                "through that: connect for the first time after the fork, or use "
                "multiprocessing.set_start_method('spawn')"
            )
