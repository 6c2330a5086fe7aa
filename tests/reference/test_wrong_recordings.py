"""A wrong recording never gives a confident number: figures are absent, and the reason is told."""

import link
import numpy as np
import pytest
from hard import cases

RATE_HZ = 48000
ANALYSES = ["response", "latency", "level", "distortion", "noise", "null", "dropout"]
# Figures that say something of the link; others, such as a signal-to-noise ratio, may say how bad it is.
OF_THE_LINK = {
    "response": ["gain", "deviation", "corner_low", "corner_high"],
    "latency": ["latency", "skew", "air_path"],
    "level": ["gain", "polarity", "clip_point", "compression_point", "linearity"],
    "distortion": ["thd", "thd_n", "h2", "h3"],
    "noise": ["noise", "noise_a", "noise_468", "noise_ccir_rms", "dynamic_range_a", "hum"],
    "null": ["null_depth"],
    "dropout": ["dropouts", "dropout_rate", "lost_time", "availability"],
}


def nothing_was_claimed(result):
    """No figure of the link, and either a failure with its reason or a warning for each absence."""
    assert result.code == 3, result
    claimed = [f for id in OF_THE_LINK[result.document.get("analysis", "level")] for f in result.figures(id)]
    assert not claimed, claimed
    said = result.reason or result.notes or result.error.strip()
    assert said, "no reason was told"


def music(frames):
    """Something that is no stimulus: chords with decays."""
    time = np.arange(frames) / RATE_HZ
    chords = sum(np.sin(2 * np.pi * f * time) for f in (220.0, 277.2, 329.6, 440.0, 1108.7))
    return 0.05 * chords * np.exp(-(time % 0.8) * 4)


