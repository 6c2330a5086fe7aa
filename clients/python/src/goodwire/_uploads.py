"""Recordings on their way to the daemon: files as they are, arrays as 32-bit float WAV, never all at once."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from ._arrays import ArrayFile
from ._errors import Refused
from ._requests import struct
from .recordings import Mark, Recording, Source
from .results import Measurement, measurement_of
from .v1 import measurement_pb2 as wire

#: Bytes of one piece.
PIECE_BYTES = 256 << 10


class Upload:
    """Recordings of one analysis, checked, to be sent as often as it takes."""

    path = "/goodwire.v1.MeasurementService/AnalyseRecordings"
    request = wire.AnalyseRecordingsRequest
    answer = wire.AnalyseRecordingsResponse

    def __init__(
        self,
        analysis: str,
        recordings: Mapping[str, Source | None],
        *,
        rate_hz: float | None,
        parameters: Mapping[str, Any],
        link: str,
        match: Measurement | str,
        marks: Iterable[Mark],
    ) -> None:
        """``recordings`` has ``sent``, ``returned`` and ``reference``; None where there is none."""
        self._files = {name: _file(name, one, rate_hz) for name, one in recordings.items() if one is not None}
        self._header = wire.RecordingsHeader(
            analysis=analysis,
            parameters=struct(parameters),
            link=link,
            request_id=str(uuid.uuid4()),
            returned_channel=self._files["returned"].channel,
            file_names=[file.title for file in self._files.values()],
            marks=[
                wire.RecordingMark(start_s=mark.start_s, metres=mark.metres, label=mark.label) for mark in marks
            ],
        )
        self._set_match(match)
        self._set_reference()

    def pieces(self) -> Iterator[wire.AnalyseRecordingsRequest]:
        """The header, then the bytes of all files."""
        yield wire.AnalyseRecordingsRequest(header=self._header)
        for name, file in self._files.items():
            for data in file.data():
                yield wire.AnalyseRecordingsRequest(chunk=wire.RecordingChunk(file=name.upper(), data=data))

    def read(self, answer: wire.AnalyseRecordingsResponse) -> Measurement:
        """What has begun with it."""
        return measurement_of(answer.measurement)

    def _set_match(self, match: Measurement | str) -> None:
        name = match.name if isinstance(match, Measurement) else match
        if name.endswith(".json"):
            self._header.match_json = _existing("match", name).read_text(encoding="utf-8")
        else:
            self._header.match = name

    def _set_reference(self) -> None:
        reference, returned = self._files.get("reference"), self._files["returned"]
        if reference is None:
            return
        self._header.reference_channel = reference.channel
        if isinstance(reference, _File) and isinstance(returned, _File) and reference.path.samefile(returned.path):
            # Two channels of one file: it is sent once.
            self._header.reference_in_returned = True
            self._header.file_names.pop()
            del self._files["reference"]


def _file(name: str, recording: Source, rate_hz: float | None) -> _File | ArrayFile:
    if isinstance(recording, (str, os.PathLike)):
        return _File(name, os.fspath(recording))
    if isinstance(recording, Recording):
        return ArrayFile(name, recording.samples, recording.rate_hz)
    return ArrayFile(name, recording, rate_hz)


def _existing(name: str, text: str) -> Path:
    path = Path(text)
    if not path.is_file():
        raise Refused(f"{name}: there is no file {path}")
    return path


class _File:
    """A WAV or FLAC file; the daemon reads it, we only carry it."""

    def __init__(self, name: str, text: str) -> None:
        path, colon, channel = text.rpartition(":")
        self.channel = 0
        if colon and channel.isdigit() and not Path(text).exists():
            text, self.channel = path, int(channel)
        self.path = _existing(name, text)
        self.title = self.path.name

    def data(self) -> Iterator[bytes]:
        with self.path.open("rb") as file:
            while data := file.read(PIECE_BYTES):
                yield data
