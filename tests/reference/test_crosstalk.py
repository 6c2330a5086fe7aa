"""`crosstalk` in recordings: what another link's return heard, against the cable recorded beside."""

import link
import numpy as np
import pytest

RATE_HZ = 48000


@pytest.mark.parametrize("noise_dbfs", [-140, -80])
def test_what_a_neighbour_hears_through_a_high_pass_is_told(goodwire, recordings, noise_dbfs):
    sent, samples = goodwire.stimulus("crosstalk", RATE_HZ)
    path = link.Path(RATE_HZ, link.band_limited(1000, None, RATE_HZ, order=1), -50, 2000.4)
    heard = path(samples)
    heard = heard + link.noise(len(heard), noise_dbfs, seed=3)
    file = recordings(RATE_HZ, heard, samples)
    result = goodwire.analyse("crosstalk", sent, f"{file}:1", f"{file}:2")
    x, y = result.curve("crosstalk")
    _, told = result.curve("crosstalk", "yUncertainty")
    want = link.db(path.response(x))
    clear = told < 1
    assert clear.sum() > 100
    assert np.all(np.abs(y - want)[clear] < 0.02 + 5 * told[clear])
    mean = 10 * np.log10(np.mean(10 ** (want / 10)))
    assert abs(result.value("crosstalk") - mean) < 0.02 + 4 * result.uncertainty("crosstalk")


def test_nothing_heard_is_a_bound_below_the_noise(goodwire, recordings):
    sent, samples = goodwire.stimulus("crosstalk", RATE_HZ)
    deaf = link.noise(len(samples), -80, seed=6)
    file = recordings(RATE_HZ, deaf, samples)
    result = goodwire.analyse("crosstalk", sent, f"{file}:1", f"{file}:2")
    assert "below-noise" in result.notes and result.value("crosstalk") < -60
    assert goodwire.analyse("crosstalk", sent, f"{file}:1").reason == "no-reference"
