"""Journals that a command opened; closed when it ends, so that a writer leaves nothing beside the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.cli.output import say
from journal.store import opening
from journal.store.recompute import recompute_if_needed

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

_connections: list[sqlite3.Connection] = []


def open_journal(path: Path, must_exist: bool = False) -> sqlite3.Connection:
    """The journal for reading and writing, until the command ends; see `journal.store.opening.open_journal`."""
    _connections.append(opening.open_journal(path, must_exist))
    recompute_if_needed(_connections[-1])
    return _connections[-1]


def open_read_only(path: Path) -> sqlite3.Connection:
    """The journal for reading, until the command ends; see `journal.store.opening.open_read_only`."""
    _connections.append(opening.open_read_only(path))
    return _connections[-1]


def say_if_simulated(connection: sqlite3.Connection) -> None:
    """Says that a journal holds simulated sessions, before anything else is shown of it."""
    if connection.execute("select 1 from sessions where is_simulated = 1 limit 1").fetchone():
        say("Simulated data.")


def close_all() -> None:
    """Closes what the command opened; SQLite then takes a writer's log into the file and removes it."""
    while _connections:
        _connections.pop().close()
