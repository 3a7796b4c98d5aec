"""One session: what was stated and planned, what came of it, and its frames by burst with their settings."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from analytics import queries
from analytics.dataset.opened import SIMULATED
from analytics.pages.privacy import Asked, ev_words, local_moment, shown_facts
from analytics.pages.session_course import SessionCourse, session_course
from analytics.queries.session import BURST_PLACES
from journal.errors import JournalError
from journal.notation import (
    format_count,
    format_distance,
    format_exposure_time,
    format_f_number,
    format_iso,
    parse_zone,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.dataset import OpenJournal

#: Frames of one page; a burst may go on over its end.
FRAMES_PER_PAGE = 240


class FrameCard(NamedTuple):
    """One frame as a small picture with what is written under it; a tuple, for a page makes hundreds of them."""

    frame_id: int
    file_name: str
    settings: str
    verdict: str
    faults: str
    has_preview: bool
    session_id: int | None = None
    at: str = ""


@dataclass(frozen=True, slots=True)
class Burst:
    """Frames in quick succession, in their order; `place` is that among the bursts of its session, `None` for single
    frames with a time each."""

    place: int | None
    began: str
    frames: list[FrameCard]

    @property
    def heading(self) -> str:
        """What it is called."""
        if self.place is None:
            return "Single frame" if len(self.frames) == 1 else f"{len(self.frames)} single frames"
        return f"Burst {self.place}, {self.began}, {format_count(len(self.frames), 'frame')}"


@dataclass(frozen=True, slots=True)
class SessionPage:
    """All that a session's page shows; `facts_for_others` are those without what is private, `before` and `after` the
    sessions next to it."""

    number: int
    heading: str
    simulated: str | None
    sentence: str
    facts: list[tuple[str, str]]
    facts_for_others: list[tuple[str, str]]
    course: SessionCourse | None
    bursts: list[Burst]
    page: int
    n_pages: int
    n_judged: int
    n_unjudged: int
    before: int | None
    after: int | None


def session_page(journal: OpenJournal, number: int, page: int = 1) -> SessionPage:
    """Reads one page of a session.

    Raises:
        JournalError: there is no such session, or it has no such page.
    """
    with journal.snapshot():
        found = journal.rows(queries.ONE_SESSION, {"number": number})
        if not found:
            raise JournalError(
                f"There is no session {number} in this journal.", "List the sessions with: thirdstop sessions"
            )
        session = found[0]
        n_pages = max(1, -(-session["n_frames"] // FRAMES_PER_PAGE))
        if not 1 <= page <= n_pages:
            raise JournalError(f"Session {number} has no page {page}.", f"Use a page from 1 to {n_pages}.")
        window = {"number": number, "limit": FRAMES_PER_PAGE, "offset": (page - 1) * FRAMES_PER_PAGE}
        rows = journal.rows(queries.FRAMES_OF_SESSION, window)
        places = burst_places(journal, [number])
        course = session_course(journal, session) if page == 1 and session["n_frames"] else None
    facts = session_facts(session)
    began, ended = (local_moment(session[name], session["time_zone"]) for name in ("started_at", "ended_at"))
    return SessionPage(
        number=number,
        heading=session["intent"],
        simulated=SIMULATED if session["is_simulated"] else None,
        sentence=session_sentence(session),
        course=course,
        facts=[(name, str(value)) for name, value in facts.items() if value],
        facts_for_others=[("began", began), ("ended", ended), *shown_facts(facts, session, Asked())],
        bursts=_bursts(rows, places, began[:10]),
        page=page,
        n_pages=n_pages,
        n_judged=session["n_judged"],
        n_unjudged=session["n_frames"] - session["n_judged"],
        before=session["session_before"],
        after=session["session_after"],
    )


def session_sentence(session: dict[str, Any]) -> str:
    """What came of a session, in one sentence."""
    if not session["n_frames"]:
        return "No frame of this session has been imported yet."
    counted = f"{format_count(session['n_frames'], 'frame')} in {format_count(session['n_bursts'], 'burst')}"
    if session["n_bursts"] == session["n_frames"]:
        counted = format_count(session["n_frames"], "single frame")
    if not session["n_judged"]:
        return f"{counted}, not judged yet." if session["n_frames"] == 1 else f"{counted}; none is judged yet."
    kept = f"{counted}: of {session['n_judged']} judged you kept {session['n_keepers']}"
    if not session["commonest_fault"]:
        return f"{kept}."
    shown_by = format_count(session["n_commonest_fault"], "frame")
    return f"{kept}; the commonest fault is {session['commonest_fault']} ({shown_by})."


def session_facts(session: dict[str, Any]) -> dict[str, str | None]:
    """What was stated about a session, by name; `None` where nobody did."""
    planned = {
        "planned exposure time": _range(session, "planned_exposure_time_{}_s", format_exposure_time),
        "planned aperture": _range(session, "planned_f_number_{}", format_f_number),
        "planned ISO": _range(session, "planned_iso_{}", str),
    }
    light = session["light"]
    if session["light_ev100"] is not None:
        light = f"{light}{', ' if light else ''}{ev_words(session['light_ev100'])}"
    return {
        "began": _local(session["started_at"], session["time_zone"]),
        "ended": _local(session["ended_at"], session["time_zone"]),
        "priority": session["priority"],
        "subject pace": session["subject_pace"],
        "camera support": session["camera_support"],
        "light": light,
        "sunlight": _sunlight(session),
        "backlit": {0: "no", 1: "yes"}.get(session["is_backlit"]),
        "subject depth": _distance(session["subject_depth_m"]),
        "subject distance": _distance(session["subject_distance_m"]),
        "place": session["place"],
        **planned,
        "notes": session["notes"],
    }


def _range(session: dict[str, Any], column: str, written: Callable[[Any], str]) -> str | None:
    low, high = session[column.format("min")], session[column.format("max")]
    shown = [written(value) for value in (low, high) if value is not None]
    return "–".join(dict.fromkeys(shown)) or None


def _sunlight(session: dict[str, Any]) -> str | None:
    """Golden hour, sun 4° above the horizon."""
    elevation = session["sun_elevation_deg"]
    if elevation is None:
        return str(session["sunlight"]) if session["sunlight"] else None
    height = f"sun {abs(elevation):.0f}° {'above' if elevation >= 0 else 'below'} the horizon at the start"
    return f"{session['sunlight']}, {height}" if session["sunlight"] else height


def _distance(metres: float | None) -> str | None:
    return None if metres is None else format_distance(metres)


def frame_cards(journal: OpenJournal, numbers: list[int]) -> list[FrameCard]:
    """Some frames as small pictures, in the order of their numbers given."""
    found = {row["frame_id"]: row for row in journal.rows(queries.SOME_FRAMES, {"numbers": json.dumps(numbers)})}
    return [frame_card(found[number]) for number in numbers if number in found]


def burst_places(journal: OpenJournal, sessions: list[int]) -> dict[int, int]:
    """What the bursts of some sessions are called, by their numbers in the journal; single frames have no place."""
    rows = journal.rows(BURST_PLACES, {"sessions": json.dumps(sessions)})
    return {row["burst_id"]: row["place"] for row in rows}


def _bursts(rows: list[dict[str, Any]], places: dict[int, int], day: str) -> list[Burst]:
    """Bursts, and between them single frames together; a moment has its date where that is not the session's day."""
    groups = groupby(rows, key=lambda row: places.get(row["burst_id"]))
    return [_burst(place, list(frames), day) for place, frames in groups]


