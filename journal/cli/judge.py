"""`thirdstop judge`: which frames are keepers, and why the others failed."""

from __future__ import annotations

import re
import sys
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from journal.cli.app import app
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import on_this_clock, print_json, say, table
from journal.cli.suggested import Wanted, judge_by_suggestions
from journal.errors import JournalError, Problem
from journal.importing.verdict_table import read_verdicts
from journal.notation import format_count
from journal.records.verdicts import Verdict

if TYPE_CHECKING:
    import sqlite3

#: What the places are called that verdicts come from.
PLACES = {
    "command line": "the command line", "xmp": "ratings", "finals": "finished pictures", "csv": "a table",
}  # fmt: skip
#: What is said where a way to judge finds no frame, and what to do.
NOTHING = {
    "command line": (
        "It is not said which frames are meant.",
        "List them with thirdstop frames --unjudged, then name them, like: thirdstop judge 12 20-31 --keeper",
    ),
    "xmp": (
        "No frame has a rating.",
        "Rate them, import their folder again, or judge by number: thirdstop judge 12 20-31 --keeper",
    ),
    "finals": ("There is no finished picture of a frame.", "Name another folder, or import the frames first."),
    "csv": ("The table judges no frame.", "Give it a line for each frame under: file_name,verdict,faults"),
}


