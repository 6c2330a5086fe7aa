"""What can go wrong, by what a caller can do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import grpc
from google.protobuf.message import DecodeError
from google.rpc import error_details_pb2, status_pb2

from ._version import PACKAGE_VERSION

#: Where gRPC servers put the details of a refusal.
_DETAILS = "grpc-status-details-bin"


@dataclass(frozen=True)
class Violation:
    """One wrong field of a request."""

    #: Path of the field, such as ``parameters.level_dbfs``.
    field: str
    #: What is wrong, and what would be right.
    text: str


class GoodwireError(Exception):
    """Something could not be done; the message says what was wrong, and what would be right."""

    def __init__(self, text: str, *, reason: str = "", violations: tuple[Violation, ...] = ()) -> None:
        super().__init__(text)
        #: Stable id in upper case, such as ``HOLD``; empty where the server gave none.
        self.reason = reason
        #: Every wrong field of the request.
        self.violations = violations


class NotRunning(GoodwireError):
    """Nobody answers there, or the connection is gone."""


class Refused(GoodwireError):
    """The request is wrong: :attr:`violations` has every wrong field."""


class UnknownName(GoodwireError):
    """There is no link, analysis, measurement, round or run of that name."""


class NotPermitted(GoodwireError):
    """Sound may not be played now: a hold, no permit, or nobody present."""


class Busy(GoodwireError):
    """The daemon cannot take more now; later it may."""


class TimedOut(GoodwireError):
    """It took longer than was allowed. What was asked for may still be done."""


class NotSupported(GoodwireError):
    """This daemon and this package are of different versions, and do not understand each other here."""


class Failed(GoodwireError):
    """A measurement ended without a result; :attr:`reason` is the id of its reason."""


class Unreadable(Exception):
    """An answer lacks what every answer of this version has; told to callers as :class:`NotSupported`."""


_BY_CODE: dict[grpc.StatusCode, type[GoodwireError]] = {
    grpc.StatusCode.INVALID_ARGUMENT: Refused,
    grpc.StatusCode.NOT_FOUND: UnknownName,
    grpc.StatusCode.FAILED_PRECONDITION: Refused,
    grpc.StatusCode.RESOURCE_EXHAUSTED: Busy,
    grpc.StatusCode.ABORTED: Busy,
    grpc.StatusCode.UNAVAILABLE: NotRunning,
    grpc.StatusCode.DEADLINE_EXCEEDED: TimedOut,
    grpc.StatusCode.UNIMPLEMENTED: NotSupported,
}

#: What grpc.aio says, as INTERNAL, where a connection breaks while something is sent.
_BROKEN_WHILE_SENDING = "Internal error from Core"

#: Reasons of a refusal that a person or the venue's control can take away.
_PERMISSION = {"HOLD", "PERMIT_REQUIRED", "PRESENCE_REQUIRED"}


def typed(error: Any) -> GoodwireError:
    """What a failed call means, with the server's details."""
    if isinstance(error, Unreadable):
        return NotSupported(f"answered with {error}")
    reason, violations = _details(error)
    kind = NotPermitted if reason in _PERMISSION else _BY_CODE.get(error.code(), GoodwireError)
    text = error.details() or str(error.code())
    if text == _BROKEN_WHILE_SENDING:
        kind = NotRunning
    if kind is NotSupported:
        text = "does not know the call"
    if kind is NotRunning:
        advice = "start one with `goodwired --config FILE`, or say in GOODWIRE_SERVER where it listens"
        text = f"no goodwired answers: {text}; {advice}"
    return kind(text, reason=reason, violations=violations)


def of_another_version(what: str, path: str, server_version: str) -> NotSupported:
    """Names both versions: ``what`` completes the sentence that begins with the daemon."""
    server = f"goodwired {server_version}" if server_version else "a goodwired of unknown version"
    return NotSupported(
        f"{server} {what} {path.rpartition('/')[2]}; this Python package is {PACKAGE_VERSION}: "
        "use a daemon and a package of one version"
    )


def _details(error: Any) -> tuple[str, tuple[Violation, ...]]:
    status = status_pb2.Status()
    for key, value in error.trailing_metadata() or ():
        if key == _DETAILS:
            try:
                status.MergeFromString(value)
            except DecodeError:
                # Details that cannot be read are none: the message stands without them.
                return "", ()
    reason, violations = "", []
    for detail in status.details:
        info, request = error_details_pb2.ErrorInfo(), error_details_pb2.BadRequest()
        if detail.Unpack(info):
            reason = info.reason
        elif detail.Unpack(request):
            violations += [Violation(one.field, one.description) for one in request.field_violations]
    return reason, tuple(violations)
