"""Advice that was given: one change to try, written down with its date before the sessions that follow it.

What an outcome is compared with must be fixed beforehand, so an entry is never changed afterwards, only ended.
`evidence_from` and `evidence_until` are the sessions that led to it: bad ones, or they would not have led to advice, so
they are left out of the comparison.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import format_instant
from journal.store.opening import writing

if TYPE_CHECKING:
    import sqlite3
    from datetime import datetime

#: The last sessions before a moment that have judged frames: begin of the first, end of the last.
#: Parameters: :before, :limit
EVIDENCE = """
select min(started_at) as evidence_from, max(ended_at) as evidence_until
from (
    select started_at, ended_at from sessions
    join session_summaries on session_id = id
    where n_judged > 0 and started_at <= :before
    order by started_at desc, id desc
    limit :limit
)
"""
#: How many sessions are taken to have led to advice: what one still has in mind.
EVIDENCE_SESSIONS = 5


def give_advice(connection: sqlite3.Connection, habit: str, advice: str, given_at: datetime) -> int:
    """Stores one piece of advice about a habit; returns its number. In a simulated journal it is simulated too.

    Raises:
        JournalError: advice on this habit is being followed already.
    """
    moment = format_instant(given_at)
    with writing(connection):
        running = connection.execute("select id from advice where habit = ? and ended_at is null", [habit]).fetchone()
        if running is not None:
            raise JournalError(
                f"Advice on {habit} is already given (number {running[0]}).",
                f"End it first with: thirdstop advice end {running[0]}",
            )
        evidence = connection.execute(EVIDENCE, {"before": moment, "limit": EVIDENCE_SESSIONS}).fetchone()
        cursor = connection.execute(
            "insert into advice (habit, advice, given_at, evidence_from, evidence_until, is_simulated) "
            "values (?, ?, ?, ?, ?, (select coalesce(min(is_simulated), 0) from sessions))",
            [habit, advice, moment, *evidence],
        )
    return int(cursor.lastrowid or 0)


def end_advice(connection: sqlite3.Connection, number: int, ended_at: datetime) -> None:
    """Ends a piece of advice: what is shot later no longer speaks about it.

    Raises:
        JournalError: there is no such advice, or it has ended.
    """
    with writing(connection):
        row = connection.execute("select ended_at from advice where id = ?", [number]).fetchone()
        if row is None:
            raise JournalError(f"There is no advice {number} in this journal.", "List it with: thirdstop advice")
        if row[0] is not None:
            raise JournalError(f"Advice {number} has ended already.", "List it with: thirdstop advice")
        connection.execute("update advice set ended_at = ? where id = ?", [format_instant(ended_at), number])
