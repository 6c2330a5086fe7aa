"""What is asked of the daemon, as messages: the same for the client that waits and the asyncio one."""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta, timezone
from typing import Any

import numpy as np
from google.protobuf.struct_pb2 import Struct
from google.protobuf.timestamp_pb2 import Timestamp

from ._errors import Refused
from .radio import SurveySource, survey_message
from .v1 import measurement_pb2

#: Deadline of a call that only asks or tells, in seconds.
QUICK_S = 15.0
#: Deadline of a call behind which a device or a plugin may be slow, in seconds.
SLOW_S = 60.0
#: How long a lost server may stay away while a measurement is followed, in seconds.
PATIENCE_S = 30.0
#: Pause between two tries to reach it, in seconds.
PAUSE_S = 0.3
#: Largest page that the server gives.
PAGE_SIZE_MAX = 500


def measure(
    links: str | Iterable[str],
    analysis: str,
    parameters: Mapping[str, Any],
    *,
    present: bool,
    match: bool = False,
    resume: bool = False,
    setup: Mapping[str, str] | None = None,
    survey: SurveySource | None = None,
) -> measurement_pb2.MeasureRequest:
    """Asks for measurements; made once and sent as often as needed, it starts them once."""
    return measurement_pb2.MeasureRequest(
        links=[links] if isinstance(links, str) else list(links),
        analysis=analysis,
        parameters=struct(parameters),
        request_id=str(uuid.uuid4()),
        present=present,
        match=match,
        resume=resume,
        setup=dict(setup or {}),
        survey=survey_message(survey),
    )


def struct(parameters: Mapping[str, Any]) -> Struct:
    """Parameters as the wire wants them; lists are written with commas, as on the command line."""
    message = Struct()
    for name, value in parameters.items():
        message[name] = _value(name, value)
    return message


def _value(name: str, value: Any) -> str | float | bool:
    if isinstance(value, (bool, str)):
        return value
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, Mapping) or value is None:
        raise Refused(f"`{name}` is {value!r}: give a number, a text, True or False, or a list of numbers")
    if hasattr(value, "__iter__"):
        return ",".join(str(_number(name, one)) for one in value)
    return _number(name, value)


def _number(name: str, value: Any) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError) as error:
        raise Refused(f"`{name}` is {value!r}: that is no number") from error
    if not math.isfinite(number):
        raise Refused(f"`{name}` is {value!r}: give a finite number")
    return number


def whole_rate_hz(what: str, rate_hz: float | None) -> int:
    """A rate as a whole number of Hz."""
    if rate_hz is None or not rate_hz > 0 or int(rate_hz) != rate_hz:
        raise Refused(f"{what}: give rate_hz, a whole number of Hz; it is {rate_hz!r}")
    return int(rate_hz)


def timestamp(time: datetime | timedelta | None, *, ahead: bool = False) -> Timestamp | None:
    """A time, or a span before now; with ``ahead`` from now on. Times without a zone are refused."""
    if time is None:
        return None
    if isinstance(time, timedelta):
        now = datetime.now(timezone.utc)
        time = now + time if ahead else now - time
    if time.tzinfo is None:
        raise Refused(f"{time} has no zone: datetime.now(timezone.utc) and the like have one")
    message = Timestamp()
    message.FromDatetime(time)
    return message
