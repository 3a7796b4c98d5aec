"""Verdicts: every one is kept, the newest counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import format_instant
from journal.schema.ddl import FAULTS
from journal.store.opening import writing
from journal.store.summaries import refresh

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable
    from datetime import datetime

    from journal.records.verdicts import Verdict


def record(
    connection: sqlite3.Connection, verdicts: Iterable[Verdict], *, judged_by: str, source: str, judged_at: datetime
) -> list[int]:
    """Adds verdicts to the history of their frames; returns the sessions touched.

    A verdict that says what already counts adds nothing.

    Raises:
        JournalError: an unknown frame or fault, or a keeper with a fault.
    """
    touched: set[int | None] = set()
    with writing(connection):
        for verdict in verdicts:
            _refuse_nonsense(verdict)
            session_id = _add(connection, verdict, (format_instant(judged_at), judged_by, source))
            if session_id is not False:
                touched.add(session_id)
        refresh(connection, touched)
    return sorted(number for number in touched if number is not None)


def _refuse_nonsense(verdict: Verdict) -> None:
    unknown = [fault for fault in verdict.faults if fault not in FAULTS]
    if unknown:
        raise JournalError(f"{unknown[0]!r} is no fault this journal knows.", f"Use one of: {', '.join(FAULTS)}.")
    if verdict.faults and verdict.verdict != "reject":
        raise JournalError(f"Frame {verdict.frame_id} is no reject, so it has no fault.", "Leave out --fault.")


def _add(connection: sqlite3.Connection, verdict: Verdict, origin: tuple[str, str, str]) -> int | bool | None:
    """Adds one verdict; the frame's session, or False where nothing changed."""
    frame = connection.execute("select session_id, verdict from frames where id = ?", [verdict.frame_id]).fetchone()
    if frame is None:
        raise JournalError(
            f"There is no frame {verdict.frame_id} in this journal.", "List the frames with: thirdstop frames"
        )
    rows = connection.execute("select fault from frame_faults where frame_id = ?", [verdict.frame_id])
    if frame["verdict"] == verdict.verdict and {row[0] for row in rows} == set(verdict.faults):
        return False
    cursor = connection.execute(
        "insert into verdicts (frame_id, verdict, judged_at, judged_by, source) values (?, ?, ?, ?, ?)",
        [verdict.frame_id, verdict.verdict, *origin],
    )
    faults = sorted(set(verdict.faults))
    connection.executemany("insert into verdict_faults values (?, ?)", [(cursor.lastrowid, fault) for fault in faults])
    connection.execute("update frames set verdict = ? where id = ?", [verdict.verdict, verdict.frame_id])
    connection.execute("delete from frame_faults where frame_id = ?", [verdict.frame_id])
    connection.executemany("insert into frame_faults values (?, ?)", [(verdict.frame_id, fault) for fault in faults])
    session_id: int | None = frame["session_id"]
    return session_id


def history(connection: sqlite3.Connection, frame_id: int) -> list[sqlite3.Row]:
    """Every verdict on a frame, oldest first: who, when, from where, and the faults."""
    return connection.execute(
        "select verdict, judged_at, judged_by, source, "
        "(select group_concat(fault, '; ') from verdict_faults where verdict_id = verdicts.id) as faults "
        "from verdicts where frame_id = ? order by id",
        [frame_id],
    ).fetchall()
