"""What the terminal says about a session after an import or a judgement: one sentence, then a few facts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.cli.output import say
from journal.notation import format_exposure_time, format_f_number

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable

#: Fewer judged bursts than this say nothing about a session.
ENOUGH_BURSTS = 3

#: One session with what was planned and what was used. Parameters: session id
USED = """
select
    count(distinct case when verdict <> 'unjudged' then burst_id end) as n_judged_bursts,
    min(exposure_time_s) as time_min, max(exposure_time_s) as time_max,
    min(f_number) as f_min, max(f_number) as f_max, min(iso) as iso_min, max(iso) as iso_max
from frames where session_id = ?
"""


def print_takeaways(connection: sqlite3.Connection, session_ids: Iterable[int]) -> None:
    """Prints the summary of each session that was touched, the last five at most."""
    numbers = list(session_ids)
    for session_id in numbers[-5:]:
        for line in takeaway_lines(connection, session_id):
            say(line)
    if len(numbers) > 5:
        say(f"... and {len(numbers) - 5} more sessions: thirdstop sessions")


def takeaway_lines(connection: sqlite3.Connection, session_id: int) -> list[str]:
    """The sentence to take away from a session, its counts, and its plan against what was used."""
    session = connection.execute(
        "select * from sessions join session_summaries on session_id = id where id = ?", [session_id]
    ).fetchone()
    if session is None:
        return []
    used = connection.execute(USED, [session_id]).fetchone()
    name = f"Session {session_id}" + (f" ({session['intent']})" if session["intent"] else "")
    lines = [f"{name}: {_sentence(session, used['n_judged_bursts'])}"]
    lines += [line for line in (_plan_line(session, used),) if line]
    return lines


def _sentence(session: sqlite3.Row, n_judged_bursts: int) -> str:
    frames = f"{session['n_frames']} frames in {session['n_bursts']} bursts"
    if session["n_judged"] == 0:
        return f"{frames}, none judged yet. Next: thirdstop judge"
    kept = f"{session['n_keepers']} keepers of {session['n_judged']} judged"
    if n_judged_bursts < ENOUGH_BURSTS:
        return f"{frames}, {kept}; too few bursts are judged to say more."
    if session["n_commonest_fault"] == 0:
        return f"{frames}, {kept}; no fault was written down."
    share = 100 * session["n_commonest_fault"] / max(session["n_rejects"], 1)
    return f"{frames}, {kept}; the commonest fault is {session['commonest_fault']}, on {share:.0f} of 100 rejects."


def _plan_line(session: sqlite3.Row, used: sqlite3.Row) -> str:
    parts = []
    for low, high, used_low, used_high, write in (
        ("planned_exposure_time_min_s", "planned_exposure_time_max_s", "time_min", "time_max", format_exposure_time),
        ("planned_f_number_min", "planned_f_number_max", "f_min", "f_max", format_f_number),
        ("planned_iso_min", "planned_iso_max", "iso_min", "iso_max", lambda iso: f"ISO {iso}"),
    ):
        if session[low] is not None and used[used_low] is not None:
            planned = (
                write(session[low])
                if session[low] == session[high]
                else f"{write(session[low])} to {write(session[high])}"
            )
            was = (
                write(used[used_low])
                if used[used_low] == used[used_high]
                else f"{write(used[used_low])} to {write(used[used_high])}"
            )
            parts.append(f"{planned}, used {was}")
    return f"  Planned {'; planned '.join(parts)}." if parts else ""
