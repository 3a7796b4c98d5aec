"""Brings a journal file up to the current schema: a backup first, then every step in one transaction.

A step is SQL text. Step n takes a file from version n - 1 to n; step 1 makes an empty file a journal. A file from a
newer version is refused, never downgraded.
"""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.schema.anchors import ANCHORS
from journal.schema.choices import CHOICES
from journal.schema.ddl import APPLICATION_ID, MEASURES_AND_ADVICE, SCHEMA
from journal.schema.labels import LABELS
from journal.schema.look_ups import LOOK_UPS
from journal.schema.mentors import MENTOR_LINKS
from journal.schema.reviews import REVIEWS
from journal.schema.unexamined import UNEXAMINED

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

#: Steps in order; the schema version is how many there are.
STEPS: tuple[str, ...] = (
    SCHEMA,
    MEASURES_AND_ADVICE,
    REVIEWS,
    CHOICES,
    ANCHORS,
    MENTOR_LINKS,
    LOOK_UPS,
    LABELS,
    UNEXAMINED,
)

SCHEMA_VERSION = len(STEPS)


def schema_version(connection: sqlite3.Connection) -> int:
    """The schema version that the file says it has; 0 for an empty file."""
    return int(connection.execute("pragma user_version").fetchone()[0])


def migrate(connection: sqlite3.Connection, path: Path, steps: Sequence[str] = STEPS) -> Path | None:
    """Brings the file to the version that the steps lead to; returns the backup that was made, if one was needed.

    Raises:
        JournalError: the file is no journal, or comes from a newer version.
    """
    version, newest = schema_version(connection), len(steps)
    if version == newest:
        return None
    if version > newest:
        raise JournalError(
            f"The journal {path} has schema {version}; this version of thirdstop knows schemas up to {newest}.",
            "Install the newer thirdstop that wrote it, or choose another file with --journal.",
        )
    backup = _back_up(connection, path, version) if version else None
    for number in range(version + 1, newest + 1):
        _run_step(connection, number, steps[number - 1])
    return backup


def _run_step(connection: sqlite3.Connection, number: int, script: str) -> None:
    """One step and its record in one transaction; another process that was quicker is noticed inside it."""
    connection.execute("begin immediate")
    try:
        if schema_version(connection) < number:
            for statement in _statements(script):
                connection.execute(statement)
            connection.execute(f"pragma user_version = {number}")
            connection.execute(f"pragma application_id = {APPLICATION_ID}")
        connection.execute("commit")
    except BaseException:
        connection.execute("rollback")
        raise


def _back_up(connection: sqlite3.Connection, path: Path, version: int) -> Path:
    """A consistent copy beside the file, named after the version it still has."""
    target = path.with_name(f"{path.name}.schema-{version}.backup")
    copy = sqlite3.connect(target)
    try:
        connection.backup(copy)
    finally:
        copy.close()
    return target


def _statements(script: str) -> list[str]:
    """The statements of a script. `executescript` would commit, and so break the transaction of a step."""
    statements, pending = [], ""
    for line in script.splitlines(keepends=True):
        pending += line
        if pending.strip() and sqlite3.complete_statement(pending):
            statements.append(pending)
            pending = ""
    return statements
