"""What a venue is made of, as its daemon tells it: status, links, analyses, rounds and their runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any

from google.protobuf import json_format

from ._errors import Unreadable
from ._reading import bare, optional, time_of
from .results import Figure, Finding, Outcome, Reason, figure_of, outcome_of, reason_of
from .v1 import analysis_pb2, judgement_pb2, measurement_pb2, rig_pb2, round_pb2


@dataclass(frozen=True)
class Status:
    """How the daemon is."""

    #: Version of the daemon.
    version: str
    site: str
    #: Back end of the interface: ``simulated``, ``jack``, ``alsa``.
    backend: str
    #: True where the interface is open.
    is_ready: bool
    #: What the interface says of itself.
    interface_text: str
    rate_hz: int
    simulated: bool
    link_count: int
    #: Why nothing may be played; None where there is no hold.
    hold: str | None
    #: When the permit ends; None where there is none.
    permit_until_time: datetime | None
    queued_count: int
    #: Names of the measurements that run now.
    running: tuple[str, ...]
    #: Highest peak of every send.
    max_send_dbfs: float


@dataclass(frozen=True)
class Check:
    """The last measurement of one analysis of a link."""

    analysis: str
    #: ``measurements/…``.
    measurement: str
    outcome: Outcome
    end_time: datetime | None


@dataclass(frozen=True)
class Link:
    """One wireless path under test."""

    name: str
    #: Number of the output that feeds it, from 1.
    send: int
    #: Number of the input that hears it, from 1.
    return_: int
    pad_db: float
    max_send_dbfs: float
    setup: Mapping[str, str]
    group: str
    #: Name of the table of channels that it can be set to; empty where it has none.
    channel_table: str
    checks: tuple[Check, ...]
    outcome: Outcome
    #: Until when rounds leave it out; None where they check it.
    excused_until_time: datetime | None


@dataclass(frozen=True)
class Parameter:
    """A parameter of an analysis."""

    id: str
    #: ``NUMBER``, ``WHOLE``, ``SWITCH``, ``CHOICE`` or ``NUMBERS``.
    kind: str
    unit: str
    text: str
    default: Any
    min: float | None
    max: float | None
    choices: tuple[str, ...]


@dataclass(frozen=True)
class FigureDescription:
    """A figure that an analysis can give."""

    id: str
    unit: str
    #: Names of its place, such as ``frequency_hz``; not each figure has all.
    at: tuple[str, ...]


@dataclass(frozen=True)
class CurveDescription:
    """A curve that an analysis can give."""

    id: str
    x_unit: str
    y_unit: str
    at: tuple[str, ...]


@dataclass(frozen=True)
class Analysis:
    """What can be measured."""

    id: str
    title: str
    summary: str
    #: True where it plays sound.
    plays: bool
    parameters: tuple[Parameter, ...]
    #: Empty where the plugin does not say.
    figures: tuple[FigureDescription, ...]
    curves: tuple[CurveDescription, ...]


@dataclass(frozen=True)
class RunCheck:
    """One analysis of one link in a run."""

    link: str
    analysis: str
    #: ``measurements/…``; empty where it could not be asked for.
    measurement: str
    outcome: Outcome
    reason: Reason | None
    #: The worst that its limits say, in a sentence.
    text: str


@dataclass(frozen=True)
class Run:
    """One run of a round, or a due date at which it did not run."""

    #: ``runs/…``.
    name: str
    round: str
    #: ``RUNNING``, ``ENDED`` or ``MISSED``.
    state: str
    outcome: Outcome
    reason: Reason | None
    due_time: datetime | None
    start_time: datetime | None
    end_time: datetime | None
    checks: tuple[RunCheck, ...]
    #: Likely causes, by link.
    findings: Mapping[str, tuple[Finding, ...]]
    #: Links that were left out because they are away.
    excused: tuple[str, ...]
    simulated: bool

    @property
    def is_over(self) -> bool:
        """True where nothing will change any more."""
        return self.state != "RUNNING"

    @property
    def exit_code(self) -> int:
        """The code of the monitoring-plugin convention."""
        return self.outcome.exit_code if self.state == "ENDED" else Outcome.UNMEASURED.exit_code


@dataclass(frozen=True)
class Round:
    """A named list of checks over links."""

    name: str
    #: When it is due, in words; empty where it runs on demand.
    schedule: str
    next_time: datetime | None
    links: tuple[str, ...]
    analyses: tuple[str, ...]
    last_run: Run | None


@dataclass(frozen=True)
class Baseline:
    """The measurement that later ones of a link and analysis are compared with."""

    link: str
    analysis: str
    #: ``measurements/…``.
    measurement: str
    create_time: datetime | None


@dataclass(frozen=True)
class TrendPoint:
    """One night of a history."""

    time: datetime | None
    value: float
    uncertainty: float | None
    #: ``measurements/…``.
    measurement: str


@dataclass(frozen=True)
class Trend:
    """The history of a figure, and the median of the slopes of all its pairs (Theil and Sen)."""

    unit: str
    points: tuple[TrendPoint, ...]
    #: In :attr:`unit` a week; None where there is too little to tell.
    slope_per_week: float | None
    #: Ends of its 95 % interval.
    slope_low: float | None
    slope_high: float | None
    text: str


@dataclass(frozen=True)
class News:
    """What is new of a measurement that is followed."""

    #: Share of the planned capture that is done, 0 to 1; None where this news is of something else.
    progress: float | None = None
    #: What is waited for, in a sentence.
    waiting: str = ""
    #: What the analysis reads just now; not part of the result.
    readings: tuple[Figure, ...] = ()


def status_of(message: rig_pb2.Status) -> Status:
    """Makes a status of what came over the wire."""
    interface = message.interface
    return Status(
        version=message.version,
        site=message.site,
        backend=interface.backend,
        is_ready=interface.state == rig_pb2.Interface.READY,
        interface_text=interface.text,
        rate_hz=interface.rate_hz,
        simulated=interface.simulated,
        link_count=message.link_count,
        hold=message.hold.text if message.HasField("hold") else None,
        permit_until_time=time_of(message.permit, "until_time") if message.HasField("permit") else None,
        queued_count=message.queued_count,
        running=tuple(one.name for one in message.running),
        max_send_dbfs=message.max_send_dbfs,
    )


def link_of(message: rig_pb2.Link) -> Link:
    """Makes a link of what came over the wire."""
    return Link(
        name=bare(message.name),
        send=message.send,
        return_=getattr(message, "return"),
        pad_db=message.pad_db,
        max_send_dbfs=message.max_send_dbfs,
        setup=MappingProxyType(dict(message.setup)),
        group=message.group,
        channel_table=message.channel_table,
        checks=tuple(
            Check(one.analysis, one.measurement, outcome_of(one.outcome), time_of(one, "end_time"))
            for one in message.checks
        ),
        outcome=outcome_of(message.outcome),
        excused_until_time=time_of(message.excuse, "until_time") if message.HasField("excuse") else None,
    )


def analysis_of(message: analysis_pb2.Analysis) -> Analysis:
    """Makes an analysis of what came over the wire."""
    return Analysis(
        id=bare(message.name),
        title=message.title,
        summary=message.summary,
        plays=message.plays,
        parameters=tuple(map(_parameter, message.parameters)),
        figures=tuple(FigureDescription(one.id, one.unit, tuple(one.at)) for one in message.figures),
        curves=tuple(CurveDescription(one.id, one.x_unit, one.y_unit, tuple(one.at)) for one in message.curves),
    )


def _parameter(message: analysis_pb2.Parameter) -> Parameter:
    default = json_format.MessageToDict(message.default_value) if message.HasField("default_value") else None
    return Parameter(
        id=message.id,
        kind=analysis_pb2.Parameter.Kind.Name(message.kind),
        unit=message.unit,
        text=message.text,
        default=default,
        min=optional(message, "min"),
        max=optional(message, "max"),
        choices=tuple(message.choices),
    )


def run_of(message: round_pb2.Run) -> Run:
    """Makes a run of what came over the wire."""
    if not message.name:
        raise Unreadable("a run without a name to")
    findings: dict[str, tuple[Finding, ...]] = {}
    for found in message.findings:
        finding = Finding(found.finding.id, found.finding.text)
        findings[bare(found.link)] = (*findings.get(bare(found.link), ()), finding)
    return Run(
        name=message.name,
        round=bare(message.round),
        state=round_pb2.Run.State.Name(message.state),
        outcome=outcome_of(message.outcome),
        reason=_reason(message),
        due_time=time_of(message, "due_time"),
        start_time=time_of(message, "start_time"),
        end_time=time_of(message, "end_time"),
        checks=tuple(
            RunCheck(bare(one.link), one.analysis, one.measurement, outcome_of(one.outcome), _reason(one), one.text)
            for one in message.checks
        ),
        findings=MappingProxyType(findings),
        excused=tuple(bare(one.link) for one in message.excuses),
        simulated=message.simulated,
    )


def round_of(message: round_pb2.Round) -> Round:
    """Makes a round of what came over the wire."""
    return Round(
        name=bare(message.name),
        schedule=message.schedule,
        next_time=time_of(message, "next_time"),
        links=tuple(map(bare, message.links)),
        analyses=tuple(one.analysis for one in message.checks),
        last_run=run_of(message.last_run) if message.HasField("last_run") else None,
    )


def baseline_of(message: judgement_pb2.Baseline) -> Baseline:
    """Makes a baseline of what came over the wire."""
    return Baseline(bare(message.link), message.analysis, message.measurement, time_of(message, "create_time"))


def trend_of(message: judgement_pb2.GetTrendResponse) -> Trend:
    """Makes a trend of what came over the wire."""
    points = tuple(
        TrendPoint(time_of(one, "time"), one.value, optional(one, "uncertainty"), one.measurement)
        for one in message.points
    )
    return Trend(
        unit=message.unit,
        points=points,
        slope_per_week=optional(message, "slope_per_week"),
        slope_low=optional(message, "slope_low"),
        slope_high=optional(message, "slope_high"),
        text=message.text,
    )


def news_of(message: measurement_pb2.WatchMeasurementResponse) -> News | None:
    """What is new, where it is not the measurement itself."""
    match message.WhichOneof("news"):
        case "progress":
            return News(progress=message.progress)
        case "waiting":
            return News(waiting=message.waiting)
        case "readings":
            return News(readings=tuple(map(figure_of, message.readings.figures)))
        case _:
            # The measurement itself, or news of a kind that only newer servers know.
            return None


def _reason(message: Any) -> Reason | None:
    return reason_of(message.reason) if message.HasField("reason") else None
