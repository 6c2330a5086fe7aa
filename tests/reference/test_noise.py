"""`noise` against published tables and against SciPy's general functions.

Goals: A within 0.05 dB of the analytic curve of IEC 61672-1 from 20 Hz to 16 kHz, quasi-peak within the
limits of ITU-R BS.468-4, levels within 0.1 dB of what SciPy makes of the same samples.
"""

import closed_forms
import link
import numpy as np
import pytest
from hard import cases
from scipy import signal

RATE_HZ = 48000
# Wake-up, gaps and opening burst before the body; tone and what settles behind it.
BODY_S = 1.5 + 0.05 + 0.15 + 0.15
TONE_S, SETTLES_S, AFTER_S = 3.0, (0.3, 0.5), 0.45


def silence(samples, rate_hz):
    """First and last frame of the silence that is measured."""
    first = int((BODY_S + SETTLES_S[0] + TONE_S + SETTLES_S[1] + 0.02) * rate_hz)
    return first, len(samples) - int(AFTER_S * rate_hz)


def analyse(goodwire, recordings, sound, rate_hz=RATE_HZ, reference_dbfs=-140.0, **parameters):
    """Adds `sound(time from the start of the silence)` to the link's return."""
    sent, samples = goodwire.stimulus("noise", rate_hz, **parameters)
    first, last = silence(samples, rate_hz)
    time = (np.arange(len(samples)) - first) / rate_hz
    heard = samples + sound(time)
    cable = samples + link.noise(len(samples), reference_dbfs, seed=5)
    file = recordings(rate_hz, heard, cable)
    return goodwire.analyse("noise", sent, f"{file}:1", f"{file}:2"), heard[first:last]


def a_weighting(f_hz):
    """The A curve as SciPy evaluates an analogue filter of four zeros at 0 Hz and six poles."""
    p1, p2, p3, p4 = closed_forms.VALUES["weighting"]["poles_hz"]
    _, h = signal.freqs_zpk([0] * 4, [-p1, -p1, -p2, -p3, -p4, -p4], 1.0, np.append(f_hz, 1000.0))
    return np.abs(h[:-1] / h[-1])


def ccir_weighting(f_hz):
    """The curve of BS.468 re 2 kHz: the table of the Recommendation, joined by cubic splines over log f."""
    from scipy import interpolate

    rows = closed_forms.VALUES["bs468"]["rows"]
    spline = interpolate.CubicSpline([np.log(r["f_hz"]) for r in rows], [r["response_db"] for r in rows])
    return link.amplitude(spline(np.log(np.maximum(f_hz, 10.0))) - spline(np.log(2000.0)))


def level_dbfs(samples, rate_hz, weighting=lambda f: np.ones(len(f))):
    """Level from 20 Hz to 20 kHz by Welch's method; a full-scale sine has 0 dBFS."""
    f_hz, density = signal.welch(samples, rate_hz, nperseg=1 << 16, detrend="constant")
    band = (f_hz >= 20) & (f_hz <= 20000)
    return 10 * np.log10(2 * np.sum(density[band] * weighting(f_hz[band]) ** 2) * f_hz[1])


@pytest.mark.parametrize("rate_hz", cases([44100, 48000], 96000, 192000))
def test_levels_are_those_that_scipy_finds_in_the_same_samples(goodwire, recordings, rate_hz):
    def brown_and_hissing(time):
        white = link.noise(len(time), -70, seed=11)
        low = signal.lfilter([0.02], [1, -0.98], link.noise(len(time), -60, seed=12))
        return white + low

    result, heard = analyse(goodwire, recordings, brown_and_hissing, rate_hz)
    for id, weighting in [("noise", lambda f: np.ones(len(f))), ("noise_a", a_weighting), ("noise_ccir_rms", ccir_weighting)]:
        want = level_dbfs(heard, rate_hz, weighting)
        # The table of BS.468 is rounded to 0.1 dB.
        assert result.value(id) == pytest.approx(want, abs=0.1), id
    x, y = result.curve("noise_spectrum")
    f_hz, density = signal.welch(heard, rate_hz, nperseg=1 << 16)
    for middle_hz, got in zip(x, y):
        edges = middle_hz * 10**-0.05, middle_hz * 10**0.05
        band = (f_hz >= edges[0]) & (f_hz < edges[1])
        if band.sum() >= 100:
            want = 10 * np.log10(2 * np.mean(density[band]) * (edges[1] - edges[0]))
            assert got == pytest.approx(want, abs=0.35), middle_hz


