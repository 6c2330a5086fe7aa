"""Recordings of every kind that other machines make: formats, rates, channels, starts and lengths."""

import subprocess

import link
import numpy as np
import pytest
import soundfile
from hard import cases

RATE_HZ = 48000
DELAY_FRAMES = 212.6
GAIN_DB = -4.2


def pair(samples, rate_hz=RATE_HZ, tail=24000):
    """What a link and the cable beside it return, with half a second more of silence."""
    late = link.Path(rate_hz, None, GAIN_DB, DELAY_FRAMES)(samples)
    frames = len(late) + tail
    return np.pad(late, (0, frames - len(late))), np.pad(samples, (0, frames - len(samples)))


def check(result, tolerance_db=0.01, tolerance_frames=0.01, rate_hz=RATE_HZ):
    assert result.succeeded and result.code == 0, result
    if result.document["analysis"] == "latency":
        assert result.value("latency") * rate_hz / 1000 == pytest.approx(DELAY_FRAMES, abs=tolerance_frames)
    else:
        assert result.value("gain") == pytest.approx(GAIN_DB, abs=tolerance_db)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT"])
@pytest.mark.parametrize("analysis", cases(["latency", "level"], "response"))
def test_wav_of_every_depth(goodwire, recordings, analysis, subtype):
    sent, samples = goodwire.stimulus(analysis)
    file = recordings(RATE_HZ, *pair(samples), subtype=subtype)
    check(goodwire.analyse(analysis, sent, f"{file}:1", f"{file}:2"))


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
def test_flac(goodwire, recordings, subtype):
    sent, samples = goodwire.stimulus("latency")
    file = recordings(RATE_HZ, *pair(samples), name="returned.flac", subtype=subtype)
    check(goodwire.analyse("latency", sent, f"{file}:1", f"{file}:2"))


@pytest.mark.parametrize("returned_hz", cases([44100, 96000], 48000, 192000))
@pytest.mark.parametrize("analysis", cases(["response", "level"], "distortion"))
def test_returned_has_another_rate_than_sent(goodwire, recordings, analysis, returned_hz):
    """A sound of 48 kHz is taken down at another rate, band-limited below half of the lower one."""
    sent, samples = goodwire.stimulus(analysis)
    link_heard, cable_heard = (x[: len(x) // 480 * 480] for x in pair(samples))

    def at_rate(x):
        from scipy import signal

        return signal.resample(x, len(x) * returned_hz // RATE_HZ)

    file = recordings(returned_hz, at_rate(link_heard), at_rate(cable_heard))
    result = goodwire.analyse(analysis, sent, f"{file}:1", f"{file}:2")
    assert result.succeeded, result
    if analysis == "distortion":
        assert all(f["value"] < 1e-3 for f in result.figures("thd"))
    else:
        assert result.value("gain") == pytest.approx(GAIN_DB, abs=0.01)


@pytest.mark.parametrize("channel", cases([3], 1, 8))
def test_one_channel_of_eight(goodwire, recordings, channel):
    sent, samples = goodwire.stimulus("level")
    late, cable = pair(samples)
    others = [link.noise(len(late), -40, seed) for seed in range(8)]
    others[channel - 1] = late
    others[channel % 8] = cable
    file = recordings(RATE_HZ, *others)
    check(goodwire.analyse("level", sent, f"{file}:{channel}", f"{file}:{channel % 8 + 1}"))


@pytest.mark.parametrize("start_s", cases([-0.7, 3.0], -1.2, 0.01, 12.5, 61.7))
@pytest.mark.parametrize("analysis", ["latency", "level", "response", "distortion"])
def test_recording_starts_before_the_stimulus_or_within_its_wake_up(goodwire, recordings, analysis, start_s):
    sent, samples = goodwire.stimulus(analysis)
    frames = int(start_s * RATE_HZ)
    file = recordings(RATE_HZ, *(link.started(x, frames) for x in pair(samples)))
    result = goodwire.analyse(analysis, sent, f"{file}:1", f"{file}:2")
    if analysis == "distortion":
        assert result.succeeded and all(f["value"] <= 1e-4 for f in result.figures("thd")), result
    else:
        check(result)


@pytest.mark.parametrize("analysis", cases(["response"], "latency", "level"))
def test_recording_is_much_longer_and_noisy_outside(goodwire, recordings, analysis):
    sent, samples = goodwire.stimulus(analysis)
    late, cable = (np.pad(x, (20 * RATE_HZ, 30 * RATE_HZ)) for x in pair(samples))
    late = late + link.noise(len(late), -75, 1)
    cable = cable + link.noise(len(cable), -95, 2)
    file = recordings(RATE_HZ, late, cable, subtype="PCM_24")
    check(goodwire.analyse(analysis, sent, f"{file}:1", f"{file}:2"), tolerance_db=0.05, tolerance_frames=0.05)


def test_reference_in_a_file_of_its_own(goodwire, recordings):
    sent, samples = goodwire.stimulus("latency")
    late, cable = pair(samples)
    check(goodwire.analyse("latency", sent, recordings(RATE_HZ, late), recordings(RATE_HZ, cable)))


def test_sent_rewritten_without_its_comment_needs_the_parameters_again(goodwire, recordings):
    parameters = {"freq_hz": 500, "max_dbfs": -12}
    sent, samples = goodwire.stimulus("level", **parameters)
    bare = recordings(RATE_HZ, samples, name="bare.wav")
    late, cable = pair(samples)
    file = recordings(RATE_HZ, late, cable)
    check(goodwire.analyse("level", bare, f"{file}:1", f"{file}:2", **parameters))
    check(goodwire.analyse("level", sent, f"{file}:1", f"{file}:2"))


def test_flac_of_another_encoder(goodwire, recordings, tmp_path):
    """The reference encoder, where it is installed; libsndfile's is tested above in any case."""
    sent, samples = goodwire.stimulus("latency")
    wav = recordings(RATE_HZ, *pair(samples), subtype="PCM_24")
    flac = tmp_path / "other.flac"
    try:
        subprocess.run(["flac", "--silent", "--best", "-o", flac, wav], check=True)
    except FileNotFoundError:
        pytest.skip("SKIPPED: no flac encoder is installed")
    assert soundfile.info(flac).subtype == "PCM_24"
    check(goodwire.analyse("latency", sent, f"{flac}:1", f"{flac}:2"))
