"""The trends of daemon/src/judge/tests/trends.rs against scipy.stats.theilslopes.

The values stand in the Rust test; this reads them from there, so that both hold the same numbers.
"""

import pathlib
import re

import numpy as np
import pytest
from scipy import stats

SOURCE = pathlib.Path(__file__).parents[2] / "daemon/src/judge/tests/trends.rs"
NUMBERS = r"([-0-9.e_,\s]+)"
CASE = re.compile(
    rf"values: &\[{NUMBERS}\],\s*slope: {NUMBERS}low: {NUMBERS}high: {NUMBERS}now: {NUMBERS}\}}"
)


def numbers(text):
    return [float(number) for number in text.replace("_", "").split(",") if number.strip()]


CASES = CASE.findall(SOURCE.read_text())


def test_there_are_three_cases():
    assert len(CASES) == 3


@pytest.mark.parametrize("case", CASES, ids=["14 nights", "60 nights", "31 nights with ties"])
def test_the_trends_in_the_rust_test_are_those_of_scipy(case):
    values = numbers(case[0])
    slope, low, high, now = (numbers(text)[0] for text in case[1:])
    weeks = np.arange(len(values)) * 0.2
    got = stats.theilslopes(values, weeks, 0.95)
    assert got.slope == pytest.approx(slope, abs=1e-12)
    assert (got.low_slope, got.high_slope) == pytest.approx((low, high), abs=1e-12)
    assert got.intercept + got.slope * weeks[-1] == pytest.approx(now, abs=1e-12)