@pytest.mark.parametrize("rate_hz", cases([44100, 48000], 96000, 192000))
def test_white_noise_has_the_offsets_of_the_integrals(goodwire, recordings, rate_hz):
    result, _ = analyse(goodwire, recordings, lambda t: link.noise(len(t), -80, seed=3), rate_hz)
    rows = closed_forms.VALUES["noise_weighting_offsets"]["rows"]
    white = {row["weighting"]: row["offset_db"] for row in rows if row["spectrum"] == "white"}
    flat = -80 + 10 * np.log10(19980 / (rate_hz / 2))
    assert result.value("noise") == pytest.approx(flat, abs=0.05)
    assert result.value("noise_a") == pytest.approx(flat + white["A"], abs=0.05)
    assert result.value("noise_ccir_rms") == pytest.approx(flat + white["468 rms (0 dB at 1 kHz)"] - 5.629, abs=0.07)
    assert result.value("dynamic_range_a") == pytest.approx(-flat - white["A"], abs=0.12)


@pytest.mark.parametrize("rate_hz", cases([44100, 192000], 48000, 96000))
def test_tones_under_a_weighting_agree_with_the_table_of_iec_61672_1(goodwire, recordings, rate_hz):
    rows = [row for row in closed_forms.VALUES["weighting"]["rows"] if 19 < row["exact_hz"] < 16000]
    for row in rows[::1] if rate_hz == 48000 else rows[::4]:
        tone = lambda t: 0.01 * np.sin(2 * np.pi * row["exact_hz"] * t)
        result, _ = analyse(goodwire, recordings, tone, rate_hz)
        got_db = result.value("noise_a") + 40
        assert got_db == pytest.approx(row["A_analytic_at_exact"], abs=0.05), row
        assert got_db == pytest.approx(row["A_table"], abs=0.1), row


def reading(goodwire, recordings, sounds):
    """Quasi-peak reading of a tone of 5 kHz that sounds where `sounds(t)`, as a factor."""
    tone = lambda t: 0.01 * np.sin(2 * np.pi * 5000 * t) * sounds(t)
    result, _ = analyse(goodwire, recordings, tone, duration_s=5)
    return link.amplitude(result.value("noise_468"))


def test_bursts_read_within_the_limits_of_itu_r_bs_468_4(goodwire, recordings):
    table = closed_forms.VALUES["bs468"]
    steady = reading(goodwire, recordings, lambda t: t > -0.4)
    # 5 kHz itself: 11.7 dB of the curve on -40 dBFS, and RMS for a steady sine.
    assert link.db(steady) == pytest.approx(-40 + 11.7, abs=0.1)
    for row in table["single_bursts_5_khz"]:
        got = 100 * reading(goodwire, recordings, lambda t: (t > 1) & (t < 1 + row["burst_ms"] / 1000)) / steady
        assert row["lower_pct"] < got < row["upper_pct"], (row, got)
    for row in table["repeated_bursts_5_ms"]:
        got = 100 * reading(goodwire, recordings, lambda t: (t > 0.2) & (t % (1 / row["per_s"]) < 0.005)) / steady
        assert row["lower_pct"] < got < row["upper_pct"], (row, got)


def test_hum_is_found_and_named_and_none_is_made_up(goodwire, recordings):
    lines = {49.99: -85, 149.97: -95, 8012.3: -90}

    def humming(time):
        hum = sum(link.amplitude(dbfs) * np.sin(2 * np.pi * hz * time) for hz, dbfs in lines.items())
        return hum + link.noise(len(time), -80, seed=8)

    result, _ = analyse(goodwire, recordings, humming)
    found = {f["at"]["frequency_hz"]: f for f in result.figures("hum")}
    assert len(found) == len(lines), found
    for (hz, figure), (want_hz, want_dbfs) in zip(sorted(found.items()), lines.items()):
        assert hz == pytest.approx(want_hz, abs=0.02)
        assert abs(figure["value"] - want_dbfs) < 4 * figure["uncertainty"], figure
    assert {"mains-hum", "other-lines"} <= result.notes
    quiet, _ = analyse(goodwire, recordings, lambda t: link.noise(len(t), -80, seed=9))
    assert not quiet.figures("hum") and "no-hum" in quiet.notes


def test_reference_noise_is_subtracted_or_makes_a_bound(goodwire, recordings):
    own, interface = -80, -95

    def both(time):
        return link.noise(len(time), own, seed=21) + link.noise(len(time), interface, seed=22)

    band = 10 * np.log10(19980 / 24000)
    result, _ = analyse(goodwire, recordings, both, reference_dbfs=interface)
    assert result.value("noise") == pytest.approx(own + band, abs=0.05)
    assert result.value("reference_noise") == pytest.approx(interface + band, abs=0.05)
    assert "at-reference-noise" not in result.notes
    result, _ = analyse(goodwire, recordings, both, reference_dbfs=-85)
    assert "at-reference-noise" in result.notes
