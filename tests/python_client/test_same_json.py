"""The Python face, the command line and the contract's JSON say the same of every analysis."""

import dataclasses
import json
import math

import numpy as np
import pytest

import goodwire
from daemon import goodwire as command_line

ANALYSES = [
    "channels",
    "response",
    "distortion",
    "noise",
    "latency",
    "level",
    "null",
    "crosstalk",
    "dropout",
    "endurance",
]
# It would take a day.
SETTINGS = {"endurance": {"longest_h": 0.002, "lost_after_s": 5}}


def test_every_analysis_of_the_daemon_is_compared_here(server):
    with goodwire.connect(server) as venue:
        assert sorted(ANALYSES) == sorted(analysis.id for analysis in venue.analyses())


def camel(name):
    head, *rest = name.split("_")
    return head + "".join(part.title() for part in rest)


def assert_same(value, written, where):
    """A value of the face against the JSON's: equal, and absent where it is none, empty or unset."""
    if written is None:
        assert value is None or (len(value) == 0 if hasattr(value, "__len__") else value in (0, 0.0, False)), where
    elif isinstance(value, (tuple, np.ndarray)):
        assert len(value) == len(written), where
        for index, pair in enumerate(zip(value, written)):
            assert_same(*pair, f"{where}[{index}]")
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            if not field.name.startswith("_"):
                assert_same(getattr(value, field.name), written.get(camel(field.name)), f"{where}.{field.name}")
    elif hasattr(value, "isoformat"):
        # The JSON has nanoseconds, Python's times microseconds.
        assert written[:23] == value.strftime("%Y-%m-%dT%H:%M:%S.%f")[:23], where
    elif hasattr(value, "items"):
        assert dict(value) == written, where
    elif isinstance(value, str):
        assert written == value or written == f"links/{value}", where
    else:
        assert written == value and not (isinstance(value, float) and math.isnan(value)), where


@pytest.mark.parametrize("analysis", ANALYSES)
def test_the_face_the_command_line_and_the_json_agree(venue, server, analysis):
    measurement = venue.measure("lectern", analysis, **SETTINGS.get(analysis, {})).require()
    assert measurement.figures, "nothing would be compared"
    done = command_line(server, "--json", "show", measurement.name)
    shown = json.loads(done.stdout)
    assert measurement.json() == shown
    assert_same(measurement, shown, analysis)
    for figure in measurement.figures:
        assert measurement.figure(figure.id, **figure.at) == figure
    for curve in measurement.curves:
        assert measurement.curve(curve.id, **curve.at) is curve
