"""The pages that the daemon serves, as people see them: while a round runs, after nights, and where there is nothing."""

import json
import os
import pathlib
import re
import socket
import sqlite3
import subprocess
import time
import urllib.error
import urllib.request
import uuid

import browser
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BINARIES = pathlib.Path(os.environ.get("GOODWIRE_BINARIES", ROOT / "target" / "release"))
PICTURES = ROOT / "target" / "report-pictures"
AXE = ROOT / "target" / "axe" / "package" / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
NIGHTS = 30
DAY_NS = 86_400 * 10**9
WAIT_S = 60

CONFIGURATION = """
site = "lantern-cellar"
[page]
listen = "127.0.0.1:{port}"
[interface]
backend = "simulated"
time = "real"
rate = 48000
[reference]
send = 3
return = 3
[[link]]
name = "lectern"
send = 1
return = 1
[link.setup]
transmitter = "belt unit 3, <b>taped</b>"
[link.simulated]
gain_db = -3.0
delay_ms = 3.125
[[link]]
name = "drum-riser"
send = 2
return = 2
[link.simulated]
delay_ms = 4.0
[[limit]]
analysis = "latency"
figure = "latency"
max = 3.5
drift = 0.2
[[limit]]
analysis = "level"
figure = "gain"
min = -6.0
max = 3.0
[[round]]
name = "nightly"
when = "0 3 * * *"
zone = "Europe/Vienna"
checks = ["latency", "level"]
"""


class Venue:
    """A daemon with a page, and what was seen of it."""

    def __init__(self, folder, url, server):
        self.folder, self.url, self.server = folder, url, server

    def goodwire(self, *arguments):
        command = [BINARIES / "goodwire", "--server", self.server, *arguments]
        return subprocess.run(command, capture_output=True, text=True, timeout=300)

    def get(self, path, method="GET"):
        """Status, headers and text."""
        request = urllib.request.Request(self.url + path, method=method)
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return answer.status, answer.headers, answer.read().decode()
        except urllib.error.HTTPError as refusal:
            return refusal.code, refusal.headers, refusal.read().decode()


    def start(self):
        command = [BINARIES / "goodwired", "--config", self.folder / "goodwire.toml", "--state", self.folder / "state"]
        with open(self.folder / "log", "a") as log:
            self.daemon = subprocess.Popen([*command, "--listen", self.server], stdout=subprocess.PIPE, stderr=log)
        assert self.daemon.stdout.readline().startswith(b"listening "), (self.folder / "log").read_text()

    def stop(self):
        self.daemon.terminate()
        self.daemon.wait(10)


@pytest.fixture(scope="module")
def venue(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (folder / "goodwire.toml").write_text(CONFIGURATION.replace("{port}", str(port)))
    venue = Venue(folder, f"http://127.0.0.1:{port}", f"unix:{folder}/d.sock")
    venue.start()
    yield venue
    venue.stop()


@pytest.fixture(scope="module")
def live(venue):
    """What the front page said, loading itself anew and standing still, while a round measured."""
    command = [BINARIES / "goodwire", "--server", venue.server, "rounds", "run", "nightly", "--present"]
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    pages, until = [], time.monotonic() + WAIT_S
    while run.poll() is None and time.monotonic() < until:
        pages.append((venue.get("/")[2], venue.get("/?still")[2]))
        time.sleep(0.1)
    assert run.wait(WAIT_S) in (0, 2), run.stderr.read()
    return [(page, still) for page, still in pages if "is measured now" in page and "is measured now" in still]


@pytest.fixture(scope="module")
def after_a_month(venue, live):
    """The venue once each link has a month of nights, in which every figure fell by 0.05 of its unit a night.

    They are written into the store while the daemon is away: nobody waits for a month. The setup was another one for
    the first ten nights, and the tenth night had no result.
    """
    venue.stop()
    store = sqlite3.connect(venue.folder / "state" / "goodwire.sqlite3")
    rows = store.execute("SELECT series, time, setup, value, uncertainty FROM figures").fetchall()
    for night in range(1, NIGHTS):
        for series, at_ns, setup, value, uncertainty in rows:
            fallen = value + 0.05 * night + 0.02 * (night * 7 % 5)
            setup = setup + 1 if night > NIGHTS - 10 else setup
            row = (series, at_ns - night * DAY_NS, uuid.uuid4().bytes, setup, fallen, uncertainty)
            store.execute("INSERT INTO figures (series, time, measurement, setup, value, uncertainty) VALUES (?,?,?,?,?,?)", row)
    copies = store.execute("SELECT id, link, analysis, state, create_time, end_time, result FROM measurements").fetchall()
    for night in range(1, NIGHTS):
        for name, link, analysis, state, create_ns, end_ns, result in copies:
            # Ids begin with their time: those of earlier nights are smaller.
            earlier = f"0000{night:04d}{name[8:]}"
            state = 4 if night == 10 else state
            times = (create_ns - night * DAY_NS, end_ns - night * DAY_NS)
            store.execute(
                "INSERT INTO measurements (id, link, analysis, state, is_match, create_time, end_time, result)"
                " VALUES (?,?,?,?,0,?,?,?)",
                (earlier, link, analysis, state, *times, result),
            )
            copy = "INSERT INTO judgements SELECT ?, outcome, judgement FROM judgements WHERE measurement = ?"
            store.execute(copy, (earlier, name))
    store.commit()
    store.close()
    venue.start()
    return venue


@pytest.fixture(scope="module")
def pages(after_a_month, live, tmp_path_factory):
    """Each page as a file."""
    folder = tmp_path_factory.mktemp("pages")
    venue = after_a_month
    run = re.search(r"/runs/[0-9a-f-]+", venue.get("/runs")[2])[0]
    paths = {"front": "/", "link": "/links/lectern", "runs": "/runs", "served-run": run, "refusal": "/links/nobody"}
    texts = {name: venue.get(path)[2] for name, path in paths.items()}
    texts["live"] = live[0][1]
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text)
    return {name: folder / f"{name}.html" for name in texts}


