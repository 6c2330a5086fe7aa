"""Recordings of every kind: files, arrays, other rates; and all that is refused before a byte is sent."""

import subprocess
import sys
import textwrap

import numpy as np
import pytest

import goodwire
from daemon import goodwire as command_line
from goodwire import Mark, Recording
from goodwire._arrays import ArrayFile
from wire import pretending


@pytest.fixture(scope="module")
def sent(server):
    with goodwire.connect(server) as venue:
        return venue.stimulus("latency", rate_hz=48000)


@pytest.mark.parametrize(
    ("recording", "words"),
    [
        (np.array([0.0, 0.1, np.nan, 0.2]), "sample 2 is nan"),
        (np.array([0.0, np.inf]), "sample 1 is inf"),
        (np.array([0.0, 1e300]), "sample 1 is 1e\\+300"),
        (np.zeros(100, dtype=np.int16), "int16, for 16 bit divide by 32768"),
        (np.zeros(100, dtype=np.complex128), "complex128"),
        (np.zeros((2, 100)), "one channel"),
        (np.zeros(0), "one channel"),
        ([[0.0], [0.0, 1.0]], "one array"),
        ("lectern.wav", "no file lectern.wav"),
        (object(), "floating-point"),
        (Recording(np.zeros(100), 44100.5), "whole number of Hz; it is 44100.5"),
        (Recording(np.zeros(100), float("nan")), "whole number of Hz; it is nan"),
    ],
)
def test_what_is_no_recording_is_refused_by_the_name_of_its_part(venue, sent, recording, words):
    with pytest.raises(goodwire.Refused, match=f"returned: .*{words}"):
        venue.analyse("latency", sent=sent, returned=recording, rate_hz=48000)


def test_an_array_without_a_rate_is_refused(venue, sent):
    with pytest.raises(goodwire.Refused, match="sent: give rate_hz"):
        venue.analyse("latency", sent=sent, returned=sent)


def test_a_rate_that_the_daemon_does_not_take_is_refused_by_it(venue, sent):
    with pytest.raises(goodwire.Refused) as refused:
        venue.analyse("latency", sent=sent, returned=Recording(sent, 8000), rate_hz=48000)
    assert refused.value.violations


@pytest.mark.parametrize("kind", [np.float16, np.float32, np.float64, np.longdouble, ">f8"])
def test_floating_point_arrays_of_every_width_are_taken(venue, sent, kind):
    delayed = np.concatenate([np.zeros(48), sent]).astype(kind)
    reference = np.concatenate([sent, np.zeros(48)])
    measurement = venue.analyse("latency", sent=sent, returned=delayed, reference=reference, rate_hz=48000)
    assert measurement.figure("latency").value == pytest.approx(1.0, abs=0.005)


