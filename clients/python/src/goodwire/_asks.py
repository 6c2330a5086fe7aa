"""Every call of the API as a value: where it goes, what is sent, how the answer is read.

The client that waits and the asyncio one only differ in how they send these.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Generic, TypeVar

import numpy as np
from google.protobuf.message import Message
from numpy.typing import NDArray

from . import rig
from ._errors import Refused, Unreadable
from ._reading import time_of
from ._requests import PAGE_SIZE_MAX, QUICK_S, SLOW_S, struct, timestamp, whole_rate_hz
from .live import ReturnLevel, Wiring, levels_of, wiring_of
from .results import Measurement, Outcome, measurement_of
from .v1 import (
    analysis_pb2,
    judgement_pb2,
    level_pb2,
    measurement_pb2,
    report_pb2,
    rig_pb2,
    round_pb2,
    watch_pb2,
    wiring_pb2,
)

T = TypeVar("T")


@dataclass(frozen=True)
class Ask(Generic[T]):
    """One request with one answer."""

    path: str
    request: Message
    answer: type[Message]
    read: Callable[[Any], T]
    timeout_s: float = QUICK_S


@dataclass(frozen=True)
class Listing(Generic[T]):
    """A list in pages."""

    path: str
    request: Any
    answer: type[Message]
    #: Name of the answer's field that has the items.
    items: str
    read: Callable[[Any], T]

    def page(self, page_token: str) -> Ask[tuple[list[T], str]]:
        """The page of a token; gives its items and the token of the next one."""
        request = type(self.request)()
        request.CopyFrom(self.request)
        request.page_size, request.page_token = PAGE_SIZE_MAX, page_token

        def read(answer: Any) -> tuple[list[T], str]:
            return [self.read(item) for item in getattr(answer, self.items)], answer.next_page_token

        return Ask(self.path, request, self.answer, read)


@dataclass(frozen=True)
class Stream(Generic[T]):
    """One request with many answers."""

    path: str
    request: Message
    answer: type[Message]
    read: Callable[[Any], T]
    #: None: as long as it takes.
    timeout_s: float | None = None


def _path(service: str, method: str) -> str:
    return f"/goodwire.v1.{service}/{method}"


def status() -> Ask[rig.Status]:
    path = _path("RigService", "GetStatus")
    return Ask(path, rig_pb2.GetStatusRequest(), rig_pb2.Status, rig.status_of)


def links() -> Listing[rig.Link]:
    path = _path("RigService", "ListLinks")
    return Listing(path, rig_pb2.ListLinksRequest(), rig_pb2.ListLinksResponse, "links", rig.link_of)


def analyses() -> Ask[tuple[rig.Analysis, ...]]:
    def read(answer: analysis_pb2.ListAnalysesResponse) -> tuple[rig.Analysis, ...]:
        return tuple(map(rig.analysis_of, answer.analyses))

    path = _path("AnalysisService", "ListAnalyses")
    return Ask(path, analysis_pb2.ListAnalysesRequest(), analysis_pb2.ListAnalysesResponse, read)


def measure(request: measurement_pb2.MeasureRequest) -> Ask[tuple[Measurement, ...]]:
    def read(answer: measurement_pb2.MeasureResponse) -> tuple[Measurement, ...]:
        if not answer.measurements:
            raise Unreadable("no measurement to")
        return tuple(map(measurement_of, answer.measurements))

    path = _path("MeasurementService", "Measure")
    return Ask(path, request, measurement_pb2.MeasureResponse, read, SLOW_S)


def measurement(name: str) -> Ask[Measurement]:
    path = _path("MeasurementService", "GetMeasurement")
    request = measurement_pb2.GetMeasurementRequest(name=name)
    return Ask(path, request, measurement_pb2.Measurement, measurement_of)


def cancel(name: str) -> Ask[Measurement]:
    path = _path("MeasurementService", "CancelMeasurement")
    request = measurement_pb2.CancelMeasurementRequest(name=name)
    return Ask(path, request, measurement_pb2.Measurement, measurement_of)


def mark(name: str, metres: float | None, label: str) -> Ask[float]:
    path = _path("WatchService", "MarkMeasurement")
    # With an id of its own, so that one that is asked again is one mark.
    request = watch_pb2.MarkMeasurementRequest(name=name, metres=metres, label=label, request_id=str(uuid.uuid4()))
    return Ask(path, request, watch_pb2.MarkMeasurementResponse, lambda answer: float(answer.start_s))


def finish(name: str) -> Ask[Measurement]:
    path = _path("WatchService", "FinishMeasurement")
    request = watch_pb2.FinishMeasurementRequest(name=name)
    return Ask(path, request, measurement_pb2.Measurement, measurement_of)


def levels() -> Stream[tuple[ReturnLevel, ...]]:
    path = _path("LevelService", "WatchLevels")
    return Stream(path, level_pb2.WatchLevelsRequest(), level_pb2.WatchLevelsResponse, levels_of)


def wiring(present: bool, timeout_s: float) -> Ask[Wiring]:
    path = _path("WiringService", "CheckWiring")
    request = wiring_pb2.CheckWiringRequest(present=present)
    return Ask(path, request, wiring_pb2.Wiring, wiring_of, timeout_s)


def watch(name: str) -> Stream[Measurement | rig.News | None]:
    def read(answer: measurement_pb2.WatchMeasurementResponse) -> Measurement | rig.News | None:
        return measurement_of(answer.measurement) if answer.HasField("measurement") else rig.news_of(answer)

    path = _path("MeasurementService", "WatchMeasurement")
    request = measurement_pb2.WatchMeasurementRequest(name=name)
    return Stream(path, request, measurement_pb2.WatchMeasurementResponse, read)


def results(
    link: str, analysis: str, since: datetime | timedelta | None, outcome: Outcome | None
) -> Listing[Measurement]:
    path = _path("MeasurementService", "ListMeasurements")
    if outcome is Outcome.NONE:
        raise Refused("results without any verdict cannot be asked for: leave `outcome` out and choose from all")
    request = measurement_pb2.ListMeasurementsRequest(
        link=link,
        analysis=analysis,
        since_time=timestamp(since),
        outcome=None if outcome is None else Outcome(outcome).value,
    )
    answer = measurement_pb2.ListMeasurementsResponse
    return Listing(path, request, answer, "measurements", measurement_of)


def stimulus(analysis: str, rate_hz: int, parameters: Mapping[str, Any]) -> Stream[Any]:
    path = _path("AnalysisService", "StreamStimulus")
    request = analysis_pb2.StreamStimulusRequest(
        analysis=analysis, parameters=struct(parameters), rate_hz=whole_rate_hz("the stimulus", rate_hz)
    )
    # The header's samples are none.
    return Stream(path, request, analysis_pb2.StreamStimulusResponse, lambda piece: piece.samples.samples, SLOW_S)


def sound(name: str, id: str) -> Stream[Any]:
    path = _path("MeasurementService", "ReadSound")
    request = measurement_pb2.ReadSoundRequest(name=name, sound=id)
    return Stream(path, request, measurement_pb2.ReadSoundResponse, lambda piece: piece.samples, SLOW_S)


def joined(pieces: Iterable[Any]) -> NDArray[np.float32]:
    """The samples of all pieces."""
    return np.concatenate([np.empty(0, dtype=np.float32), *(np.array(piece, dtype=np.float32) for piece in pieces)])


def rounds() -> Ask[tuple[rig.Round, ...]]:
    def read(answer: round_pb2.ListRoundsResponse) -> tuple[rig.Round, ...]:
        return tuple(map(rig.round_of, answer.rounds))

    path = _path("RoundService", "ListRounds")
    return Ask(path, round_pb2.ListRoundsRequest(), round_pb2.ListRoundsResponse, read)


def run_round(request: round_pb2.RunRoundRequest) -> Ask[rig.Run]:
    return Ask(_path("RoundService", "RunRound"), request, round_pb2.Run, rig.run_of)


def run(name: str) -> Ask[rig.Run]:
    return Ask(_path("RoundService", "GetRun"), round_pb2.GetRunRequest(name=name), round_pb2.Run, rig.run_of)


def runs(round: str, since: datetime | timedelta | None) -> Listing[rig.Run]:
    path = _path("RoundService", "ListRuns")
    request = round_pb2.ListRunsRequest(round=round, since_time=timestamp(since))
    return Listing(path, request, round_pb2.ListRunsResponse, "runs", rig.run_of)


def watch_run(name: str) -> Stream[rig.Run]:
    path = _path("RoundService", "WatchRun")
    request = round_pb2.WatchRunRequest(name=name)
    return Stream(path, request, round_pb2.WatchRunResponse, lambda news: rig.run_of(news.run))


def cancel_run(name: str) -> Ask[rig.Run]:
    request = round_pb2.CancelRunRequest(name=name)
    return Ask(_path("RoundService", "CancelRun"), request, round_pb2.Run, rig.run_of)


def report(names: Iterable[str]) -> Stream[bytes]:
    path = _path("ReportService", "RenderReport")
    request = report_pb2.RenderReportRequest(names=list(names))
    return Stream(path, request, report_pb2.RenderReportResponse, lambda piece: bytes(piece.html), SLOW_S)


def draw_channel_plan(name: str) -> Ask[bytes]:
    request = report_pb2.DrawChannelPlanRequest(name=name)
    path = _path("ReportService", "DrawChannelPlan")
    return Ask(path, request, report_pb2.DrawChannelPlanResponse, lambda answer: bytes(answer.svg))


def hold(reason: str) -> Ask[int]:
    path = _path("RigService", "Hold")
    return Ask(path, rig_pb2.HoldRequest(text=reason), rig_pb2.HoldResponse, lambda answer: int(answer.ended_count))


def release() -> Ask[bool]:
    path = _path("RigService", "Release")
    return Ask(path, rig_pb2.ReleaseRequest(), rig_pb2.ReleaseResponse, lambda answer: bool(answer.was_held))


def permit(until: datetime | timedelta | None, reason: str) -> Ask[datetime | None]:
    path = _path("RigService", "Permit")
    request = rig_pb2.PermitRequest(until_time=timestamp(until, ahead=True), text=reason)
    return Ask(path, request, rig_pb2.PermitState, lambda answer: time_of(answer, "until_time"))


def withdraw_permit() -> Ask[bool]:
    path = _path("RigService", "WithdrawPermit")
    answer = rig_pb2.WithdrawPermitResponse
    return Ask(path, rig_pb2.WithdrawPermitRequest(), answer, lambda answer: bool(answer.was_permitted))


def excuse(link: str, until: datetime | timedelta | None, reason: str) -> Ask[rig.Link]:
    path = _path("RigService", "ExcuseLink")
    request = rig_pb2.ExcuseLinkRequest(name=link, until_time=timestamp(until, ahead=True), text=reason)
    return Ask(path, request, rig_pb2.Link, rig.link_of)


def stop() -> Ask[int]:
    path = _path("RigService", "Stop")
    return Ask(path, rig_pb2.StopRequest(), rig_pb2.StopResponse, lambda answer: int(answer.cancelled_count))


def baselines() -> Listing[rig.Baseline]:
    path = _path("JudgementService", "ListBaselines")
    request, answer = judgement_pb2.ListBaselinesRequest(), judgement_pb2.ListBaselinesResponse
    return Listing(path, request, answer, "baselines", rig.baseline_of)


def set_baseline(name: str) -> Ask[rig.Baseline]:
    path = _path("JudgementService", "SetBaseline")
    request = judgement_pb2.SetBaselineRequest(measurement=name)
    return Ask(path, request, judgement_pb2.Baseline, rig.baseline_of)


def clear_baseline(link: str, analysis: str) -> Ask[None]:
    path = _path("JudgementService", "ClearBaseline")
    request = judgement_pb2.ClearBaselineRequest(link=link, analysis=analysis)
    return Ask(path, request, judgement_pb2.ClearBaselineResponse, lambda answer: None)


def trend(
    link: str, analysis: str, figure: str, at: Mapping[str, Any], since: datetime | timedelta | None
) -> Ask[rig.Trend]:
    path = _path("JudgementService", "GetTrend")
    request = judgement_pb2.GetTrendRequest(
        link=link, analysis=analysis, figure=figure, since_time=timestamp(since), at=struct(at) if at else None
    )
    return Ask(path, request, judgement_pb2.GetTrendResponse, rig.trend_of)
