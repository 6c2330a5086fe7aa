"""Radio channels: what was surveyed in the air, and the plan of the analysis ``channels``."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Any

from ._errors import Refused
from ._reading import bare, optional
from ._words import Word
from .v1 import radio_pb2 as wire


@dataclass(frozen=True)
class Survey:
    """What somebody wrote down of what is in the air; a file is given by its path alone."""

    #: By hand, a spectrum as CSV, or what ``iw dev … scan`` prints.
    text: str
    #: ``TYPED``, ``SPECTRUM`` or ``SCAN``; empty: the text tells.
    form: str = ""
    #: When it ended, with a zone, or how long ago; None: nobody knows, which a note says.
    ended: datetime | timedelta | None = None
    #: Where it comes from, for messages.
    origin: str = ""


#: A :class:`Survey`, or the path of a file with one, which is as old as the file.
SurveySource = str | os.PathLike[str] | Survey


class Certainty(Word):
    """How sure something is."""

    #: Everything was searched: nothing better exists.
    EXACT = "EXACT"
    #: Something better may exist.
    HEURISTIC = "HEURISTIC"
    #: A word that this client is too old to know.
    UNKNOWN = "UNKNOWN"


@dataclass(frozen=True)
class RadioChannel:
    """A channel of the link's own table."""

    name: str
    low_mhz: float
    high_mhz: float


@dataclass(frozen=True)
class PlannedLink:
    """A link and the channel that it should be set to."""

    #: The bare name; empty for one that is planned for and not there yet.
    link: str
    #: Empty where none was left.
    channel: str
    low_mhz: float | None
    high_mhz: float | None
    #: What it is set to now; empty where nobody said.
    channel_now: str
    #: It stays where it is, and the others are planned round it.
    is_fixed: bool


@dataclass(frozen=True)
class OccupiedBand:
    """Somebody else's transmission."""

    name: str
    low_mhz: float
    high_mhz: float
    level_dbm: float | None
    #: ``configuration``, or where the survey comes from.
    origin: str


@dataclass(frozen=True)
class ChannelPlan:
    """Which channels links should be set to. What may be used where is the law of the place."""

    #: The whole table of the link.
    channels: tuple[RadioChannel, ...]
    links: tuple[PlannedLink, ...]
    occupied: tuple[OccupiedBand, ...]
    #: Centres of third-order products near the table, rising.
    product_mhz: tuple[float, ...]
    #: Whether a better plan may exist.
    certainty: Certainty
    #: How many links fit cleanly; at least so many where ``fitting_certainty`` is HEURISTIC.
    fitting_count: int
    fitting_certainty: Certainty
    #: How many were to be placed.
    wanted_count: int
    #: What is bad about the plan, a sentence each; empty where it is clean.
    flaws: tuple[str, ...]
    #: Least distance from what is occupied, negative inside; None where nothing is.
    separation_mhz_least: float | None


def survey_message(survey: SurveySource | None) -> wire.RadioSurvey | None:
    """A survey as it is sent."""
    if survey is None:
        return None
    if not isinstance(survey, Survey):
        survey = _read(survey)
    if survey.form not in ("", *_FORMS):
        raise Refused(f"the survey's form is {survey.form!r}: {', '.join(_FORMS)}, or leave it out")
    message = wire.RadioSurvey(text=survey.text, form=survey.form or None, origin=survey.origin)
    ended = survey.ended
    if isinstance(ended, timedelta):
        ended = datetime.now(timezone.utc) - ended
    if ended is not None:
        if ended.tzinfo is None:
            raise Refused(f"{ended} has no zone: datetime.now(timezone.utc) and the like have one")
        message.end_time.FromDatetime(ended)
    return message


_FORMS = tuple(wire.RadioSurvey.Form.keys()[1:])


def _read(path: str | os.PathLike[str]) -> Survey:
    try:
        with open(path, encoding="utf-8", errors="replace") as file:
            text = file.read()
            written_s = os.fstat(file.fileno()).st_mtime
    except OSError as error:
        raise Refused(f"the survey {os.fspath(path)} cannot be read: {error.strerror}") from error
    return Survey(text, ended=datetime.fromtimestamp(written_s, timezone.utc), origin=os.fspath(path))


def channel_plan_of(message: wire.ChannelPlan) -> ChannelPlan:
    """Makes a plan of what came over the wire."""
    return ChannelPlan(
        channels=tuple(RadioChannel(one.name, one.low_mhz, one.high_mhz) for one in message.channels),
        links=tuple(map(_link, message.links)),
        occupied=tuple(map(_occupied, message.occupied)),
        product_mhz=tuple(message.product_mhz),
        certainty=_certainty(message.certainty),
        fitting_count=message.fitting_count,
        fitting_certainty=_certainty(message.fitting_certainty),
        wanted_count=message.wanted_count,
        flaws=tuple(message.flaws),
        separation_mhz_least=optional(message, "separation_mhz_least"),
    )


def _link(message: wire.PlannedLink) -> PlannedLink:
    return PlannedLink(
        link=bare(message.link),
        channel=message.channel,
        low_mhz=optional(message, "low_mhz"),
        high_mhz=optional(message, "high_mhz"),
        channel_now=message.channel_now,
        is_fixed=message.is_fixed,
    )


def _occupied(message: wire.OccupiedBand) -> OccupiedBand:
    return OccupiedBand(
        name=message.name,
        low_mhz=message.low_mhz,
        high_mhz=message.high_mhz,
        level_dbm=optional(message, "level_dbm"),
        origin=message.origin,
    )


def _certainty(number: Any) -> Certainty:
    names = wire.ChannelPlan.Certainty.items()
    known = {value: name for name, value in names if value > 0}
    return Certainty(known.get(number, "UNKNOWN"))
