"""`response` against the filters that made the recordings.

Goals: within 0.01 dB of the truth where nothing else is wrong, within 0.05 dB where the recorder's
clock is off by up to 100 ppm. The truth is SciPy's own frequency response of the same sections.
"""

import closed_forms
import link
import numpy as np
import pytest
from hard import HARD, cases
from scipy import signal

RATE_HZ = 48000
CLEAN_DB = 0.01
SKEWED_DB = 0.05
BANDS_HZ = [20, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 20000]


def shelf(rate_hz):
    """A bell of +6 dB at 2.5 kHz: R. Bristow-Johnson's cookbook formulae (from memory)."""
    w, a, q = 2 * np.pi * 2500 / rate_hz, 10 ** (6 / 40), 1.4
    alpha = np.sin(w) / (2 * q)
    b = [1 + alpha * a, -2 * np.cos(w), 1 - alpha * a]
    c = [1 + alpha / a, -2 * np.cos(w), 1 - alpha / a]
    return np.array([[*(np.array(b) / c[0]), *(np.array(c) / c[0])]])


PATHS = {
    "flat": lambda rate: link.Path(rate, gain_db=-3.21, delay_frames=192.37),
    "band-limited": lambda rate: link.Path(rate, link.band_limited(60, 15000, rate), delay_frames=211.5),
    "steep": lambda rate: link.Path(rate, link.band_limited(80, 12000, rate, 4), 4.5, 35.25),
    "bell": lambda rate: link.Path(rate, shelf(rate), -1.0, 500.125, inverted=True),
    "echo": lambda rate: link.Path(rate, None, 0.0, 100.0, echo=(0.3, rate * 0.0031)),
}


def check_magnitude(result, path, low_hz, high_hz, tolerance_db):
    assert result.succeeded, result
    f_hz, got_db = result.curve("magnitude")
    want_db = link.db(path.response(f_hz))
    inside = (f_hz >= low_hz) & (f_hz <= high_hz)
    wrong = np.abs(got_db - want_db)[inside]
    worst = np.argmax(wrong)
    assert wrong[worst] <= tolerance_db, f"{wrong[worst]:.4f} dB at {f_hz[inside][worst]:.1f} Hz"
    octaves = np.log2(f_hz[-1] / f_hz[0])
    assert len(f_hz) >= 24 * octaves
    assert f_hz[0] <= low_hz * 1.03 and f_hz[-1] >= high_hz / 1.03


@pytest.mark.parametrize("rate_hz", cases([48000, 44100], 96000, 192000))
@pytest.mark.parametrize("kind", PATHS)
def test_magnitude_against_the_cable_is_within_a_hundredth_of_a_db(goodwire, recordings, kind, rate_hz):
    sent, samples = goodwire.stimulus("response", rate_hz, smoothing="none")
    path = PATHS[kind](rate_hz)
    file = recordings(rate_hz, path(samples), link.Path(rate_hz, gain_db=-1.5)(samples))
    result = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2")
    path.factor /= link.amplitude(-1.5)
    check_magnitude(result, path, 20, 20000, CLEAN_DB)


@pytest.mark.parametrize("kind", cases(["band-limited"], "flat", "bell", "steep"))
def test_magnitude_against_what_was_sent_is_within_a_hundredth_of_a_db(goodwire, recordings, kind):
    sent, samples = goodwire.stimulus("response", smoothing="none")
    path = PATHS[kind](RATE_HZ)
    result = goodwire.analyse("response", sent, recordings(RATE_HZ, path(samples)))
    check_magnitude(result, path, 20, 20000, CLEAN_DB)


@pytest.mark.parametrize("ppm", cases([100, -100], 37, -3, 250))
@pytest.mark.parametrize("with_reference", [True, False])
def test_a_recorder_on_another_clock_costs_at_most_a_twentieth_of_a_db(goodwire, recordings, ppm, with_reference):
    sent, samples = goodwire.stimulus("response", smoothing="none")
    path = PATHS["band-limited"](RATE_HZ)
    heard = [link.on_another_clock(x, ppm) for x in (path(samples), np.pad(samples, (0, 4500)))]
    file = recordings(RATE_HZ, *heard)
    result = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2" if with_reference else None)
    check_magnitude(result, path, 25, 20000, SKEWED_DB)


