"""`thirdstop examine [SESSION|PATH...]`: measures pictures and suggests what went wrong, without judging."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, progress, say, table
from journal.errors import JournalError
from journal.notation import format_count, format_names

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

    from analytics.cli.examination import Asked, Measure
    from analytics.cli.suggesting import Outcome
    from analytics.pixels.tolerance import Agreement, Tolerance

#: A shift of log-odds from which it is told that the photographer minds a fault more, or less.
WORTH_A_WORD = 0.5
#: More problems than this are only counted.
MOST_PROBLEMS = 20


def add(app: typer.Typer) -> None:
    """Adds the command, the examination after each import, and what follows when something else is stated."""
    from journal.cli.app import after_import, after_statement

    app.command()(examine)
    if examine_imported not in after_import:
        after_import.append(examine_imported)
    if suggest_again not in after_statement:
        after_statement.append(suggest_again)


def examine(
    what: Annotated[
        list[str] | None,
        typer.Argument(metavar="[SESSION|PATH]...", help="Sessions by number, files or folders; else all frames."),
    ] = None,
    journal: JournalOption = None,
    again: Annotated[bool, typer.Option("--again", help="Examine also what is examined already.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Examine pictures and suggest their faults. Sharpness, noise and exposure are measured; originals are only read.

    What is examined already is passed over, so an examination can be ended and taken up again at any time.
    """
    from journal.cli.opened import open_journal, say_if_simulated

    path = journal_path(journal)
    connection = open_journal(path, must_exist=True)
    asked = _asked(connection, what or [], again)
    done = run(connection, path, asked, shipped_measure())
    if as_json:
        print_json(as_data(done))
    else:
        say_if_simulated(connection)
        report(done)


def examine_imported(
    connection: sqlite3.Connection, path: Path, session_ids: Sequence[int], is_quiet: bool
) -> dict[str, Any]:
    """Examines what an import brought into these sessions; called by the import when all is stored."""
    if not session_ids:
        return {}
    from analytics.cli.examination import Asked

    done = run(connection, path, Asked(session_ids=list(session_ids)), shipped_measure())
    if not is_quiet and done.n_asked:
        report(done)
    return {"examined": as_data(done)}


def suggest_again(connection: sqlite3.Connection, session_ids: Sequence[int]) -> int:
    """Makes the suggestions of sessions anew when something else is stated about them; how many that changes."""
    from journal.store.measurements import has_measures

    measured = [number for number in session_ids if has_measures(connection, number)]
    if not measured:  # nothing heavy is loaded for it
        return 0
    from analytics.cli.suggesting import look_again

    return look_again(connection, measured, shipped_measure().version)


def shipped_measure() -> Measure:
    """How pictures are measured here."""
    from analytics.cli.examination import Measure
    from analytics.pixels import MEASURE_VERSION, measure

    return Measure(f"{measure.__module__}:{measure.__name__}", MEASURE_VERSION)


def run(connection: sqlite3.Connection, path: Path, asked: Asked, measure: Measure) -> Outcome:
    """Examines what is asked for, with a progress bar on a terminal; then looks at whole sessions."""
    from analytics.cli.examination import examine_frames, frames_to_examine
    from analytics.cli.suggesting import look_at_sessions

    frames = frames_to_examine(connection, asked, measure)
    n_done = 0
    with progress(len(frames), "Examining") as show:

        def advance(steps: int) -> None:
            nonlocal n_done
            n_done += steps
            show(steps)

        try:
            done = examine_frames(connection, path, frames, measure, asked.again, advance)
        except KeyboardInterrupt:
            say(f"{format_count(n_done, 'frame')} examined; thirdstop examine takes the rest.", err=True)
            raise
    return look_at_sessions(connection, done, asked.session_ids or (), measure.version)


