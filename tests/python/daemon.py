"""A goodwired of a test's own, for as long as a `with` lasts."""

import contextlib
import os
import pathlib
import subprocess

ROOT = pathlib.Path(__file__).resolve().parents[2]
BINARIES = pathlib.Path(os.environ.get("GOODWIRE_BINARIES", ROOT / "target" / "release"))
END_TIMEOUT_S = 10


@contextlib.contextmanager
def running(folder, configuration, state=None):
    """Gives the address of a daemon with this configuration; it lives in the folder."""
    (folder / "goodwire.toml").write_text(configuration)
    socket = f"unix:{folder}/d.sock"
    command = [BINARIES / "goodwired", "--config", folder / "goodwire.toml", "--listen", socket]
    command += ["--state", state or folder / "state"]
    with open(folder / "log", "w") as log:
        daemon = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=log, text=True)
    try:
        assert daemon.stdout.readline().startswith("listening "), (folder / "log").read_text()
        yield socket
    finally:
        daemon.terminate()
        daemon.wait(END_TIMEOUT_S)
        daemon.stdout.close()


def goodwire(server, *arguments):
    """Runs the command line against a server; gives the finished process."""
    command = [BINARIES / "goodwire", "--server", server, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=120)
