"""Arrays as files: 32-bit float WAV that is never written, made block by block."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._errors import Refused
from ._requests import whole_rate_hz

#: Frames that are converted at once: 256 KiB on the wire.
BLOCK_FRAMES = 1 << 16
#: ``WAVE_FORMAT_IEEE_FLOAT`` of the RIFF/WAVE specification.
FORMAT_FLOAT = 3
#: What RIFF can count to, in bytes.
WAV_BYTES_MAX = (1 << 32) - 1
#: What stands before the samples, in bytes.
HEADER_BYTES = 58
#: The largest sample that 32-bit floats can hold.
SAMPLE_MAX = np.float64(np.finfo(np.float32).max)


class ArrayFile:
    """Samples of one channel; a memory-mapped array stays one."""

    channel = 0

    def __init__(self, name: str, samples: ArrayLike, rate_hz: float | None) -> None:
        self.title = f"{name} (array)"
        self._name = name
        self._rate_hz = whole_rate_hz(name, rate_hz)
        try:
            self._samples: NDArray[Any] = np.asanyarray(samples)
        except ValueError as error:
            raise Refused(f"{name}: give one array of samples: {error}") from error
        self._check_kind()
        self._check_finite()

    def data(self) -> Iterator[bytes]:
        """The bytes of the file."""
        yield self._header()
        for first in range(0, self._samples.size, BLOCK_FRAMES):
            yield np.asarray(self._samples[first : first + BLOCK_FRAMES], dtype="<f4").tobytes()

    def _check_kind(self) -> None:
        name, samples = self._name, self._samples
        if not np.issubdtype(samples.dtype, np.floating):
            raise Refused(
                f"{name}: give floating-point samples, full scale = 1; these are {samples.dtype}, "
                "for 16 bit divide by 32768"
            )
        if samples.ndim != 1 or samples.size == 0:
            raise Refused(f"{name}: give one channel with samples; its shape is {samples.shape}")
        if HEADER_BYTES + 4 * samples.size > WAV_BYTES_MAX:
            raise Refused(f"{name}: {samples.size} samples are more than a WAV file holds; give a FLAC file")

    def _check_finite(self) -> None:
        for first in range(0, self._samples.size, BLOCK_FRAMES):
            block = self._samples[first : first + BLOCK_FRAMES]
            # Not a number compares false, too.
            wrong = np.flatnonzero(~(np.abs(block) <= SAMPLE_MAX))
            if wrong.size:
                at = first + int(wrong[0])
                raise Refused(f"{self._name}: sample {at} is {self._samples[at]}; every sample has to be finite")

    def _header(self) -> bytes:
        """RIFF/WAVE with `fmt ` (18 bytes), `fact` and `data`, as the specification wants it of floats."""
        data_bytes = 4 * self._samples.size
        form = struct.pack("<HHIIHHH", FORMAT_FLOAT, 1, self._rate_hz, 4 * self._rate_hz, 4, 32, 0)
        return b"".join(
            [
                b"RIFF" + struct.pack("<I", HEADER_BYTES - 8 + data_bytes) + b"WAVE",
                b"fmt " + struct.pack("<I", len(form)) + form,
                b"fact" + struct.pack("<II", 4, self._samples.size),
                b"data" + struct.pack("<I", data_bytes),
            ]
        )
