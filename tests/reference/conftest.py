"""Starts one daemon for all tests of this folder and gives them the command line.

The tests make recordings with NumPy and SciPy, hand them to `goodwire --json analyse`, and compare
what it finds with closed forms and with SciPy's own arithmetic. Nothing of goodwire's arithmetic is
used here, but the stimuli that it writes.
"""

import json
import os
import pathlib
import subprocess

import pytest
import recording
from result import Result

ROOT = pathlib.Path(__file__).resolve().parents[2]
BINARIES = pathlib.Path(os.environ.get("GOODWIRE_BINARIES", ROOT / "target" / "release"))
CONFIGURATION = """
site = "reference-tests"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[[link]]
name = "recordings"
send = 1
return = 1
"""


class CommandLine:
    """`goodwire` against the tests' own daemon. Stimuli are written once for each set of parameters."""

    def __init__(self, server, folder):
        self.server, self.folder, self.stimuli = server, folder, {}

    def run(self, *arguments):
        """Exit code, standard output and standard error of one command."""
        done = subprocess.run(
            [BINARIES / "goodwire", "--server", self.server, "--json", *map(str, arguments)],
            capture_output=True,
            text=True,
            timeout=300,
            stdin=subprocess.DEVNULL,
        )
        return done.returncode, done.stdout, done.stderr

    def stimulus(self, analysis, rate_hz=48000, **parameters):
        """The path of a stimulus, and its samples."""
        key = (analysis, rate_hz, tuple(sorted(parameters.items())))
        if key not in self.stimuli:
            path = self.folder / f"stimulus-{len(self.stimuli)}.wav"
            code, _, error = self.run("stimulus", analysis, "--rate", rate_hz, "--out", path, *_set(parameters))
            assert code == 0, error
            self.stimuli[key] = path
        path = self.stimuli[key]
        return path, recording.read(path)[0]

    def analyse(self, analysis, sent, returned, reference=None, match=None, **parameters):
        """The result of an analysis; `returned` and `reference` are FILE or FILE:CH, `sent` may be None."""
        more = ["--reference", reference] if reference else []
        more += ["--match", match] if match else []
        more += ["--sent", sent] if sent else []
        code, out, error = self.run("analyse", analysis, "--returned", returned, *more, *_set(parameters))
        return Result(code, json.loads(out) if out.strip() else {}, error)


def _set(parameters):
    return [word for name, value in parameters.items() for word in ("--set", f"{name}={value}")]


@pytest.fixture(scope="session")
def goodwire(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reference")
    (folder / "goodwire.toml").write_text(CONFIGURATION)
    server = f"unix:{folder}/d.sock"
    log = open(folder / "log", "w")
    daemon = subprocess.Popen(
        [BINARIES / "goodwired", "--config", folder / "goodwire.toml", "--listen", server, "--state", folder / "state"],
        stdout=subprocess.PIPE,
        stderr=log,
        text=True,
    )
    try:
        said = daemon.stdout.readline()
        assert said.startswith("listening "), (folder / "log").read_text()
        yield CommandLine(server, folder)
    finally:
        daemon.terminate()
        try:
            daemon.wait(6)
        except subprocess.TimeoutExpired:
            daemon.kill()
            raise
        finally:
            log.close()
    assert daemon.returncode == 0, (folder / "log").read_text()


@pytest.fixture
def recordings(goodwire, tmp_path):
    """Writes recordings of one test: `recordings(rate_hz, link, reference, …)` gives the file's path."""

    def write(rate_hz, *channels, name="returned.wav", subtype="FLOAT"):
        return recording.write(tmp_path / name, rate_hz, channels, subtype)

    return write
