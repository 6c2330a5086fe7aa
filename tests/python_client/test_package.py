"""What the package says of itself."""

import importlib.metadata
import pathlib
import re
import subprocess
import sys
import tomllib

import goodwire

ROOT = pathlib.Path(__file__).resolve().parents[2]


def test_the_package_has_the_version_of_the_daemon_beside_it(server):
    workspace = tomllib.loads((ROOT / "Cargo.toml").read_text())["workspace"]["package"]["version"]
    with goodwire.connect(server) as venue:
        assert goodwire.__version__ == importlib.metadata.version("goodwire") == workspace == venue.status().version


def test_the_package_says_that_it_is_typed_and_has_the_stubs():
    files = {str(file) for file in importlib.metadata.files("goodwire")}
    protos = {path.stem for path in (ROOT / "proto/goodwire/v1").glob("*.proto")}
    assert {"goodwire/py.typed"} | {f"goodwire/v1/{name}_pb2.py" for name in protos} <= files


def test_pandas_and_matplotlib_are_not_loaded_until_they_are_needed():
    check = "import sys, goodwire.aio; sys.exit(any(name in sys.modules for name in ('pandas', 'matplotlib')))"
    assert subprocess.run([sys.executable, "-c", check]).returncode == 0


def test_every_public_name_is_there_and_explained():
    for name in goodwire.__all__:
        found = getattr(goodwire, name)
        assert isinstance(found, str) or found.__doc__, name
    read_me = (ROOT / "clients/python/README.md").read_text()
    methods = {name for name in vars(goodwire.Client) if not name.startswith("_")}
    told = set(re.findall(r"`(\w+)\(", read_me))
    assert methods - {"close"} <= told, methods - told


def test_the_oldest_dependencies_that_are_tested_are_those_that_the_package_names():
    named = dict(re.findall(r"^([\w-]+)[^;]*>=([\d.]+)", "\n".join(importlib.metadata.requires("goodwire")), re.M))
    for line in (ROOT / "tests/python_client/oldest.txt").read_text().splitlines():
        name, equal, version = line.partition("==")
        if equal and name != "pytest":
            assert f"{version}.".startswith(f"{named[name]}."), line
