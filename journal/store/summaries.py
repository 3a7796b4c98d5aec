"""Keeps the summary tables current, session by session, inside the writing transaction.

`cells` holds what the statistics need (burst x time x f-number x ISO with counts), `choices` what keepers are counted
from under any filter (burst x everything that was chosen), `setting_counts` what the first page shows (one setting x
burst with counts), `session_summaries` one line per session. Each is deleted and made anew for the touched sessions
only, so a page never scans the frames. Frames without a session are in no summary.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from journal.schema.setting_keys import SETTING_KEYS, setting_label
from journal.store.opening import writing
from journal.store.summary_sql import CELLS, CHOICES, FAULT_COUNTS, SESSION_SUMMARY, SETTING_COUNTS, STAMP

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable

#: The settings that keepers can be counted by, as `setting_counts.setting` names them.
SETTINGS = tuple(SETTING_KEYS)


def refresh(connection: sqlite3.Connection, session_ids: Iterable[int | None]) -> None:
    """Makes the summaries of these sessions anew; a session that is gone loses them."""
    with writing(connection):
        for session_id in {number for number in session_ids if number is not None}:
            _make(connection, session_id, None)


def refresh_bursts(connection: sqlite3.Connection, session_id: int, burst_ids: Iterable[int]) -> None:
    """Makes the summaries of these bursts anew; the rest of the session is as it was."""
    with writing(connection):
        _make(connection, session_id, json.dumps(sorted(burst_ids)))


def refresh_all(connection: sqlite3.Connection) -> None:
    """Makes every session's summaries anew."""
    with writing(connection):
        refresh(connection, [row[0] for row in connection.execute("select id from sessions")])


#: Summary rows of a session, or of some bursts of it. Parameters: session id, bursts (JSON or null) twice
OF_BURSTS = "session_id = ? and (? is null or burst_id in (select value from json_each(?)))"


def _make(connection: sqlite3.Connection, session_id: int, bursts: str | None) -> None:
    of = [session_id, bursts, bursts]
    for table in ("cells", "choices", "setting_counts"):
        connection.execute(f"delete from {table} where {OF_BURSTS}", of)  # noqa: S608
    connection.execute("delete from session_summaries where session_id = ?", [session_id])
    if not connection.execute("select 1 from sessions where id = ?", [session_id]).fetchone():
        return
    of_session = {"session_id": session_id, "bursts": bursts}
    connection.execute(CELLS, of_session)
    connection.execute(CHOICES, of_session)
    connection.execute(STAMP, of_session)
    commonest = connection.execute(FAULT_COUNTS, {"session_id": session_id}).fetchone() or (None, 0)
    counted = {"session_id": session_id, "fault": commonest[0], "n_fault": commonest[1]}
    connection.execute(SESSION_SUMMARY, counted)
    for setting, key in SETTING_KEYS.items():
        rows = _setting_rows(setting, connection.execute(SETTING_COUNTS.format(key=key), of_session))
        connection.executemany(
            "insert into setting_counts values (?, ?, ?, ?, ?, ?, ?, ?)",
            [(setting, session_id, *row) for row in rows],
        )


def _setting_rows(setting: str, counted: Iterable[sqlite3.Row]) -> list[tuple[object, ...]]:
    """One row per burst and label; several keys may share a label, as thirds share a whole stop."""
    counts: dict[tuple[int, str | None, float | None], list[int]] = {}
    for burst_id, value, *numbers in counted:
        place = (burst_id, *setting_label(setting, value))
        sums = counts.setdefault(place, [0, 0, 0])
        counts[place] = [one + other for one, other in zip(sums, numbers, strict=True)]
    return [(burst_id, label, sort_key, *sums) for (burst_id, label, sort_key), sums in counts.items()]
