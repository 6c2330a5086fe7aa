"""A headless Chromium: pictures, prints, and what a page measures of itself.

Its window is never narrower than 500 pixels, so the page stands in a frame of the width that is asked for.
"""

import html
import json
import re
import shutil
import subprocess

CHROMIUM = shutil.which("chromium")
# Colour schemes as the settings of Chromium's engine count them.
SCHEMES = {"dark": 0, "light": 1}
TIMEOUT_S = 120


def _run(folder, page, *options, scheme="light"):
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
    command += [f"--user-data-dir={folder / 'profile'}", "--disable-dev-shm-usage"]
    command += [f"--blink-settings=preferredColorScheme={SCHEMES[scheme]}", *options, page.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=TIMEOUT_S)
    assert done.returncode == 0, done.stderr
    return done.stdout


def _framed(folder, text, width, height):
    page = folder / "framed.html"
    style = f"width: {width}px; height: {height}px; border: 0"
    frame = f'<iframe title="page" style="{style}" srcdoc="{html.escape(text)}"></iframe>'
    page.write_text(f'<!DOCTYPE html><html lang="en"><title>framed</title><body style="margin: 0">{frame}')
    return page


def screenshot(folder, page, picture, width, height, scheme="light"):
    """Writes what a window of that size shows to a PNG file."""
    framed = _framed(folder, page.read_text(), width, height)
    _run(folder, framed, f"--screenshot={picture}", f"--window-size={max(width, 500)},{height}", scheme=scheme)


def printed_pages(folder, page, file):
    """Prints to a PDF file and counts its pages."""
    _run(folder, page, "--no-pdf-header-footer", f"--print-to-pdf={file}")
    return len(re.findall(rb"/Type\s*/Page\b", file.read_bytes()))


def ask(folder, page, script, width, scheme="light"):
    """What an asynchronous JavaScript expression gives when it runs in the page, from JSON."""
    answer = "const answer = parent.document.createElement('pre'); answer.id = 'answer'; "
    answer += "answer.textContent = JSON.stringify(value); parent.document.body.append(answer)"
    run = f"<script>(async () => {{ const value = await ({script}); {answer} }})()</script>"
    framed = _framed(folder, page.read_text().replace("</body>", f"{run}</body>"), width, 900)
    dom = _run(folder, framed, "--dump-dom", "--virtual-time-budget=60000", scheme=scheme)
    found = re.search(r'<pre id="answer">(.*?)</pre>', dom, re.S)
    assert found, "the script did not answer"
    return json.loads(html.unescape(found[1]))
