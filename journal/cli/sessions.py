"""`sessions`, `session`, `edit` and `delete`: what was logged, and how to mend it."""

from __future__ import annotations

import sys
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from journal.cli.app import app, follow_statement
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.cli.stated import (
    ApertureOption,
    BacklitOption,
    DepthOption,
    DistanceOption,
    EndOption,
    Ev100Option,
    IntentOption,
    IsoOption,
    LightOption,
    NotesOption,
    PaceOption,
    PlaceOption,
    PositionOption,
    PriorityOption,
    StartOption,
    SupportOption,
    TimeOption,
    ZoneOption,
    stated_values,
    sun_of,
)
from journal.errors import JournalError
from journal.notation import format_distance, format_exposure_time, format_f_number, format_iso, parse_zone

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable

SessionArgument = Annotated[int, typer.Argument(help="The session's number, as `thirdstop sessions` lists it.")]


@app.command()
def sessions(
    journal: JournalOption = None,
    search: Annotated[
        str | None, typer.Option(help="Only sessions whose intent, light, place or notes say so.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """List sessions with their frames and keepers."""
    from journal.cli.opened import open_read_only, say_if_simulated
    from journal.store.sessions import list_sessions

    connection = open_read_only(journal_path(journal))
    rows = list_sessions(connection, search)
    if as_json:
        print_json([dict(row) for row in rows])
        return
    if not rows:
        say("There are no such sessions." if search else "No session is logged yet. Next: thirdstop log")
        return
    say_if_simulated(connection)
    columns = ["session", "began", "intent", "frames", "judged", "keepers", "commonest fault"]
    table(columns, [_cells(row) for row in rows], right=["session", "frames", "judged", "keepers"])


def _cells(row: sqlite3.Row) -> list[object]:
    intent = row["intent"] or ("not logged" if row["is_suggested"] else "")
    counts = [row["n_frames"], row["n_judged"], row["n_keepers"], row["commonest_fault"]]
    return [row["id"], local_time(row["started_at"], row["time_zone"]), intent, *counts]


def local_time(instant: str, zone: str) -> str:
    """A stored moment as the clock at the session showed it."""
    return datetime.fromisoformat(instant).astimezone(parse_zone(zone)).strftime("%Y-%m-%d %H:%M")


@app.command()
def session(number: SessionArgument, journal: JournalOption = None, as_json: JsonOption = False) -> None:
    """Show one session: what was stated, and what came of it."""
    from journal.cli.opened import open_read_only
    from journal.cli.takeaway import takeaway_lines
    from journal.store.gear import gear_of_session
    from journal.store.sessions import get_session

    connection = open_read_only(journal_path(journal))
    row = dict(get_session(connection, number))
    bodies, lenses = gear_of_session(connection, number)
    lines = takeaway_lines(connection, number)
    if as_json:
        print_json(row | {"bodies": bodies, "lenses": lenses, "summary": lines})
        return
    if row["is_simulated"]:
        say("Simulated data.")
    for line in lines:
        say(line)
    if row["is_suggested"]:
        say(f"It is suggested from the times of its frames; say what it was with: thirdstop edit {number}")
    table(["what", "stated"], stated_lines(row, bodies, lenses))


def stated_lines(row: dict[str, Any], bodies: list[str], lenses: list[str]) -> list[tuple[str, str]]:
    """What was stated about a session, as the photographer writes it; what nobody wrote down has no line."""
    began, ended = (local_time(row[name], row["time_zone"]) for name in ("started_at", "ended_at"))
    words = [("intent", row["intent"]), ("began", began), ("ended", ended), ("time zone", _zone(row["time_zone"]))]
    words += [(name.replace("_", " "), row[name]) for name in ("priority", "subject_pace", "light")]
    if row["light_ev100"] is not None:
        words.append(("EV at ISO 100", f"{row['light_ev100']:g}"))
    if row["is_backlit"] is not None:
        words.append(("backlit", "yes" if row["is_backlit"] else "no"))
    for name in ("subject_depth", "subject_distance"):
        if row[f"{name}_m"] is not None:
            words.append((name.replace("_", " "), format_distance(row[f"{name}_m"])))
    words += [("camera support", row["camera_support"]), ("place", row["place"])]
    if row["latitude"] is not None:
        words.append(("position", f"{row['latitude']:g}, {row['longitude']:g}"))
    if row["sun_elevation_deg"] is not None:
        words.append(("sunlight", f"{row['sunlight']}, the sun at {row['sun_elevation_deg']:g}°"))
    for name, column, write in (
        ("exposure time", "planned_exposure_time_{}_s", format_exposure_time),
        ("f-number", "planned_f_number_{}", format_f_number),
        ("ISO", "planned_iso_{}", format_iso),
    ):
        words.append((f"planned {name}", _planned(row[column.format("min")], row[column.format("max")], write)))
    words += [("bodies", ", ".join(bodies)), ("lenses", ", ".join(lenses)), ("notes", row["notes"])]
    return [(name, value) for name, value in words if value]


def _zone(text: str) -> str:
    """An offset with its colon, +01:00, as `--zone` shows it; names as they are."""
    is_bare = len(text) == 5 and text[0] in "+-" and text[1:].isdigit()
    return f"{text[:3]}:{text[3:]}" if is_bare else text


def _planned(low: Any, high: Any, write: Callable[[Any], str]) -> str:
    if low is None:
        return ""
    return write(low) if low == high else f"{write(low)} to {write(high)}"


@app.command()
def edit(
    number: SessionArgument,
    journal: JournalOption = None,
    intent: IntentOption = None,
    priority: PriorityOption = None,
    pace: PaceOption = None,
    light: LightOption = None,
    ev100: Ev100Option = None,
    support: SupportOption = None,
    place: PlaceOption = None,
    position: PositionOption = None,
    time: TimeOption = None,
    aperture: ApertureOption = None,
    iso: IsoOption = None,
    backlit: BacklitOption = None,
    subject_depth: DepthOption = None,
    subject_distance: DistanceOption = None,
    notes: NotesOption = None,
    start: StartOption = None,
    end: EndOption = None,
    zone: ZoneOption = None,
    as_json: JsonOption = False,
) -> None:
    """Change what is stated about a session. What is not named stays."""
    from journal.cli.opened import open_journal
    from journal.store.sessions import change_session, get_session

    connection = open_journal(journal_path(journal), must_exist=True)
    row = get_session(connection, number)
    stated: dict[str, Any] = {
        "intent": intent, "priority": priority, "pace": pace, "light": light, "ev100": ev100, "support": support,
        "place": place, "position": position, "time": time, "aperture": aperture, "iso": iso, "backlit": backlit,
        "subject_depth": subject_depth, "subject_distance": subject_distance, "notes": notes,
        "start": start, "end": end, "zone": zone,
    }  # fmt: skip
    if all(value is None for value in stated.values()):
        raise JournalError("Nothing is named that should change.", 'Name it, like --intent "birds at dusk".')
    in_zone = zone or row["time_zone"]
    stated |= {
        "zone": in_zone,
        "start": start or _kept(row["started_at"], in_zone),
        "end": end or _kept(row["ended_at"], in_zone),
    }
    changes = stated_values(stated)
    if start is None and end is None:
        changes = {name: value for name, value in changes.items() if name not in ("started_at", "ended_at")}
    elif position is None and row["latitude"] is not None:
        changes |= sun_of(dict(row) | changes)
    if zone is None:
        changes.pop("time_zone", None)
    change_session(connection, number, changes)
    followed = follow_statement(connection, number)
    if as_json:
        print_json({"session_id": number, "changed": changes})
    else:
        say(f"Session {number} is changed.{followed}")


def _kept(instant: str, zone: str) -> str:
    """A stored moment to the fraction of a second, on the clock of that zone."""
    return datetime.fromisoformat(instant).astimezone(parse_zone(zone)).isoformat()


@app.command()
def delete(
    number: SessionArgument,
    journal: JournalOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask again.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Delete a session. Its frames and their verdicts stay in the journal."""
    from journal.cli.opened import open_journal
    from journal.store.sessions import delete_session, get_session

    connection = open_journal(journal_path(journal), must_exist=True)
    row = get_session(connection, number)
    if not yes:
        if not sys.stdin.isatty():
            raise JournalError(f"Session {number} is not deleted without a yes.", "Add --yes to delete it.")
        count = connection.execute("select count(*) from frames where session_id = ?", [number]).fetchone()[0]
        named = row["intent"] or "no intent stated"
        typer.confirm(f"Delete session {number} ({named})? Its {count} frames stay, without a session.", abort=True)
    n_frames = delete_session(connection, number)
    if as_json:
        print_json({"session_id": number, "n_frames_left": n_frames})
        return
    say(f"Session {number} is deleted; {n_frames} frames stay without a session.")
