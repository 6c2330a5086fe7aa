"""`dropout` with a tone, and with a carried player of which a recording holds a part."""

import link
import numpy as np
import pytest
from test_dropout import EDGE_S, events, gaps, with_gaps

RATE_HZ = 48000


@pytest.mark.parametrize("has_reference", [True, False])
def test_mutes_in_a_tone_are_found_within_1_5_ms(goodwire, recordings, has_reference):
    sent, samples = goodwire.stimulus("dropout", RATE_HZ, duration_s=25, pilot="tone")
    places = gaps(18, seed=11)
    samples = np.concatenate([samples, np.zeros(RATE_HZ // 2)])
    heard = 0.7 * np.roll(samples, 700)
    heard = with_gaps(heard, RATE_HZ, places, "mute") + link.noise(len(heard), -70, seed=5)
    file = recordings(RATE_HZ, heard, samples)
    result = goodwire.analyse("dropout", sent, f"{file}:1", *([f"{file}:2"] if has_reference else []))
    found = events(result, "gap")
    assert len(found) == len(places), (found, places)
    for event, (start, length) in zip(found, places):
        assert abs(event["startS"] - start) < EDGE_S
        assert abs(event["durationS"] - length) < 2 * EDGE_S
    assert result.value("dropouts") == len(places)
    assert "tone-pilot" in [note["id"] for note in result.document["notes"]]


@pytest.mark.parametrize("ppm", [-300, 0, 300])
def test_a_player_that_started_20_s_before_the_recording_is_found_in_it(goodwire, recordings, ppm):
    sent, samples = goodwire.stimulus("dropout", RATE_HZ, duration_s=60, source="external")
    clock = np.arange(30 * RATE_HZ) * (1 + ppm * 1e-6) + 20 * RATE_HZ
    # Linear interpolation loses 3 dB at 12 kHz, far above the pilot.
    heard = 0.5 * np.interp(clock, np.arange(len(samples)), samples)
    places = [(6.0, 0.003), (9.0, 0.05), (15.0, 0.3), (22.0, 0.02)]
    heard = with_gaps(heard, RATE_HZ, places, "mute") + link.noise(len(heard), -70, seed=5)
    result = goodwire.analyse("dropout", sent, recordings(RATE_HZ, heard))
    found = events(result, "gap")
    assert len(found) == len(places), (found, places)
    for event, (start, length) in zip(found, places):
        assert abs(event["startS"] - start) < EDGE_S
        assert abs(event["durationS"] - length) < 2 * EDGE_S
    assert "player-or-link" in [note["id"] for note in result.document["notes"]]
