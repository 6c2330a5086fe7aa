"""A channel plan from the command line: six links beside three Wi-Fi channels, and its picture in a browser."""

import json
import os
import shutil
import time
import xml.etree.ElementTree

import browser
import daemon
import pytest

PICTURES = daemon.ROOT / "target" / "report-pictures"
LINKS = ["lectern", "choir", "drum-riser", "foyer", "organ-loft", "balcony"]
# Rows of a fictional manual: 18 channels of 1 MHz.
CENTRES_MHZ = [2403, 2404.5, 2407, 2414, 2420, 2424, 2424.7, 2425.9, 2431]
CENTRES_MHZ += [2437, 2443, 2448.2, 2449.1, 2450.6, 2460, 2474.1, 2476.3, 2479.5]
SVG = "{http://www.w3.org/2000/svg}"

CONFIGURATION = """
site = "lantern-cellar"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[reference]
send = 8
return = 8
[radio]
occupied = ["1 20 box office", "6 20 bar <upstairs>"]
[[channel_table]]
name = "belt"
radiated_dbm = 10
needed_dbm = -85
"""


def configuration():
    rows = "".join(
        f'[[channel_table.channel]]\nname = "{number}"\ncentre_mhz = {mhz}\nbandwidth_mhz = 1\n'
        for number, mhz in enumerate(CENTRES_MHZ, 1)
    )
    links = "".join(
        f'[[link]]\nname = "{name}"\nsend = {number}\nreturn = {number}\nchannel_table = "belt"\n'
        + ('[link.setup]\nchannel = "10"\n' if number == 1 else "")
        for number, name in enumerate(LINKS, 1)
    )
    return CONFIGURATION + rows + links


@pytest.fixture(scope="module")
def venue(tmp_path_factory):
    """The folder with what the command line said, drew and reported, in `plan.json`, `.txt`, `.svg`, `.html`."""
    folder = tmp_path_factory.mktemp("channels")
    survey = folder / "tonight.txt"
    survey.write_text("11 20 office   # looked at on the evening itself\n")
    six_hours_ago = time.time() - 6 * 3600
    os.utime(survey, (six_hours_ago, six_hours_ago))
    with daemon.running(folder, configuration()) as server:
        drawn = folder / "plan.svg"
        done = daemon.goodwire(server, "--json", "channels", "--survey", survey, "--out", drawn)
        assert done.returncode == 0, done.stderr
        (folder / "plan.json").write_text(done.stdout)
        name = json.loads(done.stdout)["name"]
        (folder / "plan.txt").write_text(daemon.goodwire(server, "show", name).stdout)
        done = daemon.goodwire(server, "report", name, "--out", folder / "plan.html")
        assert done.returncode == 0, done.stderr
        wrong = folder / "wrong.txt"
        wrong.write_text("1 20\n6 20\n15 20\n")
        refused = daemon.goodwire(server, "channels", "--survey", wrong)
        assert refused.returncode == 3
        (folder / "refused.txt").write_text(refused.stderr)
        yield folder


def plan_of(venue):
    return json.loads((venue / "plan.json").read_text())["channelPlan"]


def test_six_links_stand_clear_of_three_wifi_channels_and_of_each_other(venue):
    plan = plan_of(venue)
    assert [link["link"] for link in plan["links"]] == [f"links/{name}" for name in LINKS]
    assert plan["certainty"] == "EXACT" and plan["fittingCount"] == plan["wantedCount"] == 6
    wifi = [(2402, 2422), (2427, 2447), (2452, 2472)]
    placed = sorted((link["lowMhz"], link["highMhz"]) for link in plan["links"])
    for low, high in placed:
        assert all(high <= band[0] or band[1] <= low for band in wifi), (low, high)
        assert any(abs((low + high) / 2 - mhz) < 1e-6 for mhz in CENTRES_MHZ), "no row of the table"
    assert all(before[1] <= after[0] for before, after in zip(placed, placed[1:]))
    centres = [(low + high) / 2 for low, high in placed]
    products = {2 * a - b for a in centres for b in centres if a != b}
    products |= {a + b - c for a in centres for b in centres for c in centres if len({a, b, c}) == 3}
    assert min(abs(product - centre) for product in products for centre in centres) >= 0.1


