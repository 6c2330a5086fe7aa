"""How values are written for people."""

from __future__ import annotations

from enum import Enum
from math import floor, log10

#: More are not written, however small the uncertainty is.
_DECIMALS_MAX = 6


class Word(str, Enum):
    """A value out of a list that is printed as its word alone, by every version of Python."""

    def __str__(self) -> str:
        return str(self.value)

    def __format__(self, format_spec: str) -> str:
        return format(str(self), format_spec)


def with_uncertainty(value: float, uncertainty: float) -> str:
    """Both with as many decimals as two digits of the uncertainty have."""
    if not uncertainty > 0.0:
        return f"{value:g} ± {uncertainty:g}"
    decimals = min(max(1 - floor(log10(uncertainty)), 0), _DECIMALS_MAX)
    # Adding zero makes the -0.00 that rounding may leave a plain one.
    return f"{round(value, decimals) + 0.0:.{decimals}f} ± {uncertainty:.2g}"
