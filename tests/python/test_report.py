"""The report as people see it: in a browser, light, dark, narrow and on paper."""

import json
import os
import pathlib
import subprocess

import browser
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BINARIES = pathlib.Path(os.environ.get("GOODWIRE_BINARIES", ROOT / "target" / "release"))
PICTURES = ROOT / "target" / "report-pictures"
AXE = ROOT / "target" / "axe" / "package" / "axe.min.js"
# Rules of WCAG 2.0, 2.1 and 2.2, levels A and AA, as axe-core tags them, and its own best practices.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

CONFIGURATION = """
site = "lantern-cellar"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[reference]
send = 4
return = 4
[[link]]
name = "lectern"
send = 1
return = 1
[link.setup]
transmitter = "belt unit 3"
input = "line"
[link.simulated]
gain_db = -3.0
delay_ms = 3.125
low_corner_hz = 90.0
[[link]]
name = "drum-riser"
send = 2
return = 2
[link.setup]
transmitter = "belt unit 5, <b>taped</b>"
[link.simulated]
delay_ms = 4.0
polynomial = [0.0, 0.01]
noise_dbfs = -80.0
[[link]]
name = "choir"
send = 3
return = 3
[link.simulated]
delay_ms = 2.0
[[limit]]
analysis = "response"
figure = "deviation"
at = { from_hz = 63, to_hz = 125 }
min = -3.0
max = 3.0
[[limit]]
analysis = "latency"
figure = "latency"
max = 5.0
drift = 0.2
[[round]]
name = "nightly"
checks = ["level", "latency", "response", { analysis = "distortion", set = { method = "swept" } }, "noise"]
"""


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    """The pages of a second run, with a baseline, and of three measurements side by side."""
    folder = tmp_path_factory.mktemp("report")
    (folder / "goodwire.toml").write_text(CONFIGURATION)
    socket = f"unix:{folder}/d.sock"
    command = [BINARIES / "goodwired", "--config", folder / "goodwire.toml", "--state", folder / "state"]
    with open(folder / "log", "w") as log:
        daemon = subprocess.Popen([*command, "--listen", socket], stdout=subprocess.PIPE, stderr=log, text=True)
    try:
        assert daemon.stdout.readline().startswith("listening "), (folder / "log").read_text()
        yield make_reports(folder, socket)
    finally:
        daemon.terminate()
        daemon.wait(10)


def make_reports(folder, socket):
    def goodwire(*arguments):
        command = [BINARIES / "goodwire", "--server", socket, "--json", *arguments]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300)
        return done.returncode, json.loads(done.stdout or "null"), done.stderr

    _, first, error = goodwire("rounds", "run", "nightly")
    assert first, error
    goodwire("baseline", "set", next(c["measurement"] for c in first["checks"] if c["analysis"] == "response"))
    _, run, error = goodwire("rounds", "run", "nightly")
    assert run, error
    responses = [check["measurement"] for check in run["checks"] if check["analysis"] == "response"]
    pages = {"run": [run["name"]], "beside": responses}
    for name, of in pages.items():
        code, _, error = goodwire("report", *of, "--out", str(folder / f"{name}.html"))
        assert code == 0, error
    return {name: folder / f"{name}.html" for name in pages}


@pytest.fixture(params=["run", "beside"])
def page(request, reports):
    if browser.CHROMIUM is None:
        pytest.skip("SKIPPED: chromium is not installed")
    PICTURES.mkdir(parents=True, exist_ok=True)
    return reports[request.param]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_wider_than_the_window_and_the_picture_of_it_is_kept(page, scheme, tmp_path):
    for width in (1200, 360):
        picture = PICTURES / f"{page.stem}-{scheme}-{width}.png"
        browser.screenshot(tmp_path, page, picture, width, 5000, scheme)
        assert picture.stat().st_size > 20_000, "an empty picture"
        wide = browser.ask(tmp_path, page, "[innerWidth, document.documentElement.scrollWidth]", width, scheme)
        assert wide == [width, width]


def test_the_summary_is_read_without_scrolling(page, tmp_path):
    bottom = browser.ask(tmp_path, page, "document.querySelector('.counts').getBoundingClientRect().bottom", 360)
    assert bottom < 640, "the counts end at that pixel of a telephone's screen"


def test_it_prints_on_a4_without_losing_width(page, tmp_path):
    file = PICTURES / f"{page.stem}.pdf"
    page_count = browser.printed_pages(tmp_path, page, file)
    # Three links with five analyses, or three responses: some pages each, and no blank ones between.
    assert 2 <= page_count <= (40 if page.stem == "run" else 12), page_count
    assert b"/MediaBox [0 0 594.95" in file.read_bytes() or b"/MediaBox [0 0 595" in file.read_bytes(), "no A4"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_accessibility_checker_finds_nothing(page, scheme, tmp_path):
    if not AXE.exists():
        pytest.skip("SKIPPED: axe-core is not there (make target/axe needs npm)")
    run = f"axe.run(document, {{ runOnly: {json.dumps(TAGS)} }})"
    told = "r => ({ wrong: r.violations.map(v => [v.id, v.nodes.map(n => n.html)]), right: r.passes.length })"
    checker = AXE.read_text().replace("</script", "<\\/script")
    script = f"(() => {{ {checker} ; return {run}.then({told}) }})()"
    found = browser.ask(tmp_path, page, script, 1200, scheme)
    assert found["wrong"] == []
    assert found["right"] > 15, "it checked nothing"