def test_the_text_says_what_to_set_how_old_the_survey_is_and_whose_law_counts(venue):
    text = (venue / "plan.txt").read_text()
    for wanted in ["set it to", "Channels, the best first", "Bands over frequency", "(survey-old)", "law", "reach"]:
        assert wanted in text, text
    assert all(len(line) <= 80 for line in text.splitlines()), text


def test_a_line_that_cannot_be_read_is_told_with_its_number(venue):
    refused = (venue / "refused.txt").read_text()
    assert "line 3" in refused and "15" in refused, refused


def test_the_picture_is_well_formed_and_says_what_it_shows(venue):
    root = xml.etree.ElementTree.parse(venue / "plan.svg").getroot()
    assert root.tag == f"{SVG}svg" and root.attrib["role"] == "img"
    title, told = root.find(f"{SVG}title").text, root.find(f"{SVG}desc").text
    assert title.startswith("lectern") and "bar <upstairs>" in told
    channels = {link["link"].removeprefix("links/"): link["channel"] for link in plan_of(venue)["links"]}
    written = [text.text for text in root.iter(f"{SVG}text")]
    for name, channel in channels.items():
        assert f"{name} · {channel}" in written and f"{name} is to be set to channel {channel}," in told
    assert "MHz" in written


@pytest.fixture
def page(venue):
    if browser.CHROMIUM is None:
        pytest.skip("SKIPPED: chromium is not installed")
    PICTURES.mkdir(parents=True, exist_ok=True)
    return venue / "plan.html"


# Boxes of all texts as the browser has set them, and that of the picture itself.
BOXES = """(() => {
  const box = one => { const r = one.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
  const plan = document.querySelector('.plan');
  return [box(plan), [...plan.querySelectorAll('text')].map(one => [one.textContent, box(one)])];
})()"""


@pytest.mark.parametrize("width", [1200, 360])
def test_no_text_is_cut_off_or_lies_on_another_as_the_browser_sets_them(page, tmp_path, width):
    view, texts = browser.ask(tmp_path, page, BOXES, width)
    assert len(texts) > 20
    for index, (said, (left, top, right, bottom)) in enumerate(texts):
        assert view[0] <= left and view[1] <= top and right <= view[2] and bottom <= view[3], said
        for other, box in texts[index + 1 :]:
            # Boxes are as high as a line, letters are not: a line may begin 3 px above the last one's end.
            is_beside = right <= box[0] or box[2] <= left
            is_apart = bottom - 3 <= box[1] or box[3] - 3 <= top
            assert is_beside or is_apart, f"{said!r} lies on {other!r}"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_fits_its_window_and_the_pictures_of_it_are_kept(page, venue, tmp_path, scheme):
    for width in (1200, 360):
        picture = PICTURES / f"channels-{scheme}-{width}.png"
        browser.screenshot(tmp_path, page, picture, width, 2600, scheme)
        assert picture.stat().st_size > 20_000, "an empty picture"
        wide = browser.ask(tmp_path, page, "[innerWidth, document.documentElement.scrollWidth]", width, scheme)
        assert wide == [width, width]
    shutil.copy(venue / "plan.svg", PICTURES / "channels.svg")


def test_the_colours_of_the_picture_follow_the_scheme(page, tmp_path):
    ask = "getComputedStyle(document.querySelector('.plan .taken')).fill"
    light, dark = (browser.ask(tmp_path, page, ask, 1200, scheme) for scheme in ("light", "dark"))
    assert light == "rgb(0, 114, 178)" and dark == "rgb(86, 180, 233)"
