"""`dropout` from recordings: gaps put there by NumPy are found in their place, and nothing else is."""

import link
import numpy as np
import pytest
from hard import cases

RATE_HZ = 48000
# Goal: start and length within 1.5 ms.
EDGE_S = 0.0015
# Pilot begins after wake-up (1.5 s), a pause, the opening burst (0.15 s) and another pause.
FIRST_GAP_S = 4.0


def gaps(count, seed):
    """Start and length in seconds of gaps from 2 to 300 ms, at least 0.4 s apart."""
    draw = np.random.default_rng(seed)
    lengths = 0.002 * (300 / 2) ** draw.random(count)
    starts = FIRST_GAP_S + np.cumsum(0.75 + 0.3 * draw.random(count))
    return list(zip(starts, lengths))


def with_gaps(heard, rate_hz, places, kind):
    heard = heard.copy()
    for start, length in places:
        a, b = round(start * rate_hz), round((start + length) * rate_hz)
        before = heard[a - rate_hz // 100 : a].copy()
        heard[a:b] = 0 if kind == "mute" else np.resize(before, b - a)
    return heard


def events(result, *ids):
    return [event for event in result.document["events"] if event["id"] in ids]


@pytest.mark.parametrize("rate_hz", cases([48000], 44100, 96000))
@pytest.mark.parametrize("kind", ["mute", "repeat"])
@pytest.mark.parametrize("has_reference", [True, False])
def test_gaps_are_found_within_1_5_ms(goodwire, recordings, kind, has_reference, rate_hz):
    sent, samples = goodwire.stimulus("dropout", rate_hz, duration_s=25)
    places = gaps(18, seed=3)
    samples = np.concatenate([samples, np.zeros(rate_hz // 2)])
    heard = 0.7 * np.roll(samples, 700)
    heard = with_gaps(heard, rate_hz, places, kind) + link.noise(len(heard), -70, seed=5)
    file = recordings(rate_hz, heard, samples)
    result = goodwire.analyse("dropout", sent, f"{file}:1", *([f"{file}:2"] if has_reference else []))
    found = events(result, "gap", "concealed")
    assert len(found) == len(places), (found, places)
    for event, (start, length) in zip(found, places):
        assert abs(event["startS"] - start) < EDGE_S
        assert abs(event["durationS"] - length) < EDGE_S
    assert result.value("dropouts") == len(places)
    lost_ms = 1000 * sum(length for _, length in places)
    assert result.value("lost_time") == pytest.approx(lost_ms, abs=4 * result.uncertainty("lost_time") + 0.1)


def test_what_the_cable_lacks_too_is_no_dropout(goodwire, recordings):
    sent, samples = goodwire.stimulus("dropout", RATE_HZ, duration_s=10)
    cable = with_gaps(samples, RATE_HZ, [(5.0, 0.05), (7.0, 0.2)], "mute")
    file = recordings(RATE_HZ, 0.5 * cable, cable)
    assert goodwire.analyse("dropout", sent, f"{file}:1", f"{file}:2").value("dropouts") == 0


def test_pieces_closer_than_100_ms_are_one_dropout(goodwire, recordings):
    sent, samples = goodwire.stimulus("dropout", RATE_HZ, duration_s=10)
    places = [(5.0, 0.02), (5.06, 0.02), (7.0, 0.02)]
    file = recordings(RATE_HZ, with_gaps(samples, RATE_HZ, places, "mute"), samples)
    result = goodwire.analyse("dropout", sent, f"{file}:1", f"{file}:2")
    assert result.value("dropouts") == 2
    assert result.value("lost_time") == pytest.approx(60, abs=1.5)
    assert len(events(result, "gap")) == 3


def test_a_silent_link_beside_a_good_cable_is_no_signal(goodwire, recordings):
    sent, samples = goodwire.stimulus("dropout", RATE_HZ, duration_s=10)
    file = recordings(RATE_HZ, link.noise(len(samples), -70, seed=1), samples)
    result = goodwire.analyse("dropout", sent, f"{file}:1", f"{file}:2")
    assert (result.code, result.document["reason"]["id"]) == (3, "no-signal")