WRONG = {
    "silent": lambda x: np.zeros(len(x)),
    "noise alone": lambda x: link.noise(len(x), -30, seed=1),
    "faint noise alone": lambda x: link.noise(len(x), -90, seed=2),
    "music": lambda x: music(len(x)),
    "hum": lambda x: 0.1 * np.sin(2 * np.pi * 50 * np.arange(len(x)) / RATE_HZ),
    "backwards": lambda x: x[::-1].copy(),
    "too short": lambda x: x[: RATE_HZ // 2],
    "one frame": lambda x: x[:1],
    "not a number": lambda x: np.where(np.arange(len(x)) % 9973 == 100, np.nan, x),
    "endless": lambda x: np.where(np.arange(len(x)) % 9973 == 100, np.inf, x),
    "constant": lambda x: np.full(len(x), 0.25),
    "inaudible": lambda x: 1e-7 * x + link.noise(len(x), -60, seed=3),
    "cut off at the start": lambda x: x[int(0.7 * len(x)) :],
    "cut off at the end": lambda x: x[: int(0.4 * len(x))],
}


@pytest.mark.parametrize("kind", WRONG)
@pytest.mark.parametrize("analysis", ANALYSES)
def test_nothing_is_claimed_of_a_wrong_recording(goodwire, recordings, analysis, kind):
    sent, samples = goodwire.stimulus(analysis)
    file = recordings(RATE_HZ, WRONG[kind](samples), name="wrong.wav")
    nothing_was_claimed(goodwire.analyse(analysis, sent, file))


@pytest.mark.parametrize("kind", cases(["silent", "music", "not a number"], "noise alone", "constant"))
@pytest.mark.parametrize("analysis", ANALYSES)
def test_nothing_is_claimed_where_the_link_is_wrong_beside_a_good_cable(goodwire, recordings, analysis, kind):
    sent, samples = goodwire.stimulus(analysis)
    file = recordings(RATE_HZ, WRONG[kind](samples), samples)
    nothing_was_claimed(goodwire.analyse(analysis, sent, f"{file}:1", f"{file}:2"))


@pytest.mark.parametrize("kind", cases(["silent", "music"], "noise alone", "not a number"))
@pytest.mark.parametrize("analysis", ANALYSES)
def test_nothing_is_claimed_where_the_cable_is_wrong(goodwire, recordings, analysis, kind):
    sent, samples = goodwire.stimulus(analysis)
    file = recordings(RATE_HZ, samples, WRONG[kind](samples))
    nothing_was_claimed(goodwire.analyse(analysis, sent, f"{file}:1", f"{file}:2"))


@pytest.mark.parametrize("other", ANALYSES)
@pytest.mark.parametrize("analysis", ANALYSES)
def test_the_recording_of_another_analysis_is_no_recording_of_this_one(goodwire, recordings, analysis, other):
    if analysis == other:
        return
    sent, _ = goodwire.stimulus(analysis)
    _, samples = goodwire.stimulus(other)
    nothing_was_claimed(goodwire.analyse(analysis, sent, recordings(RATE_HZ, samples)))


@pytest.mark.parametrize("analysis", ["response", "latency", "distortion"])
def test_a_recorder_that_clips_is_noticed(goodwire, recordings, analysis):
    """The file's samples stand at full scale for long: figures are absent, or a warning stands by them."""
    sent, samples = goodwire.stimulus(analysis, level_dbfs=-6)
    clipped = np.clip(samples * link.amplitude(16), -1, 1)
    result = goodwire.analyse(analysis, sent, recordings(RATE_HZ, clipped, subtype="PCM_16"))
    warned = any("clip" in note["id"] and note["level"] == "WARNING" for note in result.document.get("notes", []))
    assert warned or "clip" in (result.reason or ""), result


@pytest.mark.parametrize("analysis", ANALYSES)
def test_a_file_that_claims_another_rate_is_noticed(goodwire, recordings, analysis):
    """48 kHz taken down, 44.1 kHz written into the header: everything is too low by 8 %."""
    sent, samples = goodwire.stimulus(analysis)
    nothing_was_claimed(goodwire.analyse(analysis, sent, recordings(44100, samples)))


def refused(result, *words):
    assert result.code == 3 and not result.document, result
    for word in words:
        assert word in result.error, f"{word!r} is not in {result.error!r}"


def test_files_that_are_no_recordings_are_refused_with_their_names(goodwire, recordings, tmp_path):
    sent, samples = goodwire.stimulus("latency")
    good = recordings(RATE_HZ, samples)
    empty = tmp_path / "empty.wav"
    empty.write_bytes(b"")
    text = tmp_path / "letter.wav"
    text.write_text("Dear sound engineer,\n" * 100)
    header_only = tmp_path / "header.wav"
    header_only.write_bytes(good.read_bytes()[:44])
    for wrong in (empty, text, header_only, tmp_path / "missing.wav"):
        refused(goodwire.analyse("latency", sent, wrong), wrong.name)
        refused(goodwire.analyse("latency", wrong, good), wrong.name)


def test_a_file_that_breaks_off_is_told(goodwire, recordings, tmp_path):
    sent, samples = goodwire.stimulus("latency")
    broken = tmp_path / "broken.wav"
    broken.write_bytes(recordings(RATE_HZ, samples).read_bytes()[: 4 * len(samples) // 3])
    result = goodwire.analyse("latency", sent, broken)
    assert result.code == 3 and not result.figures("latency"), result


def test_channels_that_are_not_there_are_refused(goodwire, recordings):
    sent, samples = goodwire.stimulus("level")
    stereo = recordings(RATE_HZ, samples, samples)
    refused(goodwire.analyse("level", sent, f"{stereo}:3"), "3", "2")
    refused(goodwire.analyse("level", sent, f"{stereo}:0"), "0")
    refused(goodwire.analyse("level", sent, stereo), "2 channels")


@pytest.mark.parametrize("rate_hz", [8000, 32000, 384000])
def test_rates_outside_44100_to_192000_are_refused(goodwire, recordings, rate_hz):
    sent, samples = goodwire.stimulus("level")
    refused(goodwire.analyse("level", sent, recordings(rate_hz, samples[: 2 * rate_hz])), str(rate_hz))


def test_wrong_parameters_are_named_all_at_once(goodwire, recordings):
    sent, samples = goodwire.stimulus("response")
    file = recordings(RATE_HZ, samples)
    result = goodwire.analyse("response", sent, file, colour="red", repeats="many", start_hz=-5, smoothing="1/7")
    refused(result, "colour", "repeats", "start_hz", "smoothing")
