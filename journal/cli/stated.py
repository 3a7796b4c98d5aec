"""What a photographer states about an outing: the options, and the values they stand for."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Annotated, Any

import typer

from journal.errors import JournalError
from journal.notation import (
    format_instant,
    parse_distance,
    parse_exposure_time,
    parse_f_number,
    parse_instant,
    parse_iso,
    parse_position,
    parse_range,
    parse_zone,
)
from journal.schema.ddl import PACES, PRIORITIES, SUPPORTS

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import tzinfo

IntentOption = Annotated[str | None, typer.Option(help="What the pictures were for, in your words.")]
PriorityOption = Annotated[str | None, typer.Option(help="What the settings served first: depth or motion.")]
PaceOption = Annotated[str | None, typer.Option(help="Subject pace: still, slow, walking, running or fast.")]
LightOption = Annotated[str | None, typer.Option(help="What the light was like, in your words.")]
Ev100Option = Annotated[float | None, typer.Option(help="The light as an exposure value at ISO 100.")]
SupportOption = Annotated[str | None, typer.Option(help="Camera support: hand-held, monopod, tripod or braced.")]
PlaceOption = Annotated[str | None, typer.Option(help="Name of the place.")]
PositionOption = Annotated[str | None, typer.Option(help="Latitude,longitude in degrees, for the sun's height.")]
TimeOption = Annotated[str | None, typer.Option(help="Planned exposure time or range, like 1/1000-1/250.")]
ApertureOption = Annotated[str | None, typer.Option(help="Planned f-number or range, like f/4-f/8.")]
IsoOption = Annotated[str | None, typer.Option(help="Planned ISO or range, like 100-3200.")]
BacklitOption = Annotated[
    bool | None, typer.Option("--backlit/--not-backlit", help="Whether the light came from behind the subject.")
]
DepthOption = Annotated[
    str | None, typer.Option("--subject-depth", help="How deep the subject is that must be sharp, like 40 cm.")
]
DistanceOption = Annotated[
    str | None, typer.Option("--subject-distance", help="How far away it is, where files do not say, like 12 m.")
]
NotesOption = Annotated[str | None, typer.Option(help="Anything else worth remembering.")]
StartOption = Annotated[str | None, typer.Option(help='When it began, like "2026-03-01 06:40".')]
EndOption = Annotated[str | None, typer.Option(help="When it ended; a time alone is of the same day or the next.")]
ZoneOption = Annotated[str | None, typer.Option(help="Time zone: +01:00 or Europe/Lisbon; else this machine's.")]

#: A session may begin this far ahead of the clock, for zones and clocks that are a little off.
_AHEAD = timedelta(days=1)
#: Stands for a zone that nobody stated, so that it can be told from UTC.
_UNSAID = timezone(timedelta(0), "unsaid")


def stated_values(stated: dict[str, Any]) -> dict[str, Any]:
    """The columns of a session that these options state; options that are None state nothing.

    Raises:
        JournalError: a word or number that is none of the journal's.
    """
    values: dict[str, Any] = {}
    for option, column in (("intent", "intent"), ("light", "light"), ("place", "place"), ("notes", "notes")):
        if stated[option] is not None:
            values[column] = readable(option, stated[option])
    for option, column, words in (
        ("priority", "priority", PRIORITIES),
        ("pace", "subject_pace", PACES),
        ("support", "camera_support", SUPPORTS),
    ):
        if stated[option]:
            values[column] = _word(option, stated[option], words)
    values |= _subject(stated)
    if stated["ev100"] is not None:
        values["light_ev100"] = _ev100(stated["ev100"])
    parsers: tuple[tuple[str, str, str, Callable[[str], Any]], ...] = (
        ("time", "planned_exposure_time_{}_s", "time", parse_exposure_time),
        ("aperture", "planned_f_number_{}", "aperture", parse_f_number),
        ("iso", "planned_iso_{}", "iso", parse_iso),
    )
    for option, column, _name, parse in parsers:
        if stated[option]:
            low, high = parse_range(stated[option], parse)
            values |= {column.format("min"): low, column.format("max"): high}
    values |= _times(stated)
    if stated["position"]:
        values["latitude"], values["longitude"] = parse_position(stated["position"])
        values |= sun_of(values)
    return values


def _subject(stated: dict[str, Any]) -> dict[str, Any]:
    """What is stated of the subject: from where it is lit, how deep and how far away it is."""
    values: dict[str, Any] = {}
    if stated["backlit"] is not None:
        values["is_backlit"] = int(stated["backlit"])
    for option in ("subject_depth", "subject_distance"):
        if stated[option]:
            values[f"{option}_m"] = parse_distance(stated[option])
    return values


def readable(option: str, text: str) -> str:
    """The text as it is; bytes that are no text of the terminal's encoding cannot be kept.

    Raises:
        JournalError: the text holds such bytes.
    """
    if any("\ud800" <= char <= "\udfff" for char in text):
        shown = text.encode("utf-8", "backslashreplace").decode()
        raise JournalError(f"The {option} {shown!r} is not readable text.", "Write it in UTF-8.")
    return text


def sun_of(values: dict[str, Any]) -> dict[str, Any]:
    """The sun's height in the middle of an outing with a position, as columns of the session."""
    from journal.optics.sunlight import sun_elevation_deg, sunlight_name

    start, end = (datetime.fromisoformat(values[name]) for name in ("started_at", "ended_at"))
    elevation = sun_elevation_deg(values["latitude"], values["longitude"], start + (end - start) / 2)
    return {"sun_elevation_deg": round(elevation, 1), "sunlight": sunlight_name(elevation)}


