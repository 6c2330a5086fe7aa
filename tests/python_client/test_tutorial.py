"""Runs docs/python.md as a reader would: its configuration, then its blocks; what it shows is what is printed."""

import contextlib
import io
import pathlib
import re
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "python.md").read_text()
# A block of Python, and what the page says it prints, which follows at once.
BLOCK = re.compile(r"^```python\n(.*?)^```\n(?:```text\n(.*?)^```\n)?", re.S | re.M)

sys.path.insert(0, str(ROOT / "tests" / "python"))
import daemon  # noqa: E402 - it lies in another folder of tests


@pytest.fixture
def reader(tmp_path, monkeypatch):
    """The folder of somebody who has written the page's configuration and started the daemon."""
    (configuration,) = re.findall(r"^```toml\n(.*?)^```", PAGE, re.S | re.M)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "Agg")
    with daemon.running(tmp_path, configuration) as server:
        monkeypatch.setenv("GOODWIRE_SERVER", server)
        yield tmp_path


def test_all_blocks_of_the_tutorial_run_in_order_and_print_what_the_page_shows(reader):
    blocks = BLOCK.findall(PAGE)
    assert len(blocks) == PAGE.count("```python") > 10
    names = {"__name__": "__main__"}
    for code, shown in blocks:
        said = io.StringIO()
        with contextlib.redirect_stdout(said):
            exec(compile(code, "docs/python.md", "exec"), names)
        assert said.getvalue() == shown, code
    assert (reader / "magnitude.png").read_bytes().startswith(b"\x89PNG")


def test_ten_lines_with_only_the_read_me_give_a_verdict(reader, capsys):
    page = (ROOT / "clients" / "python" / "README.md").read_text()
    code = re.search(r"^```python\n(.*?)^```", page, re.S | re.M)[1]
    assert len(code.splitlines()) <= 10
    names = {"__name__": "__main__"}
    exec(compile(code, "clients/python/README.md", "exec"), names)
    latency_ms = re.fullmatch(r"PASS ([\d.]+) ± \S+ ms\n", capsys.readouterr().out)[1]
    assert float(latency_ms) == pytest.approx(3.1, abs=0.001)
    head, first, *_ = str(names["measurement"]).splitlines()
    assert head == "latency of lectern: ✓ pass, simulated"
    assert first == f"  latency: {names['measurement'].figures[0]}"
