"""Recordings on their way to the daemon: files as they are, arrays as 32-bit float WAV, never all at once."""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._errors import Refused
from ._requests import struct as parameters_of
from .v1 import measurement_pb2 as wire

#: Bytes of one piece.
PIECE_BYTES = 256 << 10
#: Frames that are converted at once.
BLOCK_FRAMES = 1 << 16
#: ``WAVE_FORMAT_IEEE_FLOAT`` of the RIFF/WAVE specification.
FORMAT_FLOAT = 3
#: What RIFF can count to, in bytes.
WAV_BYTES_MAX = (1 << 32) - 1
#: What stands before the samples, in bytes.
HEADER_BYTES = 58


def pieces(
    analysis: str,
    recordings: Mapping[str, Any],
    *,
    rate_hz: float | None,
    parameters: Mapping[str, Any],
    link: str,
    match: str,
    request_id: str,
) -> Iterator[wire.AnalyseRecordingsRequest]:
    """The whole upload, checked before the first piece. ``recordings`` has ``sent``, ``returned`` and perhaps ``reference``, each a
    path with an optional ``:CHANNEL``, or an array."""
    sources = {name: _source(name, one, rate_hz) for name, one in recordings.items() if one is not None}
    header = wire.RecordingsHeader(
        analysis=analysis,
        parameters=parameters_of(parameters),
        link=link,
        match=match,
        request_id=request_id,
        returned_channel=sources["returned"].channel,
        file_names=[source.title for source in sources.values()],
    )
    if "reference" in sources:
        header.reference_channel = sources["reference"].channel
        if sources["reference"].is_file_of(sources["returned"]):
            header.reference_in_returned = True
            header.file_names.pop()
            del sources["reference"]
    return _stream(header, sources)


def _stream(
    header: wire.RecordingsHeader, sources: Mapping[str, _File | _Array]
) -> Iterator[wire.AnalyseRecordingsRequest]:
    yield wire.AnalyseRecordingsRequest(header=header)
    for name, source in sources.items():
        file = wire.RecordingChunk.File.Value(name.upper())
        for data in source.data():
            yield wire.AnalyseRecordingsRequest(chunk=wire.RecordingChunk(file=file, data=data))


def _source(name: str, recording: Any, rate_hz: float | None) -> _File | _Array:
    if isinstance(recording, (str, os.PathLike)):
        return _File(name, os.fspath(recording))
    return _Array(name, recording, rate_hz)


class _File:
    """A WAV or FLAC file; the daemon reads it, we only carry it."""

    def __init__(self, name: str, text: str) -> None:
        path, colon, channel = text.rpartition(":")
        self.channel = 0
        if colon and channel.isdigit() and not Path(text).exists():
            text, self.channel = path, int(channel)
        self.path = Path(text)
        self.title = self.path.name
        if not self.path.is_file():
            raise Refused(f"{name}: there is no file {self.path}")

    def is_file_of(self, other: _File | _Array) -> bool:
        return isinstance(other, _File) and self.path.samefile(other.path)

    def data(self) -> Iterator[bytes]:
        with self.path.open("rb") as file:
            while data := file.read(PIECE_BYTES):
                yield data


class _Array:
    """Samples of one channel as a 32-bit float WAV file that is never written."""

    channel = 0

    def __init__(self, name: str, samples: ArrayLike, rate_hz: float | None) -> None:
        self.title = f"{name} (array)"
        # A memory-mapped array stays one: nothing is copied here.
        self.samples: NDArray[Any] = np.asanyarray(samples)
        if rate_hz is None or int(rate_hz) != rate_hz or rate_hz <= 0:
            raise Refused(f"{name}: arrays need rate_hz, a whole number of Hz; it is {rate_hz!r}")
        self.rate_hz = int(rate_hz)
        if self.samples.ndim != 1 or self.samples.size == 0:
            raise Refused(f"{name}: give one channel with samples; its shape is {self.samples.shape}")
        if not np.issubdtype(self.samples.dtype, np.floating):
            raise Refused(
                f"{name}: give floating-point samples, full scale = 1; these are {self.samples.dtype}, "
                "for 16 bit divide by 32768"
            )
        if HEADER_BYTES + 4 * self.samples.size > WAV_BYTES_MAX:
            raise Refused(f"{name}: {self.samples.size} samples are more than a WAV file can hold")
        self._check_finite()

    def is_file_of(self, other: _File | _Array) -> bool:
        return False

    def data(self) -> Iterator[bytes]:
        yield self._header()
        for first in range(0, self.samples.size, BLOCK_FRAMES):
            yield np.asarray(self.samples[first : first + BLOCK_FRAMES], dtype="<f4").tobytes()

    def _check_finite(self) -> None:
        for first in range(0, self.samples.size, BLOCK_FRAMES):
            block = self.samples[first : first + BLOCK_FRAMES]
            wrong = np.flatnonzero(~np.isfinite(block))
            if wrong.size:
                at = first + int(wrong[0])
                raise Refused(f"{self.title}: sample {at} is {self.samples[at]}; every sample has to be finite")

    def _header(self) -> bytes:
        """RIFF/WAVE with `fmt ` (18 bytes), `fact` and `data`, as the specification wants it of floats."""
        data_bytes = 4 * self.samples.size
        form = struct.pack("<HHIIHHH", FORMAT_FLOAT, 1, self.rate_hz, 4 * self.rate_hz, 4, 32, 0)
        return b"".join(
            [
                b"RIFF" + struct.pack("<I", HEADER_BYTES - 8 + data_bytes) + b"WAVE",
                b"fmt " + struct.pack("<I", len(form)) + form,
                b"fact" + struct.pack("<II", 4, self.samples.size),
                b"data" + struct.pack("<I", data_bytes),
            ]
        )
