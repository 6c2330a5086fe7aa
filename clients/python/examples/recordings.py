"""Own recordings, made anywhere: writes the sound to play, and analyses what was recorded, as NumPy arrays.

    recordings.py write sweep.wav
    recordings.py analyse sweep.wav recorded.wav     channel 1: the link, channel 2: the cable

16 bit; `venue.analyse` also takes the paths of WAV and FLAC files of any other kind.
Mute the loudspeakers before you play the sound, and begin softly.
"""

import sys
import wave

import numpy as np

import goodwire

RATE_HZ = 48000
#: The analysis has to know what was played.
SWEEP = {"duration_s": 3.0, "level_dbfs": -20.0}


def read(path):
    """A 16-bit WAV as an array of frames and channels, full scale = 1, with its rate in Hz."""
    with wave.open(path, "rb") as file:
        if file.getsampwidth() != 2:
            sys.exit(f"{path} has {8 * file.getsampwidth()} bits; this script reads 16")
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
        return samples.reshape(-1, file.getnchannels()) / 32768.0, file.getframerate()


def write(path, sound):
    """A mono WAV of 16 bit, with triangular dither of one step each way, so that rounding is but noise."""
    random = np.random.default_rng()
    dither = random.random(sound.size) - random.random(sound.size)
    with wave.open(path, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(np.clip(np.round(sound * 32768.0 + dither), -32768, 32767).astype("<i2").tobytes())


def analyse(venue, sent_path, returned_path):
    """Compares the two channels of the recording."""
    sent, _ = read(sent_path)
    recorded, rate_hz = read(returned_path)
    if recorded.shape[1] != 2:
        sys.exit(f"{returned_path} has {recorded.shape[1]} channels; two are needed: link and cable")
    return venue.analyse(
        "response", sent=sent[:, 0], returned=recorded[:, 0], reference=recorded[:, 1], rate_hz=rate_hz, **SWEEP
    ).require()


if __name__ == "__main__":
    with goodwire.connect() as venue:
        match sys.argv[1:]:
            case ["write", path]:
                write(path, venue.stimulus("response", rate_hz=RATE_HZ, **SWEEP))
            case ["analyse", sent_path, returned_path]:
                for figure in analyse(venue, sent_path, returned_path).figures:
                    band = "{from_hz:g} to {to_hz:g} Hz".format(**figure.at) if "from_hz" in figure.at else ""
                    value = f"{figure.value:9.3f} ± {figure.uncertainty:.3f} {figure.unit:3}"
                    print(f"{figure.id:12} {value} {band}".rstrip())
            case _:
                sys.exit(__doc__)
