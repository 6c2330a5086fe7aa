"""Values as they come over the wire, as values of Python."""

from __future__ import annotations

import copyreg
from datetime import datetime, timezone
from types import MappingProxyType
from typing import Any

import numpy as np
from google.protobuf import json_format
from google.protobuf.struct_pb2 import Struct
from numpy.typing import NDArray

def frozen(mapping: dict[str, Any]) -> MappingProxyType[str, Any]:
    """The same, not to be written to."""
    return MappingProxyType(mapping)


# Such mappings know by themselves neither how to be copied nor how to be sent to another process.
copyreg.pickle(MappingProxyType, lambda mapping: (frozen, (dict(mapping),)))


def bare(name: str) -> str:
    """``lectern`` of ``links/lectern``."""
    return name.rsplit("/", 1)[-1]


def place_of(message: Struct) -> MappingProxyType[str, Any]:
    """The fields of a Struct by name, since the wire has no order; cannot be written to."""
    return frozen(dict(sorted(json_format.MessageToDict(message).items())))


def time_of(message: Any, name: str) -> datetime | None:
    """A time in UTC; None where it is absent."""
    if not message.HasField(name):
        return None
    time: datetime = getattr(message, name).ToDatetime(tzinfo=timezone.utc)
    return time


def optional(message: Any, name: str) -> float | None:
    """A number; None where it is absent."""
    return getattr(message, name) if message.HasField(name) else None


def array(numbers: Any) -> NDArray[np.float64]:
    """Numbers as an array that cannot be written to."""
    values = np.array(numbers, dtype=np.float64)
    values.flags.writeable = False
    return values
