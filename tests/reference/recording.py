"""Reads and writes recordings, with libsndfile: nothing of goodwire's own readers is used."""

import itertools

import numpy as np
import soundfile

_count = itertools.count()


def read(path):
    """Samples of a mono file as f64, and its rate in Hz."""
    samples, rate_hz = soundfile.read(path, dtype="float64")
    assert samples.ndim == 1, f"{path} has {samples.shape[1]} channels"
    return samples, rate_hz


def write(path, rate_hz, channels, subtype="FLOAT"):
    """Writes channels of one length. `subtype`: PCM_16, PCM_24, PCM_32, FLOAT or DOUBLE."""
    path = path.with_name(f"{next(_count)}-{path.name}")
    frames = max(len(channel) for channel in channels)
    padded = [np.pad(channel, (0, frames - len(channel))) for channel in channels]
    soundfile.write(path, np.column_stack(padded), rate_hz, subtype=subtype)
    return path
