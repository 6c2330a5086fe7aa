"""Runs every example as a user would, against the daemon on the simulated rig of the examples."""

import json
import os
import pathlib
import re
import subprocess
import sys
import wave

import numpy as np
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "clients" / "python" / "examples"
RIG = (EXAMPLES / "rig.toml").read_text()

sys.path.insert(0, str(ROOT / "tests" / "python"))
import daemon  # noqa: E402 - it lies in another folder of tests


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with daemon.running(tmp_path_factory.mktemp("examples"), RIG) as server:
        yield server


def environment(server):
    return {**os.environ, "GOODWIRE_SERVER": server, "MPLBACKEND": "Agg", "PYTHONUNBUFFERED": "1"}


def run(server, folder, script, *arguments, **more):
    command = [sys.executable, EXAMPLES / script, *map(str, arguments)]
    return subprocess.run(
        command, cwd=folder, env=environment(server), capture_output=True, text=True, timeout=120, **more
    )


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["lectern", "latency"], 0, r"lectern latency: PASS, simulated - Latency is 3\.\d+ ± "),
        (["foyer", "level"], 2, r"foyer level: FAIL, simulated - Gain at 997 Hz is -(6\.0|5\.9)\d* .* limit of -2 dB"),
        (["lectern", "noise"], 0, r"lectern noise: NONE, simulated - it has no limit"),
        (["nobody", "level"], 3, r"nobody level: UNMEASURED - links: there is no link 'nobody'"),
        (["lectern"], 3, r"^$"),
    ],
)
def test_the_check_says_what_is_wrong_and_ends_with_the_code_of(server, tmp_path, arguments, code, said):
    done = run(server, tmp_path, "check.py", *arguments)
    assert done.returncode == code, done.stderr
    assert re.search(said, done.stdout), done.stdout


def test_the_check_of_a_daemon_that_is_not_there_ends_with_3(tmp_path):
    done = run(f"unix:{tmp_path}/none.sock", tmp_path, "check.py", "lectern", "latency")
    assert done.returncode == 3 and "UNMEASURED - no goodwired answers" in done.stdout


def test_the_nightly_script_gives_a_failed_round_to_a_command_and_ends_with_2(server, tmp_path):
    done = run(server, tmp_path, "nightly.py", "nightly", "--command", "tee told")
    assert done.returncode == 2, done.stderr
    told = (tmp_path / "told").read_text().splitlines()
    assert told[0] == "round nightly: FAIL, simulated"
    assert told[1].startswith("foyer, level: FAIL - Gain at 997 Hz is ")
    assert not any(line.startswith(("lectern", "drum-riser")) for line in told), "those that pass are not told"


