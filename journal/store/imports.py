"""The record of each import: open while it runs, done when it ended, with its problems."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from journal.notation import format_instant

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

    from journal.errors import Problem


def begin_import(connection: sqlite3.Connection, paths: Sequence[str]) -> int:
    """Notes that an import began; returns its id."""
    cursor = connection.execute(
        "insert into imports (started_at, state, paths) values (?, 'open', ?)",
        [format_instant(datetime.now(UTC)), json.dumps(list(paths))],
    )
    return int(cursor.lastrowid or 0)


def note_progress(connection: sqlite3.Connection, import_id: int, n_frames: int, n_files: int) -> None:
    """Adds to the counts of an import."""
    connection.execute(
        "update imports set n_frames = n_frames + ?, n_files = n_files + ? where id = ?",
        [n_frames, n_files, import_id],
    )


def note_problems(connection: sqlite3.Connection, import_id: int, problems: Sequence[Problem]) -> int:
    """Stores the files that an import could not use; returns how many."""
    rows = [(import_id, _storable(problem.file), problem.problem, problem.next_step) for problem in problems]
    connection.executemany("insert into problems (import_id, path, problem, next_step) values (?, ?, ?, ?)", rows)
    return len(rows)


def end_import(connection: sqlite3.Connection, import_id: int) -> None:
    """Notes that an import came to its end."""
    connection.execute(
        "update imports set state = 'done', ended_at = ?, "
        "n_problems = (select count(*) from problems where import_id = imports.id) where id = ?",
        [format_instant(datetime.now(UTC)), import_id],
    )


def _storable(name: str) -> str:
    """A file name that is not UTF-8 arrives with surrogates, which SQLite refuses; they are shown as escapes."""
    return name.encode("utf-8", "backslashreplace").decode()
