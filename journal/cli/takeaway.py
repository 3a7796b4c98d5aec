"""What the terminal says about a session after an import or a judgement: one sentence, then its plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.cli.output import say
from journal.notation import format_count, format_exposure_time, format_f_number

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Iterable

    from journal.records.planned import PlannedAgainstUsed

#: How the values of a planned setting are written.
WRITTEN: dict[str, Callable[[float], str]] = {
    "exposure_time_s": format_exposure_time,
    "f_number": format_f_number,
    "iso": lambda iso: f"ISO {iso:.0f}",
}


def print_takeaways(connection: sqlite3.Connection, session_ids: Iterable[int]) -> None:
    """Prints the summary of each session that was touched, the last five at most."""
    numbers = list(session_ids)
    for session_id in numbers[-5:]:
        for line in takeaway_lines(connection, session_id):
            say(line)
    if len(numbers) > 5:
        say(f"... and {format_count(len(numbers) - 5, 'more session')}: thirdstop sessions")


def takeaway_lines(connection: sqlite3.Connection, session_id: int) -> list[str]:
    """The sentence to take away from a session, its counts, and its plan against what was used."""
    from journal.store.takeaway import session_takeaway

    found = session_takeaway(connection, session_id)
    if found is None:
        return []
    name = f"Session {session_id}" + (f" ({found.intent})" if found.intent else "")
    lines = [
        f"{name}: {format_count(found.n_frames, 'frame')} in {format_count(found.n_bursts, 'burst')}, {found.sentence}"
    ]
    return lines + [_plan_line(line) for line in found.plan]


def _plan_line(line: PlannedAgainstUsed) -> str:
    write = WRITTEN[line.setting]
    planned = _range(write, line.planned_min, line.planned_max)
    used = _range(write, line.used_min, line.used_max)
    middle = f" (median {write(line.used_median)})" if line.used_min != line.used_max else ""
    within = round(line.share_within * line.n_frames)
    return f"  Planned {planned}; used {used}{middle}; {within} of {line.n_frames} frames as planned."


def _range(write: Callable[[float], str], low: float, high: float) -> str:
    return write(low) if write(low) == write(high) else f"{write(low)} to {write(high)}"
