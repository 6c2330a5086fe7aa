"""The Node client: nothing but the public proto files and the standard health service, over both transports."""

import os
import pathlib
import re
import shutil
import subprocess

import daemon
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "clients" / "node" / "measure.js"
MODULES = ROOT / "target" / "node" / "node_modules"
CONFIGURATION = """
site = "node"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[reference]
send = 3
return = 3
[[link]]
name = "lectern"
send = 1
return = 1
[link.simulated]
delay_ms = 3.125
gain_db = -1.5
[[link]]
name = "foyer"
send = 2
return = 2
[link.simulated]
delay_ms = 19.5
[[limit]]
analysis = "latency"
figure = "latency"
max = 5.0
"""


@pytest.fixture(scope="module", autouse=True)
def node():
    if not (shutil.which("node") and MODULES.is_dir()):
        pytest.skip("SKIPPED: the Node client's packages are not there (make target/node needs npm)")


@pytest.fixture(scope="module")
def limited(tmp_path_factory):
    with daemon.running(tmp_path_factory.mktemp("node"), CONFIGURATION) as server:
        yield server


def measure(*arguments):
    environment = {**os.environ, "NODE_PATH": str(MODULES)}
    return subprocess.run(
        ["node", SCRIPT, *arguments], env=environment, capture_output=True, text=True, timeout=60
    )


@pytest.mark.parametrize("transport", ["unix", "tcp"])
def test_health_and_a_latency_of_3_125_ms_are_told_over(servers, transport):
    address = servers[transport] if transport == "unix" else f"http://{servers[transport]}"
    done = measure(address, "lectern", "latency")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("health: SERVING\nlatency of links/lectern: SUCCEEDED\nsimulated")
    value = float(re.search(r"^latency +([\d.]+) ± [\d.]+ ms$", done.stdout, re.M)[1])
    assert value == pytest.approx(3.125, abs=0.01)
    assert "100 %" in done.stderr, "progress is told"


def test_a_link_within_its_limit_ends_with_0_and_one_beyond_it_with_2(limited):
    assert measure(limited, "lectern", "latency").returncode == 0
    assert measure(limited, "foyer", "latency").returncode == 2


def test_a_gain_of_minus_1_5_db_is_told_with_its_place(limited):
    done = measure(limited, "lectern", "level")
    value = float(re.search(r"^gain +(-[\d.]+) ± 0\.0\d+ dB +frequency_hz 997$", done.stdout, re.M)[1])
    # The rig's noise of -100 dBFS against tones of -30 dBFS and more: 2.7e-3 dB at the most.
    assert value == pytest.approx(-1.5, abs=0.003)
    assert re.search(r"^polarity +1\.0000 ± 0\.0000$", done.stdout, re.M), done.stdout


def test_what_cannot_be_measured_ends_with_3_and_says_why(limited, tmp_path):
    refused = measure(limited, "nobody", "latency")
    assert refused.returncode == 3 and "there is no link 'nobody'" in refused.stderr
    assert measure(limited, "foyer").returncode == 3
    nobody = measure(f"unix:{tmp_path}/none.sock", "foyer", "latency")
    assert nobody.returncode == 3 and "No connection" in nobody.stderr
