"""What measurements are made of: frozen, with units in the names."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from google.protobuf import json_format
from numpy.typing import NDArray

from ._errors import Failed, UnknownName, Unreadable
from ._reading import array, bare, optional, place_of, time_of
from ._words import Word, with_uncertainty
from .radio import ChannelPlan, channel_plan_of
from .v1 import measurement_pb2 as wire
from .v1 import result_pb2 as wire_result

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

#: A number or a name by what it says: ``{"from_hz": 20.0, "to_hz": 63.0}``.
Place = Mapping[str, float | str | bool]


class State(Word):
    """Where in its life a measurement is."""

    QUEUED = "QUEUED"
    RUNNING = "RUNNING"
    SUCCEEDED = "SUCCEEDED"
    FAILED = "FAILED"
    CANCELLED = "CANCELLED"
    #: A state that this client is too old to know.
    UNKNOWN = "UNKNOWN"


class Outcome(Word):
    """What limits and baseline say."""

    #: No limit applies.
    NONE = "NONE"
    PASS = "PASS"
    DRIFT = "DRIFT"
    FAIL = "FAIL"
    UNMEASURED = "UNMEASURED"

    @property
    def exit_code(self) -> int:
        """The code of the monitoring-plugin convention: 0 pass, 1 drift, 2 fail, 3 unmeasured."""
        return {"NONE": 0, "PASS": 0, "DRIFT": 1, "FAIL": 2}.get(self.value, 3)


@dataclass(frozen=True)
class Figure:
    """A number with its uncertainty."""

    id: str
    #: In :attr:`unit`.
    value: float
    #: One standard deviation, in :attr:`unit`; None where the interval is not symmetric.
    uncertainty: float | None
    #: Lower end of the 95 % interval, where it is not symmetric.
    low: float | None
    #: Upper end of it.
    high: float | None
    unit: str
    #: What was asked for, and where it was found.
    at: Place

    def __str__(self) -> str:
        if self.uncertainty is not None:
            return f"{with_uncertainty(self.value, self.uncertainty)} {self.unit}".rstrip()
        if self.low is not None and self.high is not None:
            return f"{self.value:g} ({self.low:g} to {self.high:g}) {self.unit}".rstrip()
        return f"{self.value:g} {self.unit}".rstrip()


@dataclass(frozen=True, eq=False)
class Curve:
    """A series, as NumPy arrays that cannot be written to."""

    id: str
    x_unit: str
    y_unit: str
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    #: One standard deviation of each y; empty where none is known.
    y_uncertainty: NDArray[np.float64]
    at: Place

    def to_pandas(self) -> pandas.DataFrame:
        """The curve as a table; needs pandas."""
        from ._tables import curve_frame

        return curve_frame(self)

    def plot(self, axes: Axes | None = None, **line: Any) -> Axes:
        """Draws the curve, levels over frequency on the proportions of IEC 60263; needs matplotlib."""
        from ._plots import plot_curve

        return plot_curve(self, axes, **line)


@dataclass(frozen=True)
class Event:
    """Something that happened at a time."""

    id: str
    #: From the first frame that was played or returned.
    start_s: float | None
    duration_s: float | None
    at: Place
    text: str


@dataclass(frozen=True)
class Note:
    """What has to be known to read the figures rightly."""

    #: ``INFO`` or ``WARNING``.
    level: str
    id: str
    text: str


@dataclass(frozen=True)
class Reason:
    """Why there is no result."""

    id: str
    text: str
    #: ``link`` or ``reference``, whose sound it speaks of; empty where it is neither's.
    channel: str = ""


@dataclass(frozen=True)
class Finding:
    """A likely cause, and what to do about it."""

    id: str
    text: str


@dataclass(frozen=True)
class Judgement:
    """What one limit says of one figure or curve."""

    figure: str
    curve: str
    at: Place
    outcome: Outcome
    text: str


@dataclass(frozen=True)
class Verdict:
    """What all limits and the baseline say."""

    outcome: Outcome
    judgements: tuple[Judgement, ...]


@dataclass(frozen=True)
class Sound:
    """A sound of a result that can be listened to."""

    id: str
    rate_hz: int
    frame_count: int


@dataclass(frozen=True, eq=False)
class Measurement:
    """One run of an analysis on a link, or on recordings."""

    #: ``measurements/…``.
    name: str
    #: The bare name of the link; empty for recordings of no link.
    link: str
    analysis: str
    state: State
    simulated: bool
    recorded: bool
    reason: Reason | None
    figures: tuple[Figure, ...]
    curves: tuple[Curve, ...]
    events: tuple[Event, ...]
    notes: tuple[Note, ...]
    verdict: Verdict | None
    findings: tuple[Finding, ...]
    #: Share of the planned capture that is done, 0 to 1.
    progress: float
    create_time: datetime | None
    start_time: datetime | None
    end_time: datetime | None
    #: Every parameter with the value that was used.
    parameters: Mapping[str, Any]
    setup: Mapping[str, str]
    match: str
    is_match: bool
    sounds: tuple[Sound, ...]
    #: Of the analysis ``channels``; None of all others.
    channel_plan: ChannelPlan | None
    _wire: wire.Measurement = field(repr=False)

    @property
    def is_over(self) -> bool:
        """True where nothing will change any more."""
        return self.state in (State.SUCCEEDED, State.FAILED, State.CANCELLED)

    @property
    def outcome(self) -> Outcome:
        """What the limits say; UNMEASURED where there is no result."""
        if self.state is not State.SUCCEEDED:
            return Outcome.UNMEASURED
        return self.verdict.outcome if self.verdict else Outcome.NONE

    @property
    def exit_code(self) -> int:
        """The code of the monitoring-plugin convention, as the command line exits with it."""
        return self.outcome.exit_code

    def require(self) -> Measurement:
        """Itself where it succeeded; else raises :class:`Failed` with its reason."""
        if self.state is State.SUCCEEDED:
            return self
        reason = self.reason or Reason("not-over", f"it is {self.state.value}")
        raise Failed(f"{self.analysis} of {self.link or 'recordings'}: {reason.text}", reason=reason.id)

    def figure(self, id: str, **at: float | str) -> Figure:
        """The figure of that id, and of that place: ``figure("thd", frequency_hz=997)``.

        Raises :class:`UnknownName` where there is none, or several fit; the message names what there is.
        """
        fitting = [one for one in self.figures if one.id == id and _fits(one.at, at)]
        if len(fitting) == 1:
            return fitting[0]
        places = [dict(one.at) for one in self.figures if one.id == id]
        there = f"it is there at {places}" if places else self._names(one.id for one in self.figures)
        what = f"figure `{id}`" + (f" at {at}" if at else "")
        raise UnknownName(f"{'several fit' if fitting else 'there is no'} {what} in {self.name}: {there}")

    def curve(self, id: str, **at: float | str) -> Curve:
        """The curve of that id and place, as :meth:`figure`."""
        fitting = [one for one in self.curves if one.id == id and _fits(one.at, at)]
        if len(fitting) == 1:
            return fitting[0]
        there = self._names(one.id for one in self.curves)
        raise UnknownName(
            f"{'several fit' if fitting else 'there is no'} curve `{id}` in {self.name}: {there}"
        )

    def _names(self, ids: Iterable[str]) -> str:
        if self.state is not State.SUCCEEDED:
            return f"it is {self.state.value}" + (f", {self.reason.text}" if self.reason else "")
        return f"there are {sorted(set(ids))}"

    def json(self) -> dict[str, Any]:
        """The canonical proto3 JSON, as ``goodwire --json show`` prints it."""
        document: dict[str, Any] = json.loads(json_format.MessageToJson(self._wire))
        return document

    def to_pandas(self) -> pandas.DataFrame:
        """The figures as a table, a row each; needs pandas."""
        from ._tables import figures_frame

        return figures_frame(self)

    def plot(self) -> Axes:
        """Draws the first curve; needs matplotlib."""
        if not self.curves:
            raise UnknownName(f"{self.name} has no curves")
        return self.curves[0].plot()

    def __str__(self) -> str:
        from ._tables import measurement_text

        return measurement_text(self)

    def _repr_html_(self) -> str:
        from ._tables import measurement_html

        return measurement_html(self)


def measurement_of(message: wire.Measurement) -> Measurement:
    """Makes a measurement of what came over the wire."""
    if not message.name:
        raise Unreadable("a measurement without a name to")
    verdict = None
    if message.HasField("verdict"):
        judged = tuple(_judgement(one) for one in message.verdict.judgements)
        verdict = Verdict(outcome_of(message.verdict.outcome), judged)
    return Measurement(
        name=message.name,
        link=bare(message.link),
        analysis=message.analysis,
        state=_state(message.state),
        simulated=message.simulated,
        recorded=message.recorded,
        reason=reason_of(message.reason) if message.HasField("reason") else None,
        figures=tuple(map(figure_of, message.figures)),
        curves=tuple(map(_curve, message.curves)),
        events=tuple(map(_event, message.events)),
        notes=tuple(Note(_level(one.level), one.id, one.text) for one in message.notes),
        verdict=verdict,
        findings=tuple(Finding(one.id, one.text) for one in message.findings),
        progress=message.progress,
        create_time=time_of(message, "create_time"),
        start_time=time_of(message, "start_time"),
        end_time=time_of(message, "end_time"),
        parameters=place_of(message.parameters),
        setup=MappingProxyType(dict(message.setup)),
        match=message.match,
        is_match=message.is_match,
        sounds=tuple(Sound(one.id, one.rate_hz, one.frame_count) for one in message.sounds),
        channel_plan=channel_plan_of(message.channel_plan) if message.HasField("channel_plan") else None,
        _wire=message,
    )


def reason_of(message: wire_result.Reason) -> Reason:
    """Makes a reason of what came over the wire."""
    return Reason(message.id, message.text, message.channel)


def figure_of(message: wire_result.Figure) -> Figure:
    """Makes a figure of what came over the wire."""
    return Figure(
        id=message.id,
        value=message.value,
        uncertainty=optional(message, "uncertainty"),
        low=optional(message, "low"),
        high=optional(message, "high"),
        unit=message.unit,
        at=place_of(message.at),
    )


def _curve(message: wire_result.Curve) -> Curve:
    return Curve(
        id=message.id,
        x_unit=message.x_unit,
        y_unit=message.y_unit,
        x=array(message.x),
        y=array(message.y),
        y_uncertainty=array(message.y_uncertainty),
        at=place_of(message.at),
    )


def _event(message: wire_result.Event) -> Event:
    start_s, duration_s = optional(message, "start_s"), optional(message, "duration_s")
    return Event(message.id, start_s, duration_s, place_of(message.at), message.text)


def _judgement(message: wire_result.Judgement) -> Judgement:
    outcome = outcome_of(message.outcome)
    return Judgement(message.figure, message.curve, place_of(message.at), outcome, message.text)


def outcome_of(number: int) -> Outcome:
    """The outcome of its number; one that a newer server knows is none that we could vouch for."""
    known = {0: Outcome.NONE, 1: Outcome.PASS, 2: Outcome.DRIFT, 3: Outcome.FAIL}
    return known.get(number, Outcome.UNMEASURED)


def _state(number: int) -> State:
    known = {1: State.QUEUED, 2: State.RUNNING, 3: State.SUCCEEDED, 4: State.FAILED, 5: State.CANCELLED}
    return known.get(number, State.UNKNOWN)


def _level(number: int) -> str:
    return "WARNING" if number == wire_result.Note.WARNING else "INFO"


def _fits(place: Place, asked: Mapping[str, float | str]) -> bool:
    return all(name in place and place[name] == value for name, value in asked.items())
