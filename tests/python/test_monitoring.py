"""What monitoring systems read: metrics and alert rules (checked by promtool), the line, JUnit XML."""

import re
import shutil
import socket
import subprocess
import urllib.request
import xml.etree.ElementTree as tree

import pytest
from daemon import ROOT, goodwire, running

RULES = ROOT / "clients" / "monitoring" / "goodwire-alerts.yml"
UNPACKED = ROOT / "target" / "prometheus" / "usr" / "bin" / "promtool"

CONFIGURATION = """
site = "lantern-cellar"
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
delay_ms = 9.0
[[link]]
name = "choir"
send = 2
return = 2
[[limit]]
analysis = "latency"
figure = "latency"
max = 5.0
[[round]]
name = "nightly"
checks = ["latency", "level"]
[page]
listen = "127.0.0.1:PORT"
"""


def free_port():
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        return bound.getsockname()[1]


@pytest.fixture(scope="module")
def venue(tmp_path_factory):
    """A daemon before and after its only run: address, metrics, what was said before the run."""
    port = free_port()
    with running(tmp_path_factory.mktemp("venue"), CONFIGURATION.replace("PORT", str(port))) as server:
        before = goodwire(server, "rounds", "show", "--last", "--line")
        assert goodwire(server, "rounds", "run", "nightly").returncode == 2
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
            yield server, answer.read().decode(), before


@pytest.fixture(scope="module")
def promtool():
    found = shutil.which("promtool") or (UNPACKED if UNPACKED.exists() else None)
    if not found:
        print("SKIPPED: no promtool here, so nobody checked the metrics")
        pytest.skip("no promtool here")
    return found


def test_promtool_has_nothing_to_say_of_the_metrics(venue, promtool):
    _, metrics, _ = venue
    checked = subprocess.run([promtool, "check", "metrics"], input=metrics, capture_output=True, text=True)
    assert (checked.returncode, checked.stdout + checked.stderr) == (0, "")


def test_promtool_takes_the_alert_rules_and_they_fire_as_told(promtool, tmp_path):
    checked = subprocess.run([promtool, "check", "rules", RULES], capture_output=True, text=True)
    assert checked.returncode == 0, checked.stderr
    story = (ROOT / "tests" / "python" / "alerts.yml").read_text().replace("RULES", str(RULES))
    (tmp_path / "alerts.yml").write_text(story)
    tested = subprocess.run([promtool, "test", "rules", tmp_path / "alerts.yml"], capture_output=True, text=True)
    assert tested.returncode == 0, tested.stdout + tested.stderr


def test_the_rules_ask_for_metrics_that_there_are(venue):
    _, metrics, _ = venue
    asked = set(re.findall(r"\bgoodwire_\w+", "".join(re.findall(r"expr: .*", RULES.read_text()))))
    there = set(re.findall(r"^# TYPE (\w+)", metrics, re.MULTILINE))
    assert asked and asked <= there


def test_the_line_names_the_ill_link_and_an_old_run_is_unknown(venue):
    server, _, before = venue
    assert (before.returncode, before.stdout[:8]) == (3, "UNKNOWN:")
    now = goodwire(server, "rounds", "show", "--last", "--line", "--within", "26h")
    assert now.returncode == 2
    pattern = r"CRITICAL: nightly: lectern.* \| 'passed'=3 'drifted'=0 'failed'=1 'unmeasured'=0 'age'=\d+s\n"
    assert re.fullmatch(pattern, now.stdout), now.stdout
    old = goodwire(server, "rounds", "show", "--last", "--line", "--within", "2099-01-01T00:00:00Z")
    assert (old.returncode, old.stdout[:33]) == (3, "UNKNOWN: nightly was last checked")


def test_a_line_where_nobody_answers_is_unknown(tmp_path):
    told = goodwire(f"unix:{tmp_path}/none.sock", "rounds", "show", "--last", "--line")
    assert (told.returncode, told.stdout[:8], told.stdout.count("\n")) == (3, "UNKNOWN:", 1)


def test_a_run_goes_out_as_junit_csv_and_json(venue, tmp_path):
    server, _, _ = venue
    listed = goodwire(server, "rounds", "show", "--last").stdout
    name = re.search(r"runs/[0-9a-f-]+", listed).group()
    for form in ["junit", "csv", "json"]:
        written = goodwire(server, "export", name, "--format", form, "--out", tmp_path / f"run.{form}")
        assert written.returncode == 0, written.stderr
    suites = tree.parse(tmp_path / "run.junit").getroot()
    assert {suite.get("name"): suite.get("failures") for suite in suites} == {"lectern": "1", "choir": "0"}
    assert (tmp_path / "run.csv").read_text().count("\n") == 5
    figures = (tmp_path / "run-figures.csv").read_text().splitlines()
    assert any(line.startswith("lectern,latency,latency,") for line in figures)
    refused = goodwire(server, "export", name, "--format", "wav", "--out", tmp_path / "run.wav")
    assert refused.returncode == 3 and "no sounds" in refused.stderr