@app.command()
def judge(
    frames: Annotated[
        list[str] | None,
        typer.Argument(help="Frames by number, single or ranges: 12 20-31. For suggestions, a session."),
    ] = None,
    journal: JournalOption = None,
    keeper: Annotated[bool, typer.Option("--keeper", help="These frames are keepers.")] = False,
    reject: Annotated[bool, typer.Option("--reject", help="These frames are rejects; say why with --fault.")] = False,
    unjudged: Annotated[bool, typer.Option("--unjudged", help="Take the verdicts back.")] = False,
    fault: Annotated[list[str] | None, typer.Option(help="A visible fault; say every one you see.")] = None,
    finals: Annotated[
        Path | None, typer.Option(help="A folder of finished pictures: their frames are keepers.")
    ] = None,
    rest_rejects: Annotated[
        bool | None,
        typer.Option("--rest-rejects/--rest-unjudged", help="With --finals: what the other frames of a session are."),
    ] = None,
    table_file: Annotated[
        Path | None, typer.Option("--csv", help="A table with columns file_name or frame, verdict, faults.")
    ] = None,
    ratings: Annotated[bool, typer.Option("--ratings", help="Take xmp:Rating of the frames: -1 rejects.")] = False,
    keep_from: Annotated[
        int | None, typer.Option(help="With --ratings: the lowest rating of a keeper; remembered.")
    ] = None,
    keep_ratings: Annotated[
        str | None, typer.Option(help="With --ratings: the ratings of keepers, like 4,5; remembered.")
    ] = None,
    session: Annotated[int | None, typer.Option(help="Only frames of this session.")] = None,
    by: Annotated[str, typer.Option(help="Who judges.")] = "photographer",
    accept_above: Annotated[
        float | None,
        typer.Option(metavar="P", help="Take suggestions of at least this probability, from 0.5 to below 1."),
    ] = None,
    to_look_at: Annotated[
        bool, typer.Option("--to-look-at", help="List the frames whose suggestion is not sure, the hardest last.")
    ] = False,
    take_back: Annotated[bool, typer.Option("--take-back", help="Take back what was judged last, at one go.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="With --accept-above: do not ask.")] = False,
    history: Annotated[bool, typer.Option("--history", help="Show every verdict on a frame instead.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would happen; write nothing.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Judge frames: keeper or reject, with every visible fault. Nothing is overwritten; the newest verdict counts."""
    from journal.cli.opened import open_journal, open_read_only

    of_suggestions = to_look_at or accept_above is not None
    by_hand = bool((frames and not of_suggestions) or keeper or reject or unjudged or fault) and not history
    _refuse_mixture(by_hand, finals is not None, table_file is not None, ratings, of_suggestions, take_back)
    path = journal_path(journal)
    if of_suggestions or take_back:
        wanted = Wanted(_session_meant(frames, session), accept_above, by, dry_run, yes, as_json)
        judge_by_suggestions(path, wanted, "list" if to_look_at else "take back" if take_back else "accept")
        return
    connection = open_read_only(path) if dry_run or history else open_journal(path, must_exist=True)
    if history:
        _show_history(connection, parse_frames(frames or []), as_json)
        return
    problems: list[Problem] = []
    if finals is not None:
        verdicts, problems = _of_finals(connection, finals, rest_rejects, may_ask=not (dry_run or as_json))
        source = "finals"
    elif table_file is not None:
        verdicts, problems = read_verdicts(connection, table_file)
        source = "csv"
    elif ratings:
        verdicts, source = _of_ratings(connection, keep_from, keep_ratings, dry_run), "xmp"
    else:
        word = _one_word(keeper, reject, unjudged, bool(frames))
        verdicts = [Verdict(number, word, tuple(fault or ())) for number in parse_frames(frames or [])]
        source = "command line"
    verdicts = _of_session(connection, verdicts, session)
    if not verdicts and not problems:
        raise JournalError(*NOTHING[source])
    _take(connection, (source, verdicts, problems), by, dry_run, as_json)


def _take(
    connection: sqlite3.Connection,
    gathered: tuple[str, list[Verdict], list[Problem]],
    by: str,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Records what was gathered, or only counts it, and says so."""
    from journal.cli.takeaway import print_takeaways
    from journal.store.verdicts import record, would_add

    source, verdicts, problems = gathered
    n_new = would_add(connection, verdicts, judged_by=by, source=source)
    touched: list[int] = []
    if not dry_run:
        told = f"{format_count(n_new, 'verdict')} from {PLACES[source]}"
        now = datetime.now(UTC)
        touched = record(connection, verdicts, judged_by=by, source=source, judged_at=now, judging=told)
    if as_json:
        counts = {"n_verdicts": len(verdicts), "n_new": n_new, "is_dry_run": dry_run, "session_ids": touched}
        print_json(counts | {"problems": [asdict(problem) for problem in problems]})
        return
    known = f" ({len(verdicts) - n_new} of them known already)" if n_new < len(verdicts) else ""
    taken = f"{format_count(len(verdicts), 'verdict')} {'would be ' if dry_run else ''}taken{known}"
    say(f"{taken}, {format_count(len(problems), 'problem')}.")
    if problems:
        table(["where", "problem", "what to do"], [(one.file, one.problem, one.next_step) for one in problems])
    print_takeaways(connection, touched)


def _refuse_mixture(*ways: bool) -> None:
    if sum(ways) > 1:
        raise JournalError(
            "Verdicts come from several places at once.",
            "Give frames, --finals, --csv, --ratings, --accept-above or --take-back, one at a time.",
        )


def _session_meant(words: list[str] | None, session: int | None) -> int | None:
    """The session whose suggestions are meant, named by itself or with --session.

    Raises:
        JournalError: more than one word, or no number.
    """
    if not words:
        return session
    if len(words) > 1 or not words[0].isdigit() or session is not None:
        raise JournalError(f"{' '.join(words)!r} is no session.", "Name one: thirdstop judge 3 --accept-above 0.9")
    return int(words[0])


def _of_session(connection: sqlite3.Connection, verdicts: list[Verdict], session: int | None) -> list[Verdict]:
    """The verdicts on frames of the session; all of them where none is named."""
    from journal.store.sessions import get_session

    if session is None:
        return verdicts
    get_session(connection, session)
    inside = {row[0] for row in connection.execute("select id from frames where session_id = ?", [session])}
    return [verdict for verdict in verdicts if verdict.frame_id in inside]


def _of_ratings(
    connection: sqlite3.Connection, keep_from: int | None, keep_ratings: str | None, dry_run: bool
) -> list[Verdict]:
    from journal.importing import ratings

    stated = ratings.parse_kept_ratings(keep_from, keep_ratings)
    kept = stated or ratings.remembered_ratings(connection)
    if stated and not dry_run:
        ratings.remember_ratings(connection, stated)
    return ratings.verdicts_of_ratings(connection, kept)


def _of_finals(
    connection: sqlite3.Connection, folder: Path, rest_rejects: bool | None, *, may_ask: bool
) -> tuple[list[Verdict], list[Problem]]:
    from journal.importing.finals import match_finished, rest_of_sessions

    finished = match_finished(connection, folder)
    rest = rest_of_sessions(connection, finished)
    if rest and rest_rejects is None and may_ask and sys.stdin.isatty():
        rest_rejects = typer.confirm(f"{len(rest)} other frames of these sessions are unjudged. Are they rejects?")
    return [*finished.keepers, *(rest if rest_rejects else [])], finished.problems


def _show_history(connection: sqlite3.Connection, numbers: list[int], as_json: bool) -> None:
    from journal.store.verdicts import history

    rows = [{"frame": number, **dict(row)} for number in numbers for row in history(connection, number)]
    if as_json:
        print_json(rows)
    elif rows:
        table([name.replace("_", " ") for name in rows[0]], [_readable(row) for row in rows])
    else:
        say("Nobody has judged these frames yet.")


def _readable(row: dict[str, Any]) -> list[object]:
    """The values of a row for reading: moments on this machine's clock, to the second."""
    return [on_this_clock(value) if name.endswith("_at") and value else value for name, value in row.items()]


def parse_frames(texts: list[str]) -> list[int]:
    """Frame numbers from single numbers and ranges."""
    numbers: dict[int, None] = {}
    for text in texts:
        match = re.fullmatch(r"(\d{1,12})(?:-(\d{1,12}))?", text)
        if match is None:
            raise JournalError(f"{text!r} is no frame or range of frames.", "Write numbers, like 12 or 20-31.")
        low, high = int(match[1]), int(match[2] or match[1])
        if not low <= high <= low + 100_000:
            raise JournalError(f"{text!r} is no range of frames.", "Write the lower number first, like 20-31.")
        numbers |= dict.fromkeys(range(low, high + 1))
    return list(numbers)


def _one_word(keeper: bool, reject: bool, unjudged: bool, has_frames: bool) -> str:
    words = [word for word, is_said in (("keeper", keeper), ("reject", reject), ("unjudged", unjudged)) if is_said]
    if not words and not has_frames:
        raise JournalError(*NOTHING["command line"])
    if len(words) != 1:
        raise JournalError("It is not clear what the verdict is.", "Give one of --keeper, --reject and --unjudged.")
    return words[0]
