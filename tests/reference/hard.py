"""How many cases are run: few by default, all of them with GOODWIRE_HARD=1."""

import os

HARD = os.environ.get("GOODWIRE_HARD") == "1"


def cases(always, *more):
    """The cases of a parametrised test."""
    return [*always, *more] if HARD else list(always)
