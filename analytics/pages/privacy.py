"""What may be shown to others than the photographer, and what only where it is asked for by name.

Free text may name people and places, so the photographer's own words stay out too. Whatever a page shows of a session
stands in a list of what may be shown; a fact that is added to the journal later stays out until it is added there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from journal.errors import JournalError
from journal.notation import parse_zone, with_minus


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for, one by one."""

    intents: bool = False
    light: bool = False
    notes: bool = False
    places: bool = False
    positions: bool = False
    serials: bool = False
    file_names: bool = False


#: Facts of a session that may always be shown; free text and what tells a place are not among them.
ALWAYS_SHOWN = (
    "priority",
    "subject pace",
    "camera support",
    "backlit",
    "subject depth",
    "subject distance",
    "planned exposure time",
    "planned aperture",
    "planned ISO",
)


def ev_words(ev100: float) -> str:
    """The light that was stated, as pages say it."""
    return with_minus(f"EV {ev100:g} at ISO 100")


def shown_facts(facts: dict[str, str | None], session: dict[str, Any], asked: Asked) -> list[tuple[str, str]]:
    """The facts of a session that may be shown, in their order."""
    light_ev = session["light_ev100"]
    words = {
        "light": facts["light"] if asked.light else (None if light_ev is None else ev_words(light_ev)),
        "sunlight": facts["sunlight"] if asked.positions else None,
        "place": facts["place"] if asked.places else None,
        "time zone": session["time_zone"] if asked.places else None,
        "position": _position(session) if asked.positions else None,
        "notes": facts["notes"] if asked.notes else None,
    }
    chosen = {name: facts[name] for name in ALWAYS_SHOWN} | words
    return [(name, str(value)) for name, value in chosen.items() if value]


def _position(session: dict[str, Any]) -> str | None:
    if session["latitude"] is None:
        return None
    return f"{session['latitude']:.5f}, {session['longitude']:.5f}"


def local_moment(at: str, zone: str) -> str:
    """Date and time as the clocks there showed them, without saying where; in UTC where the zone is unknown here."""
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        return "unknown"
    try:
        return f"{moment.astimezone(parse_zone(zone)):%Y-%m-%d %H:%M}"
    except JournalError:
        return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M}"