def test_returned_at_44100_hz_is_compared_with_sent_at_48000_hz(venue, sent):
    # The spectrum without what lies above 22.05 kHz is the band-limited interpolation: closed form.
    frame_count = 160 * (sent.size // 160 + 10)

    def at_44100_hz(delay_frames):
        delayed = np.zeros(frame_count)
        delayed[delay_frames : delay_frames + sent.size] = sent
        resampled_count = frame_count * 147 // 160
        return np.fft.irfft(np.fft.rfft(delayed)[: resampled_count // 2 + 1], resampled_count) * 147 / 160

    measurement = venue.analyse(
        "latency",
        sent=Recording(sent, 48000),
        returned=Recording(at_44100_hz(480), 44100),
        reference=Recording(at_44100_hz(0), 44100),
    )
    assert measurement.figure("latency").value == pytest.approx(10.0, abs=0.005)


def test_files_and_their_channels_are_analysed_like_arrays(venue, server, tmp_path, monkeypatch):
    done = command_line(server, "stimulus", "latency", "--rate", "48000", "--out", tmp_path / "sent.wav")
    assert done.returncode == 0, done.stderr
    monkeypatch.chdir(tmp_path)
    measurement = venue.analyse("latency", sent="sent.wav", returned=tmp_path / "sent.wav", reference="sent.wav:1")
    assert measurement.figure("latency").value == pytest.approx(0.0, abs=0.001)
    with pytest.raises(goodwire.Refused):
        venue.analyse("latency", sent="sent.wav", returned="sent.wav:7")


def test_marks_come_in_order_or_are_refused_by_the_daemon(venue, sent):
    with pytest.raises(goodwire.Refused, match="marks"):
        venue.analyse(
            "latency", sent=sent, returned=sent, rate_hz=48000, marks=[Mark(2.0, 10), Mark(1.0, 5, "the door")]
        )


def test_a_match_that_was_exported_is_divided_out(venue, server, sent, tmp_path):
    match = venue.match("lectern")
    done = command_line(server, "export", match.name, "--format", "json", "--out", tmp_path / "match.json")
    assert done.returncode == 0, done.stderr
    sweep = venue.stimulus("response", rate_hz=48000)
    recordings = {"sent": sweep, "returned": sweep, "reference": sweep, "rate_hz": 48000}
    for given in (match, match.name, f"{tmp_path}/match.json"):
        assert venue.analyse("response", match=given, **recordings).require().match
    with pytest.raises(goodwire.Refused, match="match: there is no file"):
        venue.analyse("response", match=f"{tmp_path}/gone.json", **recordings)


def test_an_array_of_4_gib_that_no_wav_file_holds_is_refused_at_once(venue, sent, tmp_path):
    # A sparse file: nothing is written.
    huge = np.memmap(tmp_path / "huge.f32", dtype=np.float32, mode="w+", shape=(1 << 30,))
    with pytest.raises(goodwire.Refused, match="1073741824 samples are more than a WAV file holds"):
        venue.analyse("latency", sent=sent, returned=huge, rate_hz=48000)


def test_a_memory_mapped_array_of_4_gib_is_streamed_in_less_than_64_mib(tmp_path):
    # The server throws away what it is sent: 2 GiB of 32-bit floats, of 4 GiB of 64-bit ones in a sparse file.
    received = [0]

    def swallow(requests, context):
        from goodwire.v1 import measurement_pb2

        received[0] += sum(map(len, requests))
        return measurement_pb2.AnalyseRecordingsResponse(measurement={"name": "measurements/1"})

    def tell(request, context):
        from goodwire.v1 import measurement_pb2

        yield measurement_pb2.WatchMeasurementResponse(measurement={"name": "measurements/1", "state": "SUCCEEDED"})

    script = textwrap.dedent(
        """
        import pathlib, sys, threading, time
        import numpy as np
        import goodwire

        def private_kib():
            lines = pathlib.Path("/proc/self/status").read_text().splitlines()
            return next(int(line.split()[1]) for line in lines if line.startswith("RssAnon"))

        huge = np.memmap(sys.argv[2], dtype=np.float64, mode="w+", shape=(1 << 29,))
        before = most = private_kib()
        def look():
            global most
            while True:
                most = max(most, private_kib())
                time.sleep(0.01)
        threading.Thread(target=look, daemon=True).start()
        with goodwire.connect(sys.argv[1]) as venue:
            venue.analyse("latency", sent=np.zeros(10), returned=huge, rate_hz=48000)
        print((most - before) / 1024)
        """
    )
    answers = {"MeasurementService/AnalyseRecordings": swallow, "MeasurementService/WatchMeasurement": tell}
    with pretending(answers) as address:
        command = [sys.executable, "-c", script, address, tmp_path / "huge.f64"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    assert received[0] > 2 << 30
    print(f"streamed {received[0] >> 20} MiB, private memory grew by {float(done.stdout):.1f} MiB")
    assert float(done.stdout) < 64


def test_arrays_become_wav_files_that_are_read_alike(tmp_path):
    soundfile = pytest.importorskip("soundfile", reason="SKIPPED: soundfile is not installed")
    samples = np.random.default_rng(7).uniform(-1, 1, 100_000)
    (tmp_path / "a.wav").write_bytes(b"".join(ArrayFile("returned", samples, 44100).data()))
    read, rate_hz = soundfile.read(tmp_path / "a.wav", dtype="float32")
    assert rate_hz == 44100 and np.array_equal(read, samples.astype(np.float32))
