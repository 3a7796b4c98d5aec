"""Long tables read in portions, by frames or by sessions, so that no single statement takes long.

The order is that of the portions; a statement orders within its own. All portions are of one moment only where they are
read inside one transaction.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from analytics import queries

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Mapping

    Row = tuple[Any, ...]

#: Before the first number that a row can have.
BEFORE_ALL = -(2**63)
#: Frames and sessions of one portion. Source: measured; at a million frames one takes 5 to 25 ms.
FRAMES_A_TIME, SESSIONS_A_TIME = 5_000, 100


def by_frames(connection: sqlite3.Connection, sql: str) -> Iterator[list[Row]]:
    """The rows of a statement with the parameters :after and :last, which are numbers of frames.

    Args:
        connection: of an open journal.
        sql: one of `analytics.queries`.
    """
    return _portions(connection, sql, {}, queries.LAST_OF_FRAMES, FRAMES_A_TIME)


def by_sessions(
    connection: sqlite3.Connection, sql: str, parameters: Mapping[str, Any] | None = None
) -> Iterator[list[Row]]:
    """The same for numbers of sessions.

    Args:
        connection: of an open journal.
        sql: one of `analytics.queries`.
        parameters: further ones of the statement.
    """
    return _portions(connection, sql, parameters or {}, queries.LAST_OF_SESSIONS, SESSIONS_A_TIME)


def _portions(
    connection: sqlite3.Connection, sql: str, parameters: Mapping[str, Any], last_sql: str, size: int
) -> Iterator[list[Row]]:
    cursor = connection.cursor()
    cursor.row_factory = None
    after = BEFORE_ALL
    while True:
        last = cursor.execute(last_sql, {"after": after, "size": size}).fetchone()[0]
        if last is None:
            return
        yield cursor.execute(sql, {**parameters, "after": after, "last": last}).fetchall()
        after = last