def _asked(connection: sqlite3.Connection, what: list[str], again: bool) -> Asked:
    """Sessions by number, everything else by path; a file or folder that has a number for its name wins.

    Raises:
        JournalError: there is no such session, or no frame has a picture at the path.
    """
    from analytics.cli.examination import Asked
    from journal.store.measurements import to_examine
    from journal.store.sessions import get_session

    if not what:
        return Asked(again=again)
    numbers = [int(word) for word in what if word.isdigit() and not Path(word).exists()]
    for number in numbers:
        get_session(connection, number)
    paths = [str(Path(word).absolute()) for word in what if not word.isdigit() or Path(word).exists()]
    if numbers and paths:
        raise JournalError("Sessions and paths are mixed.", "Examine one, then the other.")
    for path in paths:
        if not to_examine(connection, 0, paths=[path], again=True):
            raise JournalError(
                f"No frame of this journal has a picture at {path}.", f"Import it first: thirdstop import {path}"
            )
    return Asked(session_ids=numbers, again=again) if numbers else Asked(paths=paths, again=again)


def report(done: Outcome) -> None:
    """Says what came of an examination."""
    say(words_of(done) + changed_words(done.n_changed))
    if done.n_examined:
        say("Suggestions are no verdicts. Next: thirdstop judge SESSION --accept-above 0.9")
    if done.agreement is not None and done.agreement.n_frames:
        say(agreement_words(done.agreement))
    if learned := tolerance_words(done.tolerance):
        say(learned)
    if done.problems:
        shown = done.problems[:MOST_PROBLEMS]
        table(["file", "problem", "what to do"], [(one.file, one.problem, one.next_step) for one in shown])
        if len(done.problems) > len(shown):
            say(f"... and {format_count(len(done.problems) - len(shown), 'problem')} more.")


def words_of(done: Outcome) -> str:
    """An examination in one sentence."""
    if not done.n_asked:
        return "Nothing to examine: all frames with an original are examined already."
    faults = sorted(done.n_by_fault.items(), key=lambda pair: -pair[1])
    parts = [f"{fault} {number}" for fault, number in faults]
    parts += [f"nothing stands out {done.n_fine}", f"cannot be told {done.n_unsure}"]
    counted = f"{format_count(done.n_examined, 'frame')} examined"
    return f"{counted}: {', '.join(parts)}; {format_count(len(done.problems), 'problem')}."


def changed_words(n_changed: int) -> str:
    """How many suggestions of frames examined earlier are others now that more is judged or stated; else empty."""
    changed = format_count(n_changed, "earlier suggestion")
    return f" {changed} changed, by what has been judged or stated since." if n_changed else ""


def tolerance_words(tolerance: Tolerance) -> str:
    """What was learned of this photographer's verdicts, where it moves suggestions; else empty."""
    shifts = (("noisy", tolerance.noise), ("soft", tolerance.softness))
    ways = [
        f"{'reject' if shift > 0 else 'keep'} more {which} frames"
        for which, shift in shifts
        if abs(shift) >= WORTH_A_WORD
    ]
    if not ways:
        return ""
    learned = f"learned from {format_count(tolerance.n_frames, 'verdict')}"
    return f"You {format_names(ways)} than suggestions would by themselves; they heed that ({learned})."


def agreement_words(agreement: Agreement) -> str:
    """How far suggestions and verdicts agree, with the interval where there is one."""
    interval = ""
    if math.isfinite(agreement.share_low) and math.isfinite(agreement.share_high):
        interval = f" ({100 * agreement.share_low:.0f}–{100 * agreement.share_high:.0f})"
    counted = f"{format_count(agreement.n_frames, 'frame')}, {format_count(agreement.n_bursts, 'burst')}"
    return (
        f"Your verdicts agree with the suggestions on {100 * agreement.share:.0f}{interval} of 100 frames ({counted}), "
        "each session's made without its own verdicts."
    )


def as_data(done: Outcome) -> dict[str, Any]:
    """An examination for `--json`; what was found of each frame is in the journal."""
    return asdict(done)
