"""What is heard just now, and what is plugged in where."""

from __future__ import annotations

from dataclasses import dataclass

from ._reading import bare, optional
from .v1 import level_pb2, wiring_pb2


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


@dataclass(frozen=True)
class WiringPair:
    """A send and a return that hear one another, or should."""

    #: Number of the send, from 1.
    send: int
    #: Number of the return, from 1.
    return_: int
    #: The bare name of the link that the configuration has between them, or ``reference``; empty: none.
    name: str
    #: True where the return hears the send.
    is_heard: bool
    #: None where it is not heard.
    gain_db: float | None
    #: None where it is not heard, or the interface cannot tell.
    delay_ms: float | None
    #: True where the polarity is swapped.
    is_inverted: bool
    #: Peak of the noise at which it was first told, at the send; None where it is not heard.
    level_dbfs: float | None


@dataclass(frozen=True)
class WiringFault:
    """Something that is wrong with the wiring."""

    #: ``crossed``, ``missing``, ``shorted``, ``polarity`` or ``unexpected``.
    id: str
    #: What is wrong and what to do.
    text: str


@dataclass(frozen=True)
class Wiring:
    """What is plugged in where."""

    #: In the order of the returns, then of the sends.
    pairs: tuple[WiringPair, ...]
    #: Empty where all is as configured.
    faults: tuple[WiringFault, ...]
    #: Peak of the loudest noise that was played, at the send; None where there is no send.
    level_dbfs: float | None
    simulated: bool


def wiring_of(message: wiring_pb2.Wiring) -> Wiring:
    """The wiring of a message."""
    pairs = tuple(
        WiringPair(
            send=one.send,
            return_=getattr(one, "return"),
            name=bare(one.name),
            is_heard=one.heard,
            gain_db=optional(one, "gain_db"),
            delay_ms=optional(one, "delay_ms"),
            is_inverted=one.inverted,
            level_dbfs=optional(one, "level_dbfs"),
        )
        for one in message.pairs
    )
    faults = tuple(WiringFault(id=one.id, text=one.text) for one in message.faults)
    return Wiring(pairs, faults, optional(message, "level_dbfs"), message.simulated)