def test_gain_deviations_and_corners_are_those_of_the_filter(goodwire, recordings):
    sent, samples = goodwire.stimulus("response", smoothing="none")
    path = link.Path(RATE_HZ, link.band_limited(60, 15000, RATE_HZ), -2.0, 96.6)
    file = recordings(RATE_HZ, path(samples), samples)
    result = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2")
    f_hz = np.geomspace(18, 21000, 40001)
    truth_db = link.db(path.response(f_hz))
    third = 10 ** 0.05
    gain_db = closed_forms.power_mean_db(truth_db, f_hz, 1000 / third, 1000 * third)
    assert result.value("gain") == pytest.approx(gain_db, abs=0.01)
    for low_hz, high_hz in zip(BANDS_HZ, BANDS_HZ[1:]):
        inside = (f_hz >= low_hz) & (f_hz <= high_hz)
        away_db = (truth_db - gain_db)[inside]
        figure = result.figure("deviation", from_hz=low_hz, to_hz=high_hz)
        assert figure["value"] == pytest.approx(away_db[np.argmax(np.abs(away_db))], abs=0.02)
        assert low_hz * 0.999 <= figure["at"]["frequency_hz"] <= high_hz * 1.001
    below = truth_db - gain_db + 3 > 0
    corners_hz = f_hz[np.flatnonzero(below)[[0, -1]]]
    assert result.value("corner_low") == pytest.approx(corners_hz[0], rel=0.005)
    assert result.value("corner_high") == pytest.approx(corners_hz[1], rel=0.005)


@pytest.mark.parametrize("inverted", [False, True])
def test_phase_and_group_delay_are_those_of_the_filter_without_its_latency(goodwire, recordings, inverted):
    sent, samples = goodwire.stimulus("response", smoothing="none")
    path = link.Path(RATE_HZ, link.band_limited(60, 15000, RATE_HZ), 0.0, 311.7, inverted)
    file = recordings(RATE_HZ, path(samples), samples)
    result = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2")
    own_frames = closed_forms.latency_frames(path.response, RATE_HZ)
    f_hz, got = result.curve("phase")
    want = path.response(f_hz) * np.exp(2j * np.pi * f_hz * own_frames / RATE_HZ)
    inside = (f_hz >= 40) & (f_hz <= 18000)
    wrong = np.degrees(np.angle(np.exp(1j * np.radians(got)) / want * np.abs(want)))[inside]
    assert np.max(np.abs(wrong)) < 0.3, f"{np.max(np.abs(wrong)):.3f} degrees"
    f_hz, got_ms = result.curve("group_delay")
    step = 1.0005
    turned = np.angle(path.response(f_hz * step) / path.response(f_hz / step))
    want_ms = -1000 * turned / (2 * np.pi * f_hz * (step - 1 / step)) - 1000 * own_frames / RATE_HZ
    inside = (f_hz >= 200) & (f_hz <= 15000)
    assert np.max(np.abs(got_ms - want_ms)[inside]) < 0.02


@pytest.mark.parametrize("seed", cases([1, 2], *range(3, 12)))
def test_uncertainties_in_noise_cover_the_errors(goodwire, recordings, seed):
    """One standard deviation as told is no smaller than the errors' own, over a curve and its seeds."""
    sent, samples = goodwire.stimulus("response", smoothing="none", level_dbfs=-20)
    path = PATHS["flat"](RATE_HZ)
    heard = path(samples)
    heard += link.noise(len(heard), -70, seed)
    file = recordings(RATE_HZ, heard, samples)
    result = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2")
    f_hz, got_db = result.curve("magnitude")
    _, told_db = result.curve("magnitude", "yUncertainty")
    inside = (f_hz > 100) & (f_hz < 18000)
    ratio = ((got_db - link.db(path.response(f_hz))) / told_db)[inside]
    assert 0.5 < np.sqrt(np.mean(ratio**2)) < 1.3