def _burst(place: int | None, rows: list[dict[str, Any]], day: str) -> Burst:
    moments = [moment_of(row["taken_at"], day) for row in rows]
    shown = moments if place is None else [""] * len(rows)
    return Burst(place, moments[0], [frame_card(row, at) for row, at in zip(rows, shown, strict=True)])


def frame_card(row: dict[str, Any], at: str = "") -> FrameCard:
    """One frame as a small picture; `at` is its moment where its burst does not say it."""
    return FrameCard(
        frame_id=row["frame_id"],
        file_name=row["file_name"],
        settings=settings_in_words(row["exposure_time_s"], row["f_number"], row["iso"], row["focal_length_mm"]),
        verdict=row["verdict"],
        faults=row["faults"] or "",
        has_preview=bool(row["has_preview"]),
        session_id=row.get("session_id"),
        at=at,
    )


#: Settings whose words are kept: frames of a burst mostly share them.
SETTINGS_KEPT = 2000
#: The settings written under a picture, as columns.
SETTINGS_SHOWN = ("exposure_time_s", "f_number", "iso", "focal_length_mm")


@lru_cache(maxsize=SETTINGS_KEPT, typed=True)
def settings_in_words(
    exposure_time_s: float | None, f_number: float | None, iso: int | None, focal_length_mm: float | None
) -> str:
    """The settings as they are written under a picture: 1/125 s, f/5.6, ISO 400, 50 mm."""
    known = [
        (exposure_time_s, format_exposure_time),
        (f_number, format_f_number),
        (iso, format_iso),
        (focal_length_mm, lambda value: f"{value:g} mm"),
    ]
    words = [written(value) for value, written in known if value is not None]
    if words and exposure_time_s is None:
        words.insert(0, "exposure time unknown")
    return together(", ".join(words)) or "settings unknown"


def together(settings: str) -> str:
    """Settings of which no line ends between a number and its unit."""
    return settings.replace(" mm", "\u00a0mm").replace("ISO ", "ISO\u00a0")


def _local(at: str, zone: str) -> str:
    """A stored moment as the clock of that place showed it; as it is stored where its zone is unknown here."""
    try:
        return f"{datetime.fromisoformat(at).astimezone(parse_zone(zone)):%Y-%m-%d %H:%M} ({zone})"
    except (ValueError, JournalError):
        return at


def moment_of(taken_at: str | None, day: str) -> str:
    """A frame's time of day; with its date where that is another one than the session's day (ISO)."""
    if not taken_at:
        return "exposure time unknown"
    return taken_at[11:19] if taken_at[:10] == day else f"{taken_at[:10]} {taken_at[11:19]}"
