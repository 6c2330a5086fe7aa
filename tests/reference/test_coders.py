"""Real coders and rate converters as links: what packetised and converted sound does to the figures.

The coders are libsndfile's (FLAC, IMA and Microsoft ADPCM, G.721, Vorbis, Opus, MPEG layer III),
the converter is libsoxr. Where the truth is known independently, figures are held against it:
lossless coding and conversion change nothing, and a delay that the test adds is a delay.
"""

import io

import numpy as np
import pytest
import soundfile
import soxr
from scipy import signal

RATE_HZ = 48000
DELAY_FRAMES = 123
LOSSY = {
    "IMA ADPCM": ("WAV", "IMA_ADPCM"),
    "MS ADPCM": ("WAV", "MS_ADPCM"),
    "G.721": ("AU", "G721_32"),
    "Vorbis": ("OGG", "VORBIS"),
    "Opus": ("OGG", "OPUS"),
    "MPEG layer III": ("MP3", "MPEG_LAYER_III"),
}


def coded(samples, format, subtype):
    """The samples after a coder and its decoder, `DELAY_FRAMES` late, as long as the reference."""
    file = io.BytesIO()
    soundfile.write(file, samples, RATE_HZ, format=format, subtype=subtype)
    file.seek(0)
    decoded, rate_hz = soundfile.read(file)
    assert rate_hz == RATE_HZ
    # Decoders end with a part of a packet more or less.
    whole = np.zeros(len(samples))
    whole[: len(decoded)] = decoded[: len(samples)]
    return np.concatenate([np.zeros(DELAY_FRAMES), whole])


def take(goodwire, recordings, analysis, coder, **settings):
    """Analyses a coder as a link beside a cable."""
    sent, samples = goodwire.stimulus(analysis, RATE_HZ, **settings)
    # Not quite full scale, where decoders clip; silence at both ends.
    samples = 0.999 * np.concatenate([np.zeros(4800), samples, np.zeros(24000)])
    link = coded(samples, *coder)
    reference = np.concatenate([samples, np.zeros(DELAY_FRAMES)])
    file = recordings(RATE_HZ, link, reference)
    return goodwire.analyse(analysis, sent, f"{file}:1", f"{file}:2"), link, reference


@pytest.mark.parametrize("name", LOSSY)
def test_latency_through_a_lossy_coder_is_within_a_tenth_of_a_sample(goodwire, recordings, name):
    """libsndfile gives the decoders' own delay back, which SciPy's correlation confirms."""
    result, link, reference = take(goodwire, recordings, "latency", LOSSY[name])
    correlation = signal.correlate(link, reference, method="fft")
    assert np.argmax(np.abs(correlation)) - (len(reference) - 1) == DELAY_FRAMES
    assert result.succeeded, result
    latency_frames = result.value("latency") * RATE_HZ / 1000
    assert abs(latency_frames - DELAY_FRAMES) <= 0.1, result


@pytest.mark.parametrize("name", LOSSY)
def test_a_lossy_coder_is_neither_gain_nor_compression(goodwire, recordings, name):
    """A coder is to keep a tone's level, whatever it adds: 0.1 dB is its own business."""
    result, _, _ = take(goodwire, recordings, "level", LOSSY[name], step_db=2)
    assert result.succeeded, result
    assert abs(result.value("gain")) <= 0.1, result
    assert result.value("polarity") == 1
    assert not result.figures("compression_point"), result


# Microsoft's ADPCM is missed: below 1 kHz its error hides in its own noise.
@pytest.mark.parametrize("name", sorted(LOSSY.keys() - {"MS ADPCM"}))
def test_the_error_of_a_lossy_coder_follows_the_signal_and_is_told(goodwire, recordings, name):
    """Coders of every kind spend their bits by what they are given, so their error follows it."""
    result, _, _ = take(goodwire, recordings, "response", LOSSY[name])
    assert "error-follows-signal" in result.notes, result


def test_a_lossless_coder_of_16_bit_is_a_cable(goodwire, recordings):
    """16 bit round to 98 dB below full scale, 78 dB below the sweep: 0.001 dB."""
    flac = ("FLAC", "PCM_16")
    result, _, _ = take(goodwire, recordings, "response", flac)
    f_hz, magnitude_db = result.curve("magnitude")
    assert np.max(np.abs(magnitude_db)) <= 0.002, result
    assert len(f_hz) >= 240 and "error-follows-signal" not in result.notes
    result, _, _ = take(goodwire, recordings, "latency", flac)
    assert abs(result.value("latency") * RATE_HZ / 1000 - DELAY_FRAMES) <= 1e-4, result


@pytest.mark.parametrize("ppm", [100.0, -100.0])
@pytest.mark.parametrize("with_reference", [True, False])
def test_a_converter_on_another_clock_leaves_the_response_flat(goodwire, recordings, ppm, with_reference):
    """libsoxr at its best is flat to 0.9 of half the rate; the clock is found within 0.001 ppm."""
    sent, samples = goodwire.stimulus("response", RATE_HZ)
    samples = np.concatenate([np.zeros(4800), samples, np.zeros(24000)])
    converted = soxr.resample(samples, RATE_HZ, RATE_HZ * (1 + 1e-6 * ppm), "VHQ")
    length = max(len(samples), len(converted))
    file = recordings(RATE_HZ, *(np.pad(s, (0, length - len(s))) for s in (converted, samples)))
    reference = [f"{file}:2"] if with_reference else []
    result = goodwire.analyse("response", sent, f"{file}:1", *reference)
    assert result.succeeded and "skew-removed" in result.notes, result
    _, magnitude_db = result.curve("magnitude")
    assert np.max(np.abs(magnitude_db)) <= 0.005, result


@pytest.mark.parametrize("ppm", [120.0, -120.0])
def test_the_clock_of_a_converter_is_found_within_a_thousandth_of_a_ppm(goodwire, recordings, ppm):
    sent, samples = goodwire.stimulus("latency", RATE_HZ)
    converted = soxr.resample(samples, RATE_HZ, RATE_HZ * (1 + 1e-6 * ppm), "VHQ")
    file = recordings(RATE_HZ, converted)
    result = goodwire.analyse("latency", sent, f"{file}:1")
    assert abs(result.value("skew") - ppm) <= 1e-3, result


def test_a_link_that_converts_to_32_khz_and_back_ends_below_16_khz(goodwire, recordings):
    """Half of 32 kHz is where it must end; libsoxr's `HQ` begins to fall at 0.913 of that."""
    sent, samples = goodwire.stimulus("response", RATE_HZ)
    samples = np.concatenate([np.zeros(4800), samples, np.zeros(24000)])
    there = soxr.resample(samples, RATE_HZ, 32000, "HQ")
    back = soxr.resample(there, 32000, RATE_HZ, "HQ")
    file = recordings(RATE_HZ, back, samples)
    result = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2")
    assert 0.913 * 16000 <= result.value("corner_high") <= 16000, result
    f_hz, magnitude_db = result.curve("magnitude")
    assert np.max(np.abs(magnitude_db[f_hz < 14000])) <= 0.002, result