def _word(option: str, text: str, words: tuple[str, ...]) -> str:
    if text.strip().lower() not in words:
        raise JournalError(f"{text!r} is no {option} this journal knows.", f"Use one of: {', '.join(words)}.")
    return text.strip().lower()


def _ev100(value: float) -> float:
    if not -12 <= value <= 24:
        raise JournalError(f"EV {value:g} at ISO 100 is no light on earth.", "Give a value between -12 and 24.")
    return value


def stated_times(stated: dict[str, Any]) -> tuple[datetime, datetime]:
    """Begin and end of the outing, each with its zone; a time alone is of the day it began, or of the next.

    Without a stated zone it is this machine's, with the offset of that date: summer time is not winter time.

    Raises:
        JournalError: a text that is no time, an end before its begin, or a time in the future.
    """
    zone = parse_zone(stated["zone"]) if stated["zone"] else None
    start = _moment(stated["start"], zone)
    if start > datetime.now(UTC) + _AHEAD:
        raise JournalError(f"{stated['start']!r} lies in the future.", "Log an outing after it; check the date.")
    text = stated["end"].strip()
    is_own_zone = parse_instant(stated["start"], _UNSAID).tzinfo is not _UNSAID
    zone_of_end = start.tzinfo if is_own_zone else zone
    if len(text) <= 5:
        end = _moment(f"{start.date().isoformat()} {text.zfill(5)}", zone_of_end)
        end = end if end.astimezone(UTC) >= start.astimezone(UTC) else end + timedelta(days=1)
    else:
        end = _moment(text, zone_of_end)
    if end.astimezone(UTC) < start.astimezone(UTC):
        raise JournalError(f"The outing ends ({text}) before it begins.", "Check --start and --end.")
    if end > datetime.now(UTC) + _AHEAD:
        raise JournalError(f"{text!r} lies in the future.", "Log an outing after it; check the date.")
    return start, end


def _moment(text: str, zone: tzinfo | None) -> datetime:
    moment = parse_instant(text, zone or _UNSAID)
    return moment.replace(tzinfo=None).astimezone() if moment.tzinfo is _UNSAID else moment


def _times(stated: dict[str, Any]) -> dict[str, Any]:
    start, end = stated_times(stated)
    return {
        "started_at": format_instant(start),
        "ended_at": format_instant(end),
        "time_zone": stated["zone"] or start.strftime("%z"),
    }
