"""`dropout` with `pilot=none` from recordings of programme that NumPy and SciPy made; nothing was sent."""

import link
import numpy as np
import pytest
from scipy import signal

RATE_HZ = 48000
# Goal of the mutes: start and length within 1.5 ms.
EDGE_S = 0.0015
SECONDS = 40


def programme(seed):
    """Notes of 0.3 to 0.7 s with ten harmonics that decay, pauses between some, over a quiet room."""
    draw = np.random.default_rng(seed)
    samples = np.zeros(SECONDS * RATE_HZ)
    at = RATE_HZ // 2
    while at < len(samples) - 2 * RATE_HZ:
        length = draw.uniform(0.3, 0.7)
        t = np.arange(int(RATE_HZ * (length + 0.4))) / RATE_HZ
        pitch = draw.uniform(110, 440)
        note = sum(np.sin(2 * np.pi * k * pitch * t + draw.uniform(0, 6)) / k for k in range(1, 11))
        envelope = np.minimum(t / 0.01, 1) * np.exp(-t / 0.8 - np.maximum(t - length, 0) / 0.04)
        samples[at : at + len(t)] += 0.05 * note * envelope
        at += int(RATE_HZ * (length + draw.choice([0.0, 0.0, 0.8])))
    return samples + link.noise(len(samples), -75, seed=seed)


def loud(samples, count, seed):
    """Places at which the programme stands for 60 ms, at least 1 s apart, after the first 6 s."""
    power = signal.fftconvolve(samples**2, np.ones(2880) / 2880, "same")
    draw = np.random.default_rng(seed)
    places = []
    for at in draw.permutation(np.arange(6 * RATE_HZ, (SECONDS - 4) * RATE_HZ, 480)):
        steady = power[at - 2880 : at + 2880].min() > 2e-4
        if steady and all(abs(at - other) > RATE_HZ for other in places):
            places.append(int(at))
    assert len(places) >= count
    return sorted(places[:count])


def muted(heard, places, seed):
    heard, lengths = heard.copy(), 0.002 * 100 ** np.random.default_rng(seed).random(len(places))
    for at, length in zip(places, lengths):
        heard[at : at + round(length * RATE_HZ)] = 0
    return heard, lengths


def events(result, event_id):
    return [event for event in result.document.get("events", []) if event["id"] == event_id]


@pytest.mark.parametrize("has_reference", [True, False])
def test_mutes_of_2_to_200_ms_are_found_within_1_5_ms(goodwire, recordings, has_reference):
    cable = programme(seed=1)
    healthy = 0.6 * np.roll(cable, 1111)
    places = loud(healthy, 12, seed=2)
    heard, lengths = muted(healthy, places, seed=3)
    file = recordings(RATE_HZ, heard, cable)
    result = goodwire.analyse(
        "dropout", None, f"{file}:1", *([f"{file}:2"] if has_reference else []), pilot="none"
    )
    assert result.code == 0, result.error
    found = events(result, "gap")
    assert len(found) == len(places), (found, places)
    for event, at, length in zip(found, places, lengths):
        assert abs(event["startS"] - at / RATE_HZ) < EDGE_S
        assert abs(event["durationS"] - length) < 2 * EDGE_S
    assert result.value("dropouts") == len(places)
    notes = {note["id"]: note["level"] for note in result.document["notes"]}
    assert notes["passive"] == ("INFO" if has_reference else "WARNING")


def test_healthy_programme_has_no_dropout_and_what_the_cable_lacks_too_is_none(goodwire, recordings):
    cable = programme(seed=4)
    places = loud(cable, 8, seed=5)
    lacking, _ = muted(cable, places, seed=6)
    file = recordings(RATE_HZ, 0.5 * np.roll(cable, 700), cable, 0.5 * np.roll(lacking, 700), lacking)
    assert goodwire.analyse("dropout", None, f"{file}:1", pilot="none").value("dropouts") == 0
    assert goodwire.analyse("dropout", None, f"{file}:1", f"{file}:2", pilot="none").value("dropouts") == 0
    assert goodwire.analyse("dropout", None, f"{file}:3", f"{file}:4", pilot="none").value("dropouts") == 0
    assert goodwire.analyse("dropout", None, f"{file}:3", pilot="none").value("dropouts") == len(places)


def test_clipping_is_told_where_the_cable_is_not_clipped(goodwire, recordings):
    cable = programme(seed=7)
    heard = np.clip(0.5 * cable, -0.02, 0.02)
    file = recordings(RATE_HZ, heard, cable, subtype="PCM_16")
    assert events(goodwire.analyse("dropout", None, f"{file}:1", f"{file}:2", pilot="none"), "clipped")
    assert not events(goodwire.analyse("dropout", None, f"{file}:2", pilot="none"), "clipped")


def test_a_programme_that_stops_for_good_is_no_dropout_and_a_note_says_so(goodwire, recordings):
    heard = programme(seed=8)
    at = loud(heard, 5, seed=9)[-1]
    heard[at:] = 0
    result = goodwire.analyse("dropout", None, recordings(RATE_HZ, heard), pilot="none")
    assert result.value("dropouts") == 0
    assert "stopped" in [note["id"] for note in result.document["notes"]]


def test_hiss_alone_is_no_signal_and_without_pilot_none_something_has_to_be_sent(goodwire, recordings):
    file = recordings(RATE_HZ, link.noise(10 * RATE_HZ, -60, seed=1))
    result = goodwire.analyse("dropout", None, file, pilot="none")
    assert (result.code, result.document["reason"]["id"]) == (3, "no-signal")
    result = goodwire.analyse("dropout", None, file)
    assert result.code == 3 and "sent" in result.error
