"""Opens a journal file: pragmas at every open, migrations where needed, and plain words where it cannot be done.

The standard `sqlite3` is used here, not sqlite-utils: logging an outing must start at once.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.schema.ddl import APPLICATION_ID
from journal.schema.migrations import SCHEMA_VERSION, migrate, schema_version
from journal.schema.reading import connect_read_only

if TYPE_CHECKING:
    from collections.abc import Iterator

#: How long a second writer waits for the first [ms]; a chunk of an import is written in far less.
BUSY_TIMEOUT_MS = 10_000


def open_journal(path: Path, must_exist: bool = False) -> sqlite3.Connection:
    """Opens the journal for reading and writing, makes it on first use, and brings it to the current schema.

    Raises:
        JournalError: no journal there (`must_exist`), no journal at all, a newer one, or a folder that refuses.
    """
    if path.is_dir():
        raise JournalError(f"{path} is a folder, not a journal.", "Name a file, for example with --journal my.journal.")
    if must_exist and not path.exists():
        raise JournalError(f"There is no journal at {path}.", "Make one with: thirdstop log, or see: thirdstop demo")
    _make_folder(path)
    with explained(path):
        _refuse_foreign_file(path)
        connection = sqlite3.connect(path, isolation_level=None)
        try:
            _prepare(connection)
            connection.execute("pragma journal_mode = wal")
            migrate(connection, path)
        except BaseException:
            connection.close()
            raise
    return connection


def open_read_only(path: Path) -> sqlite3.Connection:
    """Opens a journal that exists, for reading only.

    Raises:
        JournalError: there is none, or its schema is not the current one and it must be opened for writing first.
    """
    if not path.is_file():
        raise JournalError(f"There is no journal at {path}.", "Make one with: thirdstop log, or see: thirdstop demo")
    with explained(path):
        _refuse_foreign_file(path)
        connection = connect_read_only(path)
        _prepare(connection)
        if schema_version(connection) != SCHEMA_VERSION:
            connection.close()
            open_journal(path).close()
            return open_read_only(path)
    return connection


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """One transaction: all of it or nothing. Inside another one it joins that."""
    if connection.in_transaction:
        yield connection
        return
    with explained():
        connection.execute("begin immediate")
    try:
        yield connection
        with explained():
            connection.execute("commit")
    except BaseException:
        _roll_back(connection)
        raise


def _roll_back(connection: sqlite3.Connection) -> None:
    """SQLite may have rolled back by itself, as it does on a full disk."""
    if connection.in_transaction:
        connection.execute("rollback")


@contextmanager
def explained(path: Path | None = None) -> Iterator[None]:
    """Says what to do where SQLite gives only a code."""
    place = f"the journal {path}" if path else "the journal"
    try:
        yield
    except sqlite3.DatabaseError as error:
        raise journal_error(error, place) from error


def journal_error(error: sqlite3.DatabaseError, place: str = "the journal") -> JournalError:
    """What SQLite's error code means for the photographer; read from the code, never from the message."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = code & 0xFF if isinstance(code, int) else None
    if primary == sqlite3.SQLITE_FULL:
        return JournalError(f"The disk is full: {place} could not grow.", "Free some space and run the command again.")
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return JournalError(
            f"Another program is writing to {place}.", "Wait until it is done and run the command again."
        )
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return JournalError(
            f"{place[0].upper()}{place[1:]} cannot be written.",
            "Check the permissions of the file and its folder, or choose another file with --journal.",
        )
    if primary == sqlite3.SQLITE_NOTADB:
        return JournalError(
            f"{place[0].upper()}{place[1:]} is not an SQLite file.", "Choose a journal with --journal PATH."
        )
    return JournalError(
        f"{place[0].upper()}{place[1:]} could not be used ({getattr(error, 'sqlite_errorname', 'SQLite')}: {error}).",
        "Look at the file with: thirdstop check",
    )


def _make_folder(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise JournalError(
            f"The folder {path.parent} cannot be made: {error.strerror}.",
            "Choose another file with --journal PATH.",
        ) from error
    if path.exists() and not os.access(path, os.R_OK):
        raise JournalError(f"The journal {path} cannot be read.", "Check the permissions of the file.")


def _refuse_foreign_file(path: Path) -> None:
    """A database of another program must not become a journal by mistake."""
    if not path.exists() or path.stat().st_size == 0:
        return
    connection = connect_read_only(path)
    try:
        found = connection.execute("pragma application_id").fetchone()[0]
    finally:
        connection.close()
    if found != APPLICATION_ID:
        raise JournalError(f"{path} is a database, but not a journal.", "Choose a journal with --journal PATH.")


def _prepare(connection: sqlite3.Connection) -> None:
    connection.row_factory = sqlite3.Row
    connection.execute(f"pragma busy_timeout = {BUSY_TIMEOUT_MS}")
    connection.execute("pragma foreign_keys = on")
    connection.execute("pragma synchronous = normal")
