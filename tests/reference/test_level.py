"""`level` against gains, clips and curves in closed form.

Goals: gain within 0.01 dB, clip point and compression point within 0.05 dB.
"""

import closed_forms
import link
import numpy as np
import pytest
from hard import cases

RATE_HZ = 48000


def analyse(goodwire, recordings, model, rate_hz=RATE_HZ, with_reference=True, noise_dbfs=None, **parameters):
    sent, samples = goodwire.stimulus("level", rate_hz, **parameters)
    heard = model(samples)
    if noise_dbfs is not None:
        heard = heard + link.noise(len(heard), noise_dbfs, seed=7)
    file = recordings(rate_hz, heard, samples)
    return goodwire.analyse("level", sent, f"{file}:1", f"{file}:2" if with_reference else None)


@pytest.mark.parametrize("gain_db", cases([-12.345, 7.5], 0.0, -30.0))
@pytest.mark.parametrize("inverted", [False, True])
def test_gain_and_polarity_of_a_clean_link(goodwire, recordings, gain_db, inverted):
    path = link.Path(RATE_HZ, None, gain_db, 300.25, inverted)
    result = analyse(goodwire, recordings, path)
    assert result.value("gain") == pytest.approx(gain_db, abs=0.01)
    assert result.value("polarity") == (-1 if inverted else 1)
    assert not result.figures("clip_point") and "no-clip-point" in result.notes
    assert not result.figures("compression_point")
    assert abs(result.value("linearity")) < 0.01
    x, y = result.curve("input_output")
    assert np.max(np.abs(y - x - gain_db)) < 0.01


@pytest.mark.parametrize("clip_dbfs", cases([-12.3, -20.0], -6.05, -30.7))
@pytest.mark.parametrize("gain_db", [0.0, -9.0])
def test_hard_clip_is_found_where_the_closed_form_says(goodwire, recordings, clip_dbfs, gain_db):
    def model(samples):
        return link.amplitude(gain_db) * link.hard_clipped(link.delayed(samples, 150), link.amplitude(clip_dbfs))

    result = analyse(goodwire, recordings, model)
    clip_point = clip_dbfs + closed_forms.clip_overdrive_db(0.03)
    compression_point = clip_dbfs + closed_forms.compression_overdrive_db(1.0)
    assert result.value("gain") == pytest.approx(gain_db, abs=0.01)
    assert result.value("clip_point") == pytest.approx(clip_point, abs=0.05)
    assert result.value("compression_point") == pytest.approx(compression_point, abs=0.05)
    assert abs(result.value("linearity")) < 0.02


def test_cubic_compression_is_found_where_the_closed_form_says(goodwire, recordings):
    """Fundamental of x + a3 x³ at peak A: A (1 + ¾ a3 A²), so that 1 dB is lost where ¾ a3 A² = -0.1087."""
    a3 = -0.4
    result = analyse(goodwire, recordings, lambda x: link.polynomial(link.delayed(x, 64), 0, a3), max_dbfs=0)
    peak = np.sqrt((1 - link.amplitude(-1)) / 0.75 / -a3)
    assert result.value("compression_point") == pytest.approx(link.db(peak), abs=0.05)
    # THD is its third harmonic alone: ¼|a3|A² / (1 + ¾ a3 A²) = 3 %.
    clip_peak = np.sqrt(0.03 / (0.25 * -a3 - 0.03 * 0.75 * a3))
    clip_dbfs = link.db(clip_peak)
    assert result.value("clip_point") == pytest.approx(clip_dbfs, abs=0.05)
    # Largest change between 60 and 6 dB below the clip point: at its upper end, re the gain's own.
    def gain(level_dbfs):
        return link.db(1 + 0.75 * a3 * link.amplitude(level_dbfs) ** 2)

    assert result.value("linearity") == pytest.approx(gain(clip_dbfs - 6), abs=0.06)


@pytest.mark.parametrize("noise_dbfs", cases([-70], -80, -60))
def test_noise_leaves_gain_and_clip_point_within_their_uncertainties(goodwire, recordings, noise_dbfs):
    def model(samples):
        return link.hard_clipped(link.delayed(samples, 150), link.amplitude(-12))

    result = analyse(goodwire, recordings, model, noise_dbfs=noise_dbfs)
    for id, want, most in (("gain", 0.0, 0.1), ("clip_point", -12 + closed_forms.clip_overdrive_db(0.03), 0.3)):
        figure = result.figure(id)
        assert figure["uncertainty"] < most
        assert abs(figure["value"] - want) < 4 * figure["uncertainty"] + 0.01, (id, figure, want)


@pytest.mark.parametrize("freq_hz", cases([997], 100, 5000))
def test_other_frequencies_give_the_same_clip(goodwire, recordings, freq_hz):
    result = analyse(goodwire, recordings, lambda x: link.hard_clipped(x, link.amplitude(-15)), freq_hz=freq_hz)
    # Harmonics 2 to 10, as far as they lie below 20 kHz.
    highest = min(10, int(20000 // freq_hz))
    from scipy import optimize

    r = optimize.brentq(lambda r: closed_forms.clipped_thd(r, highest) - 0.03, 0.8, 0.9999)
    assert result.value("clip_point") == pytest.approx(-15 - link.db(r), abs=0.05)


def test_without_reference_the_gain_is_against_what_was_sent(goodwire, recordings):
    result = analyse(goodwire, recordings, link.Path(RATE_HZ, None, -3.5, 99.9), with_reference=False)
    assert result.value("gain") == pytest.approx(-3.5, abs=0.01)
    assert result.value("polarity") == 1


@pytest.mark.parametrize("ppm", [100, -100])
def test_another_clock_leaves_the_gain(goodwire, recordings, ppm):
    sent, samples = goodwire.stimulus("level")
    heard = link.on_another_clock(link.hard_clipped(link.delayed(samples, 10.5), link.amplitude(-12)), ppm)
    result = goodwire.analyse("level", sent, recordings(RATE_HZ, heard))
    assert result.value("gain") == pytest.approx(0, abs=0.01)
    assert result.value("clip_point") == pytest.approx(-12 + closed_forms.clip_overdrive_db(0.03), abs=0.05)
