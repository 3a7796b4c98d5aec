"""What the photographer said once and need not say again: the `settings` table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.store.opening import writing

if TYPE_CHECKING:
    import sqlite3


def recall(connection: sqlite3.Connection, name: str) -> str | None:
    """What was remembered under this name, or None."""
    row = connection.execute("select value from settings where name = ?", [name]).fetchone()
    return None if row is None else str(row[0])


def remember(connection: sqlite3.Connection, name: str, value: str) -> None:
    """Remembers a value under a name; the last one counts."""
    with writing(connection):
        connection.execute(
            "insert into settings values (?, ?) on conflict (name) do update set value = excluded.value", [name, value]
        )