def test_while_a_round_runs_the_page_names_link_and_check_and_loads_itself_anew(live):
    assert live, "the round was over before the page was asked for"
    page, still = live[0]
    assert re.search(r"(Latency|Level) is measured now on (drum-riser|lectern)", page)
    assert re.search(r"<strong>measured now, \d+ %</strong>", page)
    assert re.search(r"\d of 4 checks (is|are) done", page)
    assert '<meta http-equiv="refresh" content="3">' in page
    assert 'href="/?still"' in page
    assert "http-equiv" not in still, "who asked for it to stand still is not interrupted"


def test_after_the_round_the_front_page_says_who_needs_attention_and_stands_still(after_a_month):
    status, headers, page = after_a_month.get("/")
    assert status == 200
    assert "1 of 2 links needs attention: drum-riser." in page
    assert "http-equiv" not in page
    assert page.index("needs attention") < page.index("<table")
    # The next due date in the round's own zone.
    assert re.search(r"\d{4}-\d\d-\d\d 03:00 \+0[12]:00", page)
    assert 'href="/links/lectern"' in page
    assert re.search(r'href="/runs/[0-9a-f-]{36}"', page)


def test_a_month_of_nights_is_told_with_trend_limit_verdicts_and_change_of_setup(after_a_month):
    status, _, page = after_a_month.get("/links/lectern")
    assert status == 200
    assert "Gain at 997 Hz falls by 0.35" in page, "0.05 dB a night are 0.35 dB a week"
    for mark in ('class="limit"', 'class="line trend"', 'class="change"', 'class="verdict pass"', 'class="verdict unmeasured"'):
        assert mark in page, mark
    assert "belt unit 3" not in page or "<b>taped" not in page


def test_pages_run_nothing_and_take_nothing_from_outside(after_a_month, pages):
    for path in ("/", "/runs", "/links/lectern", "/links/nobody", "/metrics"):
        _, headers, _ = after_a_month.get(path)
        assert headers["Content-Security-Policy"].startswith("default-src 'none'; style-src 'unsafe-inline';"), path
        assert headers["X-Content-Type-Options"] == "nosniff"
    for name, file in pages.items():
        tags = re.findall(r"<[^>]+>", file.read_text())
        assert not [tag for tag in tags if re.search(r"<script|<link|src=|\son\w+=|https?:", tag)], name


@pytest.mark.parametrize(
    "path, method, status, says",
    [
        ("/links/nobody", "GET", 404, "nobody"),
        ("/links/%3Cb%3Ex", "GET", 404, "&lt;b&gt;x"),
        ("/links/lectern?weeks=many", "GET", 400, "?weeks=13"),
        ("/runs/xx", "GET", 404, "xx"),
        ("/runs?before=xx", "GET", 400, "page"),
        ("/no/such%3Ci%3E/place", "GET", 404, "There is nothing at"),
        ("/", "POST", 405, "POST is not taken here"),
        ("/links/lectern", "DELETE", 405, "DELETE is not taken here"),
    ],
)
def test_what_is_not_there_is_refused_in_plain_words(after_a_month, path, method, status, says):
    got, headers, text = after_a_month.get(path, method)
    assert got == status
    assert says in text
    assert "<b>x" not in text and "<i>" not in text
    assert headers["Content-Type"].startswith("text/html")


PAGES = ["front", "live", "link", "runs", "served-run", "refusal"]


@pytest.fixture(params=PAGES)
def page(request, pages):
    if browser.CHROMIUM is None:
        pytest.skip("SKIPPED: chromium is not installed")
    PICTURES.mkdir(parents=True, exist_ok=True)
    return pages[request.param]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_wider_than_the_window_and_the_picture_of_it_is_kept(page, scheme, tmp_path):
    for width in (1200, 360):
        picture = PICTURES / f"page-{page.stem}-{scheme}-{width}.png"
        browser.screenshot(tmp_path, page, picture, width, 2400, scheme)
        assert picture.stat().st_size > 5_000, "an empty picture"
        wide = browser.ask(tmp_path, page, "[innerWidth, document.documentElement.scrollWidth]", width, scheme)
        assert wide == [width, width]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_accessibility_checker_finds_nothing(page, scheme, tmp_path):
    """The page that loads itself anew is checked as it stands still: the one way to it is on it."""
    if not AXE.exists():
        pytest.skip("SKIPPED: axe-core is not there (make target/axe needs npm)")
    run = f"axe.run(document, {{ runOnly: {json.dumps(TAGS)} }})"
    told = "r => ({ wrong: r.violations.map(v => [v.id, v.nodes.map(n => n.html)]), right: r.passes.length })"
    checker = AXE.read_text().replace("</script", "<\\/script")
    # What is folded away is checked too.
    unfold = "document.querySelectorAll('details').forEach(d => d.open = true)"
    script = f"(() => {{ {unfold}; {checker} ; return {run}.then({told}) }})()"
    found = browser.ask(tmp_path, page, script, 1200, scheme)
    assert found["wrong"] == []
    assert found["right"] > 12, "it checked nothing"


def test_every_way_is_reached_with_the_keyboard(pages, tmp_path):
    if browser.CHROMIUM is None:
        pytest.skip("SKIPPED: chromium is not installed")
    wanted = "[...document.querySelectorAll('a, summary, .scroll')]"
    script = f"{wanted}.map(e => e.tabIndex)"
    found = browser.ask(tmp_path, pages["link"], script, 1200)
    assert len(found) > 10 and set(found) == {0}
