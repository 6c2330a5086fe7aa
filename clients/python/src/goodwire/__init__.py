"""Asks a goodwired whether wireless audio links are still as good as the cable they replaced.

    import goodwire

    with goodwire.connect() as venue:
        measurement = venue.measure("lectern", "latency", present=True)
        print(measurement.figure("latency"))

The same with asyncio is in :mod:`goodwire.aio`.
"""

from ._errors import (
    Busy,
    Failed,
    GoodwireError,
    NotPermitted,
    NotRunning,
    NotSupported,
    Refused,
    TimedOut,
    UnknownName,
    Violation,
)
from ._version import PACKAGE_VERSION as __version__
from .client import Client, Handle
from .live import ReturnLevel, Wiring, WiringFault, WiringPair
from .radio import Certainty, ChannelPlan, OccupiedBand, PlannedLink, RadioChannel, Survey
from .recordings import Mark, Recording
from .results import Curve, Event, Figure, Finding, Measurement, Note, Outcome, Reason, State, Verdict
from .rig import Analysis, Baseline, Link, News, Round, Run, Status, Trend

__all__ = [
    "Analysis",
    "Baseline",
    "Busy",
    "Certainty",
    "ChannelPlan",
    "Client",
    "Curve",
    "Event",
    "Failed",
    "Figure",
    "Finding",
    "GoodwireError",
    "Handle",
    "Link",
    "Mark",
    "Measurement",
    "News",
    "NotPermitted",
    "NotRunning",
    "NotSupported",
    "Note",
    "OccupiedBand",
    "Outcome",
    "PlannedLink",
    "RadioChannel",
    "Reason",
    "Recording",
    "Refused",
    "ReturnLevel",
    "Round",
    "Run",
    "State",
    "Status",
    "Survey",
    "TimedOut",
    "Trend",
    "UnknownName",
    "Verdict",
    "Violation",
    "Wiring",
    "WiringFault",
    "WiringPair",
    "__version__",
    "connect",
]


def connect(server: str | None = None) -> Client:
    """Connects to ``unix:PATH`` or ``http://HOST:PORT``; else to ``GOODWIRE_SERVER``, else to the
    socket of the user's or the system's own daemon. Nothing is sent until something is asked."""
    return Client(server)
