"""Measurements as tables: for pandas, and for notebooks."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas

    from .results import Curve, Measurement, Place

#: So many figures are shown in a notebook; the rest is counted.
ROWS_SHOWN = 12
#: Verdicts as shapes beside their words, so that nothing is told by colour.
SHAPES = {"PASS": "✓", "DRIFT": "≈", "FAIL": "✗", "UNMEASURED": "?", "NONE": "·"}


def figures_frame(measurement: Measurement) -> pandas.DataFrame:
    """A row a figure; each name of a place is a column of its own."""
    import pandas

    rows = [
        {
            "figure": one.id,
            **{f"at_{name}": value for name, value in one.at.items()},
            "value": one.value,
            "uncertainty": one.uncertainty,
            "low": one.low,
            "high": one.high,
            "unit": one.unit,
        }
        for one in measurement.figures
    ]
    return pandas.DataFrame(rows)


def curve_frame(curve: Curve) -> pandas.DataFrame:
    """Columns with their units in the names."""
    import pandas

    columns = {f"x ({curve.x_unit})": curve.x, f"{curve.id} ({curve.y_unit})": curve.y}
    if curve.y_uncertainty.size:
        columns[f"uncertainty ({curve.y_unit})"] = curve.y_uncertainty
    return pandas.DataFrame(columns)


def measurement_html(measurement: Measurement) -> str:
    """A small table: what was measured, what it says, and its first figures."""
    head = _head(measurement)
    rows = [_row(one.id, _place(one.at), str(one)) for one in measurement.figures[:ROWS_SHOWN]]
    more = len(measurement.figures) - ROWS_SHOWN
    if more > 0:
        rows.append(_row(f"and {more} more", "", ""))
    if measurement.reason:
        rows.append(_row(measurement.reason.id, "", measurement.reason.text))
    rows += [_row("likely", "", one.text) for one in measurement.findings]
    return f"<table><caption>{escape(head)}</caption>{''.join(rows)}</table>"


def measurement_text(measurement: Measurement) -> str:
    """The same in lines, with all figures."""
    lines = [_head(measurement)]
    for one in measurement.figures:
        at = f" at {_place(one.at)}" if one.at else ""
        lines.append(f"  {one.id}{at}: {one}")
    if measurement.reason:
        lines.append(f"  {measurement.reason.id}: {measurement.reason.text}")
    lines += [f"  likely: {one.text}" for one in measurement.findings]
    return "\n".join(lines)


def _head(measurement: Measurement) -> str:
    """What was measured, and what it says."""
    outcome = str(measurement.outcome)
    said = f"{SHAPES.get(outcome, '')} {outcome.lower()}"
    simulated = ", simulated" if measurement.simulated else ""
    return f"{measurement.analysis} of {measurement.link or 'recordings'}: {said}{simulated}"


def _row(*cells: str) -> str:
    return f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in cells)}</tr>"


def _place(at: Place) -> str:
    rest = dict(at)
    band = []
    if rest.keys() >= {"from_hz", "to_hz"}:
        band = [f"{_short(rest.pop('from_hz'))} to {_short(rest.pop('to_hz'))} Hz"]
    return ", ".join([*band, *(f"{name} {_short(value)}" for name, value in rest.items())])


def _short(value: float | str | bool) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)