@pytest.mark.parametrize("snr_db", cases([40], 60))
def test_errors_in_noise_stay_near_the_bound(goodwire, recordings, snr_db):
    """Of a sweep of 5 s in noise, read with 0.1 s of its response: the table of `sweep_error`."""
    sent, samples = goodwire.stimulus("response", smoothing="none", level_dbfs=-20, duration_s=5)
    path = PATHS["flat"](RATE_HZ)
    heard = path(samples)
    reference = np.pad(samples, (0, len(heard) - len(samples)))
    seeds = range(30 if HARD else 10)
    errors = []
    for seed in seeds:
        # The table's ratio is that of the sine to all noise below half the rate.
        noisy = heard + link.noise(len(heard), -20 - 3.21 - snr_db, seed)
        file = recordings(RATE_HZ, noisy, reference)
        f_hz, got_db = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2").curve("magnitude")
        errors.append(got_db - link.db(path.response(f_hz)))
    rows = [r for r in closed_forms.VALUES["sweep_error"]["rows"] if (r["T"], r["snr_db"], r["gate_s"]) == (5, snr_db, 0.1)]
    assert len(rows) == 3
    for row in rows:
        near = np.abs(np.log2(f_hz / row["f"])) < 1 / 6
        rms_db = np.sqrt(np.mean(np.square(np.array(errors)[:, near])))
        # Points 10 Hz apart are independent: of so many, two standard deviations are allowed.
        independent = len(seeds) * max(1, row["f"] * 0.23 / 10)
        room = 1 + 2 / np.sqrt(2 * independent)
        assert rms_db <= 1.25 * row["sigma_db"] * room, f"{rms_db:.5f} dB at {row['f']} Hz, bound {row['sigma_db']:.5f}"


def test_level_dependence_is_the_largest_change_between_levels(goodwire, recordings):
    """A cubic link turns 0.4 dB lower at the higher level, alike at all frequencies that it passes.

    Closed form: gain of x + a3 x³ at peak A is 1 + ¾ a3 A²; the sweep is a sine at every instant.
    """
    sent, samples = goodwire.stimulus("response", smoothing="1/12", levels_dbfs="-40,-10")
    a3 = (link.amplitude(-0.4) - 1) * 4 / 3 / link.amplitude(-20)
    file = recordings(RATE_HZ, link.polynomial(samples, 0, a3), samples)
    result = goodwire.analyse("response", sent, f"{file}:1", f"{file}:2")
    low = 20 * np.log10(1 + 0.75 * a3 * link.amplitude(-40) ** 2)
    assert abs(result.value("level_dependence")) == pytest.approx(0.4 + low, abs=0.03)


def test_power_in_noise_gives_the_signal_to_noise_ratio(goodwire, recordings):
    """White noise at a known level; the stimulus' power as SciPy measures it in its body."""
    sent, samples = goodwire.stimulus("response", smoothing="none", level_dbfs=-20)
    heard = np.pad(samples, (0, 48000)) + link.noise(len(samples) + 48000, -60, seed=3)
    result = goodwire.analyse("response", sent, recordings(RATE_HZ, heard))
    # A sweep has the power of a sine of its level; of the noise, 20 Hz to 20 kHz counts.
    in_band_dbfs = -60 + 10 * np.log10(19980 / 24000)
    assert result.value("snr") == pytest.approx(-20 - in_band_dbfs, abs=0.5)


def test_filtering_is_that_of_scipy():
    """The model itself: sosfilt and the spectrum's way agree."""
    rng = np.random.default_rng(1)
    samples = rng.normal(0, 0.1, 30000)
    sections = link.band_limited(60, 15000, RATE_HZ)
    path = link.Path(RATE_HZ, sections)
    assert np.max(np.abs(path(samples)[:30000] - signal.sosfilt(sections, samples))) < 1e-9
