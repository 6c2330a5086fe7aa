"""Curves as pictures, levels over frequency on the proportions of IEC 60263."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .results import Curve

#: IEC 60263 allows 10, 20, 25 or 50 dB for the length of a decade; this one is usual.
DB_PER_DECADE = 25.0
#: Less is not shown, in dB: a flat link is to look flat.
RANGE_DB_MIN = 25.0
#: What is marked on the frequency axis, in Hz: the preferred numbers 1, 2, 5 of ISO 3.
TICKS_HZ = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)

#: What stands along the lower edge, by its unit.
X_NAMES = {"Hz": "frequency", "s": "time", "dBFS": "level at the send"}


def plot_curve(curve: Curve, axes: Axes | None = None, **line: Any) -> Axes:
    """Draws a curve with the band of two uncertainties."""
    if axes is None:
        from matplotlib import pyplot

        axes = pyplot.subplots()[1]
    line.setdefault("label", curve.id)
    (drawn,) = axes.plot(curve.x, curve.y, **line)
    if curve.y_uncertainty.size:
        two = 2.0 * curve.y_uncertainty
        axes.fill_between(curve.x, curve.y - two, curve.y + two, color=drawn.get_color(), alpha=0.2, linewidth=0)
    axes.set_xlabel(f"{X_NAMES.get(curve.x_unit, '')} ({curve.x_unit})".strip())
    axes.set_ylabel(f"{curve.id} ({curve.y_unit})")
    axes.grid(True, which="both", alpha=0.3)
    if curve.x_unit == "Hz":
        _over_frequency(axes, curve)
    return axes


def _over_frequency(axes: Axes, curve: Curve) -> None:
    axes.set_xscale("log")
    low_hz, high_hz = axes.get_xlim()
    ticks = [tick for tick in TICKS_HZ if low_hz <= tick <= high_hz]
    axes.set_xticks(ticks, [f"{tick / 1000:g}k" if tick >= 1000 else str(tick) for tick in ticks])
    if curve.y_unit.startswith("dB"):
        _widen(axes)
        # Height by width of the box: what stands for a decade also stands for so many decibels.
        axes.set_box_aspect(_height_in_decades(axes) / np.log10(high_hz / low_hz))
        axes.set_title(f"IEC 60263: {DB_PER_DECADE:g} dB to a decade", loc="right", fontsize="small")


def _widen(axes: Axes) -> None:
    """Shows at least the least range, in whole steps of 5 dB."""
    low, high = axes.get_ylim()
    missing = max(0.0, RANGE_DB_MIN - (high - low))
    axes.set_ylim(5.0 * np.floor((low - missing / 2) / 5.0), 5.0 * np.ceil((high + missing / 2) / 5.0))


def _height_in_decades(axes: Axes) -> float:
    low, high = axes.get_ylim()
    return float((high - low) / DB_PER_DECADE)
