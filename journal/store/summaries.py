"""Keeps the summary tables current, session by session, inside the writing transaction.

`cells` holds what the statistics need (burst x time x f-number x ISO with counts), `setting_counts` what a page or the
`keepers` command shows (one setting x burst with counts), `session_summaries` one line per session. Each is deleted and
made anew for the touched sessions only, so a page never scans the frames. Frames without a session are in no summary.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.schema.setting_keys import SETTING_KEYS, setting_label
from journal.store.opening import writing
from journal.store.summary_sql import CELLS, FAULT_COUNTS, SESSION_SUMMARY, SETTING_COUNTS

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable

#: The settings that keepers can be counted by, as `setting_counts.setting` names them.
SETTINGS = tuple(SETTING_KEYS)


def refresh(connection: sqlite3.Connection, session_ids: Iterable[int | None]) -> None:
    """Makes the summaries of these sessions anew; a session that is gone loses them."""
    with writing(connection):
        for session_id in {number for number in session_ids if number is not None}:
            _clear(connection, session_id)
            if connection.execute("select 1 from sessions where id = ?", [session_id]).fetchone():
                _fill(connection, session_id)


def refresh_all(connection: sqlite3.Connection) -> None:
    """Makes every session's summaries anew."""
    with writing(connection):
        refresh(connection, [row[0] for row in connection.execute("select id from sessions")])


def _clear(connection: sqlite3.Connection, session_id: int) -> None:
    connection.execute("delete from cells where session_id = ?", [session_id])
    connection.execute("delete from setting_counts where session_id = ?", [session_id])
    connection.execute("delete from session_summaries where session_id = ?", [session_id])


def _fill(connection: sqlite3.Connection, session_id: int) -> None:
    of_session = {"session_id": session_id}
    connection.execute(CELLS, of_session)
    commonest = connection.execute(FAULT_COUNTS, of_session).fetchone() or (None, 0)
    connection.execute(SESSION_SUMMARY, of_session | {"fault": commonest[0], "n_fault": commonest[1]})
    for setting, key in SETTING_KEYS.items():
        connection.executemany(
            "insert into setting_counts values (?, ?, ?, ?, ?, ?, ?, ?)",
            _setting_rows(connection, setting, key, session_id),
        )


def _setting_rows(connection: sqlite3.Connection, setting: str, key: str, session_id: int) -> list[tuple[object, ...]]:
    """One row per burst and label; several keys may share a label, as thirds share a whole stop."""
    counts: dict[tuple[int, str | None, float | None], list[int]] = {}
    for burst_id, value, *numbers in connection.execute(SETTING_COUNTS.format(key=key), {"session_id": session_id}):
        place = (burst_id, *setting_label(setting, value))
        sums = counts.setdefault(place, [0, 0, 0])
        counts[place] = [one + other for one, other in zip(sums, numbers, strict=True)]
    return [
        (setting, session_id, burst_id, label, sort_key, *sums) for (burst_id, label, sort_key), sums in counts.items()
    ]
