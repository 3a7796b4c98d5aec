"""`thirdstop log`: what an outing was for and what it was like, in under a minute."""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from journal.cli.app import app, follow_statement
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say
from journal.cli.sessions import local_time
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
    readable,
    stated_times,
    stated_values,
)
from journal.errors import JournalError
from journal.schema.ddl import PACES, PRIORITIES, SUPPORTS

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable

#: How long an outing is taken to be where Enter accepts the end that is offered.
USUAL_LENGTH = timedelta(hours=2)
#: How a moment is offered as an answer.
CLOCK = "%Y-%m-%d %H:%M"


@app.command()
def log(
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
    body: Annotated[list[str] | None, typer.Option(help="Model of a body that was used; once for each.")] = None,
    lens: Annotated[list[str] | None, typer.Option(help="Model of a lens that was used; once for each.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Ask nothing; take what the options say.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Log an outing: what you meant, planned and met with.

    What is missing is asked for where there is a terminal; Enter takes what stands in brackets.
    """
    from journal.cli.opened import open_journal
    from journal.records.sessions import Session
    from journal.store.opening import writing
    from journal.store.sessions import add_session

    stated: dict[str, Any] = {
        "intent": intent, "priority": priority, "pace": pace, "light": light, "ev100": ev100, "support": support,
        "place": place, "position": position, "time": time, "aperture": aperture, "iso": iso, "backlit": backlit,
        "subject_depth": subject_depth, "subject_distance": subject_distance, "notes": notes,
        "start": start, "end": end, "zone": zone,
    }  # fmt: skip
    connection = open_journal(journal_path(journal))
    if not yes and sys.stdin.isatty():
        ask_for_missing(stated, connection)
    if not stated["start"] or not stated["end"]:
        raise JournalError(
            "It is not said when the outing was.", 'Add --start and --end, like --start "2026-03-01 06:40".'
        )
    values = stated_values(stated)
    bodies = [readable("body", model) for model in body or []]
    lenses = [readable("lens", model) for model in lens or []]
    with writing(connection):
        session_id = add_session(connection, Session(**values))
        if bodies or lenses:
            from journal.store.gear import link_gear

            link_gear(connection, session_id, bodies, lenses)
    followed = follow_statement(connection, session_id)
    if as_json:
        print_json({"session_id": session_id, **values})
        return
    n_frames = connection.execute("select count(*) from frames where session_id = ?", [session_id]).fetchone()[0]
    taken = f" It took {n_frames} frames that were already imported." if n_frames else ""
    say(f"Session {session_id} is logged, {_span(values)}.{taken}{followed}")
    for caution in cautions(values):
        say(caution)
    say("Next: thirdstop import CARD")


def ask_for_missing(stated: dict[str, Any], connection: sqlite3.Connection) -> None:
    """Asks up to eight short questions, with the answers of the last similar session as defaults."""
    from journal.store.sessions import similar_session

    now = datetime.now().astimezone()
    last = similar_session(connection, stated["intent"] or "", stated["place"] or "")

    def ask(name: str, question: str, default: str, check: Callable[[str], object] = str) -> None:
        while stated[name] is None:
            answer = typer.prompt(question, default=default, show_default=bool(default)).strip()
            try:
                check(answer)
            except JournalError as error:  # what was answered so far must not be lost
                say(f"{error.problem} {error.next_step}")
                continue
            stated[name] = answer

    def before(column: str) -> str:
        return str(last[column] or "") if last is not None else ""

    ask("start", "When did it begin", (now - USUAL_LENGTH).strftime(CLOCK), lambda text: _start(stated, text))
    if stated["end"] is None:
        late = min(_start(stated, stated["start"]) + USUAL_LENGTH, now)
        ask("end", "When did it end", _end_default(stated, late), lambda text: stated_times(stated | {"end": text}))
    ask("intent", "What were the pictures for", before("intent"))
    last = similar_session(connection, stated["intent"] or "", stated["place"] or "")
    for name, question, column, words in (
        ("priority", "What came first", "priority", PRIORITIES),
        ("pace", "How fast was the subject", "subject_pace", PACES),
        ("support", "How was the camera held", "camera_support", SUPPORTS),
    ):
        ask(name, f"{question} ({', '.join(words)})", before(column), _one_of(words))
    ask("light", "What was the light like", before("light"))
    ask("place", "Where was it", before("place"))


def _start(stated: dict[str, Any], text: str) -> datetime:
    """The begin alone, held to the same rules as the pair of begin and end."""
    return stated_times(stated | {"start": text, "end": text})[0]


def _end_default(stated: dict[str, Any], moment: datetime) -> str:
    """The end that Enter accepts: never before the begin, which may be a little ahead of this clock."""
    start = _start(stated, stated["start"])
    return max(moment, start).astimezone(start.tzinfo).strftime(CLOCK)


def _one_of(words: tuple[str, ...]) -> Callable[[str], None]:
    def check(answer: str) -> None:
        if answer and answer.lower() not in words:
            raise JournalError(f"{answer!r} is not among the words.", f"Use one of: {', '.join(words)}; or nothing.")

    return check


def _span(values: dict[str, Any]) -> str:
    """Begin and end as they are understood: an end on another day says its date."""
    began, ended = (local_time(values[name], values["time_zone"]) for name in ("started_at", "ended_at"))
    return f"{began} to {ended.removeprefix(f'{began[:10]} ')}"


def cautions(values: dict[str, Any]) -> list[str]:
    """Short cautions for the choices just made."""
    words = f"{values.get('light', '')} {values.get('intent', '')}".lower()
    found = []
    if "sun" in words.replace("sunday", "") or values.get("is_backlit"):
        found.append("Mind your eyes: never look at the sun through an optical finder; use a solar filter.")
    if "flash" in words:
        found.append("Flash: not near infants, animals, drivers or people with photosensitive epilepsy.")
    if (values.get("planned_exposure_time_max_s") or 0) >= 1:
        found.append("Long exposures: stand only where you would stand without a camera; local rules come first.")
    if "nest" in words or "roost" in words:
        found.append("Nests and roosts: distance first, and no location in anything published.")
    return found
