"""The ways of `thirdstop judge` that start from suggestions: take the sure ones, list the others, take back."""

from __future__ import annotations

import math
import sys
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import typer

from journal.cli.output import on_this_clock, print_json, say, table
from journal.errors import JournalError
from journal.notation import format_count

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

    from journal.store.accepting import Acceptable, ToLookAt

#: What is said of a frame that is suggested to have no fault; its probability is that of having none.
FINE = "nothing stands out"
#: How sure a suggestion must be where nobody says.
SURE = 0.9


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the options say."""

    session: int | None
    above: float | None
    by: str
    is_dry_run: bool
    is_confirmed: bool
    as_json: bool

    @property
    def sure(self) -> float:
        """How sure a suggestion must be."""
        return SURE if self.above is None else self.above


def judge_by_suggestions(path: Path, wanted: Wanted, what: str) -> None:
    """Accepts sure suggestions, lists the others, or takes back what was judged last."""
    from journal.cli.opened import open_journal, open_read_only
    from journal.store.sessions import get_session

    only_reads = what == "list" or wanted.is_dry_run
    connection = open_read_only(path) if only_reads else open_journal(path, must_exist=True)
    if wanted.session is not None:
        get_session(connection, wanted.session)
    {"accept": _accept, "list": _list, "take back": _take_back}[what](connection, wanted)


def _accept(connection: sqlite3.Connection, wanted: Wanted) -> None:
    from journal.cli.opened import say_if_simulated
    from journal.cli.takeaway import print_takeaways
    from journal.store.accepting import accept, acceptable

    summary = acceptable(connection, wanted.sure, wanted.session)
    n_taken = summary.n_keepers + summary.n_rejects
    if not wanted.as_json:
        say_if_simulated(connection)
        _show_summary(summary, wanted)
    touched: list[int] = []
    if n_taken and not wanted.is_dry_run:
        if not _is_confirmed(wanted, n_taken):
            return
        summary, touched = accept(connection, wanted.sure, wanted.session, wanted.by, datetime.now(UTC))
    if wanted.as_json:
        print_json({**asdict(summary), "is_dry_run": wanted.is_dry_run, "session_ids": touched})
    elif touched:
        say(f"{format_count(summary.n_keepers + summary.n_rejects, 'verdict')} taken.")
        say("Undo it with: thirdstop judge --take-back")
        print_takeaways(connection, touched)
    elif n_taken and not wanted.is_dry_run:
        say("Nothing is taken: somebody else has judged these frames in the meantime.")


def _show_summary(summary: Acceptable, wanted: Wanted) -> None:
    n_taken = summary.n_keepers + summary.n_rejects
    if not n_taken:
        say(f"No suggestion is so sure. {_left(summary, wanted)}" if summary.n_left else "No unjudged frame is left.")
        return
    rows: list[tuple[object, ...]] = [("keeper", FINE, summary.n_keepers)]
    rows += [("reject", fault, number) for fault, number in summary.n_by_fault.items()]
    keepers, rejects = format_count(summary.n_keepers, "keeper"), format_count(summary.n_rejects, "reject")
    say(f"From {wanted.sure:g} on: {keepers} and {rejects}. {_left(summary, wanted)}")
    table(["verdict", "because", "frames"], rows, right=["frames"])
    if summary.n_keepers:
        say("Whether timing and framing are right, only your eyes can tell.")


def _left(summary: Acceptable, wanted: Wanted) -> str:
    if not summary.n_left:
        return "No unjudged frame is left then."
    session = "" if wanted.session is None else f" {wanted.session}"
    above = "" if wanted.sure == SURE else f" --accept-above {wanted.sure:g}"
    return f"{format_count(summary.n_left, 'frame')} left for your eyes: thirdstop judge{session} --to-look-at{above}"


def _is_confirmed(wanted: Wanted, n_taken: int) -> bool:
    """Whether the person says so: beforehand, or when asked on a terminal.

    Raises:
        JournalError: there is nobody to ask.
    """
    if wanted.is_confirmed:
        return True
    if wanted.as_json or not sys.stdin.isatty():
        raise JournalError(
            f"{format_count(n_taken, 'suggestion')} would become verdicts, and nobody confirmed it.",
            "Look at the summary with --dry-run, then add --yes.",
        )
    if typer.confirm(f"Make these {n_taken} suggestions your verdicts?"):
        return True
    say("Nothing was judged.")
    return False


def _list(connection: sqlite3.Connection, wanted: Wanted) -> None:
    from journal.cli.opened import say_if_simulated
    from journal.store.accepting import to_look_at

    frames = to_look_at(connection, wanted.sure, wanted.session)
    if wanted.as_json:
        print_json([asdict(frame) for frame in frames])
        return
    say_if_simulated(connection)
    if not frames:
        say("No unjudged frame needs your eyes.")
        return
    say(f"{format_count(len(frames), 'frame')} to look at, the hardest last.")
    rows = [(frame.frame_id, frame.session_id, frame.file_name, *_suggestion_cells(frame)) for frame in frames]
    table(["frame", "session", "file", "suggested", "probability", "evidence"], rows, right=["frame", "probability"])


def _suggestion_cells(frame: ToLookAt) -> tuple[str, str, str]:
    suggestion = frame.suggestion
    if suggestion is None and frame.why_unexamined is not None:
        return "could not be examined", "", frame.why_unexamined
    if suggestion is None:
        return "not examined", "", ""
    words = suggestion.fault or ("cannot be told" if suggestion.is_unsure else FINE)
    chances = suggestion.probabilities.values()
    told = math.prod(1 - one for one in chances) if words == FINE and chances else suggestion.probability
    chance = "" if told is None else f"{told:.2f}"
    return words, chance, "; ".join(suggestion.evidence[:2])


def _take_back(connection: sqlite3.Connection, wanted: Wanted) -> None:
    from journal.cli.takeaway import print_takeaways
    from journal.store.judging import last_judging, take_back

    number = last_judging(connection)
    if number is None:
        raise JournalError("There is nothing to take back.", "Judge frames with: thirdstop judge")
    if wanted.is_dry_run:
        row = connection.execute("select * from judgings where id = ?", [number]).fetchone()
        say(f"Would be taken back: {row['description']}, of {on_this_clock(row['made_at'])}.")
        return
    done = take_back(connection, number, datetime.now(UTC))
    if wanted.as_json:
        print_json(asdict(done))
        return
    changed = format_count(len(done.frame_ids), "frame")
    say(
        f"Taken back: {done.description}, of {on_this_clock(done.made_at)}. {changed} changed; "
        f"{done.n_unjudged} of them are unjudged again."
    )
    sessions = connection.execute(
        "select distinct session_id from frames join verdicts on verdicts.frame_id = frames.id "
        "where verdicts.judging_id = ? and session_id is not null order by session_id",
        [number],
    )
    print_takeaways(connection, [row[0] for row in sessions])
