"""What `goodwire --json analyse` printed, with the figures and curves at hand."""

import numpy as np


class Result:
    """One measurement. `code` is the exit code, `error` what went to standard error."""

    def __init__(self, code, document, error):
        self.code, self.document, self.error = code, document, error

    def __repr__(self):
        shown = {k: v for k, v in self.document.items() if k in ("state", "reason", "figures", "notes")}
        return f"Result({self.code}, {shown}, {self.error.strip()!r})"

    @property
    def succeeded(self):
        return self.document.get("state") == "SUCCEEDED"

    @property
    def notes(self):
        """The ids of its notes."""
        return {note["id"] for note in self.document.get("notes", [])}

    @property
    def reason(self):
        """The id of why it failed."""
        return self.document.get("reason", {}).get("id")

    def figures(self, id):
        """All figures of an id."""
        return [f for f in self.document.get("figures", []) if f["id"] == id]

    def figure(self, id, **at):
        """The one figure of an id that was found at a place; numbers of the place to a thousandth."""
        found = [f for f in self.figures(id) if _stands_at(f.get("at", {}), at)]
        assert len(found) == 1, f"{len(found)} figures {id} at {at} in {self!r}"
        return found[0]

    def value(self, id, **at):
        """The value of one figure."""
        return self.figure(id, **at)["value"]

    def uncertainty(self, id, **at):
        """One standard deviation of one figure."""
        return self.figure(id, **at)["uncertainty"]

    def curve(self, id, key="y"):
        """x and y of the one curve of an id."""
        found = [c for c in self.document.get("curves", []) if c["id"] == id]
        assert len(found) == 1, f"{len(found)} curves {id} in {self!r}"
        return np.array(found[0]["x"]), np.array(found[0][key])


def _stands_at(place, asked):
    return all(
        name in place and (place[name] == value or abs(place[name] - value) <= 1e-3 * abs(value))
        for name, value in asked.items()
    )