def test_the_nightly_script_mails_a_failed_round(server, tmp_path):
    receiver = subprocess.Popen(
        [sys.executable, ROOT / "tests" / "python" / "receiver.py", "smtp", "250", tmp_path],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        port = json.loads(receiver.stdout.readline())["port"]
        mail = ["--mail", "crew@example.org", "--server", f"127.0.0.1:{port}"]
        done = run(server, tmp_path, "nightly.py", "nightly", *mail)
        assert done.returncode == 2, done.stderr
        received = json.loads(receiver.stdout.readline())
    finally:
        receiver.terminate()
        receiver.wait(10)
        receiver.stdout.close()
    assert received["subject"] == "round nightly: FAIL, simulated" and received["to"] == ["crew@example.org"]
    assert "foyer, level: FAIL" in received["text"]


def test_the_nightly_script_tells_nobody_of_a_round_that_passed_but_of_one_that_did_not_run(tmp_path):
    with daemon.running(tmp_path, RIG.replace("gain_db = -6.0", "gain_db = 0.0")) as healthy:
        passed = run(healthy, tmp_path, "nightly.py", "nightly", "--command", "tee told")
    assert passed.returncode == 0 and passed.stdout == "round nightly: PASS, simulated\n"
    assert not (tmp_path / "told").exists()
    gone = run(healthy, tmp_path, "nightly.py", "nightly", "--command", "tee told")
    assert gone.returncode == 3
    assert (tmp_path / "told").read_text().startswith("round nightly did not run: no goodwired answers")


def test_the_buying_decision_takes_the_link_with_10_db_more_range_and_leaves_out_the_one_of_19_ms(server, tmp_path):
    done = run(server, tmp_path, "buy.py", "loan-a", "loan-b", "loan-c")
    assert done.returncode == 0, done.stderr
    assert "loan-c is out: its latency is not surely below 10 ms." in done.stdout
    # The rig's noise is -98 and -88 dBFS, its clip points are alike.
    margin_db = float(re.search(r"Buy loan-b: its dynamic range .* by ([\d.]+) ± 0\.0\d+ dB\.", done.stdout)[1])
    assert margin_db == pytest.approx(10.0, abs=0.15)
    assert done.stdout.endswith("in one place, simulated.\n")
    latency = re.search(r"^latency +([\d.]+) .*ms +([\d.]+) .*ms +([\d.]+) .*ms$", done.stdout, re.M)
    assert [float(one) for one in latency.groups()] == pytest.approx([3.1, 4.2, 19.4], abs=0.02)
    assert (tmp_path / "buy.png").read_bytes().startswith(b"\x89PNG")


def test_the_buying_decision_says_so_where_two_links_are_alike(server, tmp_path):
    done = run(server, tmp_path, "buy.py", "monitor-left", "monitor-right")
    assert "Buy none for its figures: no difference is surely large enough to count" in done.stdout, done.stderr


def test_the_walk_tells_6_db_less_at_8_m_and_that_the_link_was_lost_at_20_m(tmp_path):
    state = tmp_path / "state"
    command = [sys.executable, EXAMPLES / "walk.py", "lectern"]
    stops = {"3": "gain_db = 0.0", "8,5": "gain_db = -6.0", "20": "gain_db = -120.0\nnoise_dbfs = -90.0"}
    walk, rows = None, []
    for metres, sound in stops.items():
        # The simulated rig has no distance: at every stop another rig takes over the same socket.
        rig = RIG.replace("delay_ms = 3.1\n", f"delay_ms = 3.1\n{sound}\n", 1)
        with daemon.running(tmp_path, rig, state) as server:
            walk = walk or subprocess.Popen(
                command,
                env=environment(server),
                text=True,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
            if not rows:
                assert walk.stdout.readline() == "simulated: this tells nothing about a real link\n"
                rows.append(walk.stdout.readline())
            walk.stdin.write(f"far\n{metres}\n")
            walk.stdin.flush()
            rows.append(walk.stdout.readline())
    rest, _ = walk.communicate("\n", timeout=60)
    assert walk.returncode == 0
    assert rows[0].split() == ["metres", "gain", "(dB)", "jitter", "(ms)", "outcome"]
    for row, metres, gain_db in zip(rows[1:], (3.0, 8.5), (0.0, -6.0)):
        told = row.split()
        assert told[-1] == "held" and float(told[0]) == metres
        assert float(told[1]) == pytest.approx(gain_db, abs=0.01) and float(told[2]) < 0.001
    assert "lost: " in rows[3]
    assert rest == "It held to at least 8.5 m, and was lost at 20 m.\n"


def test_own_recordings_of_a_link_1_5_db_down_and_150_frames_late_are_told_so(server, tmp_path):
    written = run(server, tmp_path, "recordings.py", "write", "sweep.wav")
    assert written.returncode == 0, written.stderr
    with wave.open(str(tmp_path / "sweep.wav")) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 48000)
        sweep = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2") / 32768.0
    # A recorder that was started half a second before the player.
    cable = np.concatenate([np.zeros(24000), sweep, np.zeros(24000)])
    link = 10 ** (-1.5 / 20) * np.roll(cable, 150)
    noise = np.random.default_rng(1).normal(0.0, 1e-5, (cable.size, 2))
    frames = np.round(32768.0 * (np.stack([link, cable], axis=1) + noise)).astype("<i2")
    with wave.open(str(tmp_path / "recorded.wav"), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(48000)
        file.writeframes(frames.tobytes())
    done = run(server, tmp_path, "recordings.py", "analyse", "sweep.wav", "recorded.wav")
    assert done.returncode == 0, done.stderr
    gain_db = float(re.search(r"^gain +(-[\d.]+) ± 0\.\d+ dB$", done.stdout, re.M)[1])
    assert gain_db == pytest.approx(-1.5, abs=0.01)
    assert re.search(r"^deviation +-?0\.0\d\d ± 0\.\d+ dB +1000 to 2000 Hz$", done.stdout, re.M), done.stdout
    mono = run(server, tmp_path, "recordings.py", "analyse", "sweep.wav", "sweep.wav")
    assert mono.returncode == 1 and "sweep.wav has 1 channels; two are needed" in mono.stderr


def test_eight_links_are_watched_at_once_and_the_worst_counts(server, tmp_path):
    done = run(server, tmp_path, "watch_all.py", "latency")
    assert done.returncode == 2, "loan-c is later than its limit of 5 ms"
    told = {line.split()[0]: line.split()[1] for line in done.stdout.splitlines()}
    assert told.pop("loan-c") == "FAIL"
    assert len(told) == 7 and set(told.values()) == {"PASS"}
    last = done.stderr.strip().splitlines()[-1].split("\r")[-1]
    assert last.count("100 %") == 8, last
