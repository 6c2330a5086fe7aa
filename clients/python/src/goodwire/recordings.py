"""What is handed over to be analysed, beside files: samples in memory, and what was noted on the way."""

from __future__ import annotations

import os
from dataclasses import dataclass

from numpy.typing import ArrayLike


@dataclass(frozen=True, eq=False)
class Recording:
    """Samples with a rate of their own, where not all recordings have the same one."""

    #: One channel of floating-point samples, full scale = 1. A memory-mapped array stays one.
    samples: ArrayLike
    #: A whole number of Hz.
    rate_hz: float


@dataclass(frozen=True)
class Mark:
    """Where somebody stood, or what was seen, while it was recorded."""

    #: From the first frame of the returned recording.
    start_s: float
    #: Distance from the receiver; None where none was noted.
    metres: float | None = None
    label: str = ""


#: The path of a WAV or FLAC file, with ``:CHANNEL`` where it has several; an array; or a :class:`Recording`.
Source = str | os.PathLike[str] | ArrayLike | Recording
