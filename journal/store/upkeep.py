"""Keeping the journal file sound: a consistent copy, and a check of everything that can be checked."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from journal.errors import JournalError
from journal.optics.derived import DERIVED_VERSION
from journal.schema.migrations import SCHEMA_VERSION
from journal.store.opening import explained


@dataclass(frozen=True, slots=True)
class Findings:
    """What a check found; a sound file has no faults, and missing originals are no fault of the file."""

    schema_version: int
    faults: tuple[str, ...]
    n_frames: int
    n_files: int
    n_missing_originals: int


def back_up(connection: sqlite3.Connection, target: Path, overwrite: bool = False) -> int:
    """Writes a consistent copy while the journal is in use; returns its size [bytes].

    The copy is made beside the target, checked, and only then given its name.

    Raises:
        JournalError: there is a file already, or the copy cannot be written.
    """
    if target.exists() and not overwrite:
        raise JournalError(f"There is a file at {target} already.", "Choose another name, or add --overwrite.")
    if not target.parent.is_dir():
        raise JournalError(f"There is no folder {target.parent}.", "Make it, or choose another place.")
    temporary = target.with_name(f"{target.name}.part")
    temporary.unlink(missing_ok=True)
    try:
        with explained(target):
            connection.execute("vacuum into ?", [str(temporary)])
            _refuse_broken(temporary)
        temporary.replace(target)
    finally:
        temporary.unlink(missing_ok=True)
    return target.stat().st_size


def _refuse_broken(path: Path) -> None:
    copy = sqlite3.connect(path)
    try:
        if copy.execute("pragma integrity_check").fetchone()[0] != "ok":
            raise JournalError("The copy is not sound.", "Check the disk, then run the command again.")
    finally:
        copy.close()


#: Sessions whose summary does not say what their frames say. No parameters.
STALE_SUMMARIES = """
select count(*) from sessions
left join session_summaries on session_summaries.session_id = sessions.id
left join (
    select session_id, count(*) as n, sum(verdict = 'keeper') as kept from frames group by session_id
) as counted on counted.session_id = sessions.id
where coalesce(counted.n, 0) <> coalesce(n_frames, 0) or coalesce(counted.kept, 0) <> coalesce(n_keepers, 0)
"""


def check(connection: sqlite3.Connection) -> Findings:
    """Looks at the file's integrity, its references, versions, summaries and originals."""
    faults = [f"SQLite: {row[0]}" for row in connection.execute("pragma integrity_check") if row[0] != "ok"]
    n_orphans = len(connection.execute("pragma foreign_key_check").fetchall())
    if n_orphans:
        faults.append(f"{n_orphans} rows point to rows that are gone.")
    version = connection.execute("pragma user_version").fetchone()[0]
    if version != SCHEMA_VERSION:
        faults.append(f"The schema is {version}, not {SCHEMA_VERSION}.")
    n_stale = connection.execute(STALE_SUMMARIES).fetchone()[0]
    if n_stale:
        faults.append(f"The summaries of {n_stale} sessions are not current.")
    old = "select count(*) from frames where derived_version <> ?"
    n_old = connection.execute(old, [DERIVED_VERSION]).fetchone()[0]
    if n_old:
        faults.append(f"{n_old} frames have derived numbers of another version.")
    paths = [
        row[0]
        for row in connection.execute("select path from files where kind <> 'table' and path not like 'simulated/%'")
    ]
    n_frames = connection.execute("select count(*) from frames").fetchone()[0]
    missing = sum(not Path(path).exists() for path in paths)
    return Findings(version, tuple(faults), n_frames, len(paths), missing)
