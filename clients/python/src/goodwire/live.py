"""What is heard just now."""

from __future__ import annotations

from dataclasses import dataclass

from ._reading import bare, optional
from .v1 import level_pb2


@dataclass(frozen=True)
class ReturnLevel:
    """The level of one return over the last tenth of a second."""

    #: Number of the return, from 1.
    return_: int
    #: The bare name of the link that is heard there, or ``reference``; empty where it is neither.
    name: str
    #: Highest sample; None where nothing was heard yet.
    peak_dbfs: float | None
    #: RMS as the level of a sine of that RMS (AES17); None where nothing was heard yet.
    rms_dbfs: float | None
    #: True where a sample stood at full scale.
    is_clipped: bool


def levels_of(message: level_pb2.WatchLevelsResponse) -> tuple[ReturnLevel, ...]:
    """The levels of all returns of a message."""
    return tuple(
        ReturnLevel(
            return_=getattr(one, "return"),
            name=bare(one.name),
            peak_dbfs=optional(one, "peak_dbfs"),
            rms_dbfs=optional(one, "rms_dbfs"),
            is_clipped=one.clipped,
        )
        for one in message.returns
    )
