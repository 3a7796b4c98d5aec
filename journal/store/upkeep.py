"""Keeping the journal file sound: a consistent copy, and a check of everything that can be checked."""

from __future__ import annotations

import sqlite3
import tempfile
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
    if target.is_dir():
        raise JournalError(f"{target} is a folder.", "Name the file of the copy.")
    if target.exists() and target.samefile(_file_of(connection)):
        raise JournalError(f"{target} is the journal itself.", "Choose another name for the copy.")
    if target.exists() and not overwrite:
        raise JournalError(f"There is a file at {target} already.", "Choose another name, or add --overwrite.")
    if not target.parent.is_dir():
        raise JournalError(f"There is no folder {target.parent}.", "Make it, or choose another place.")
    try:
        # a folder of its own beside the target: on the same disk, so the rename is atomic, and never shared by two runs
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=target.parent) as folder:
            copy = Path(folder, "copy")
            with explained(target):
                connection.execute("vacuum into ?", [str(copy)])
                _refuse_broken(copy)
            copy.replace(target)
            return target.stat().st_size
    except OSError as error:
        raise JournalError(
            f"The copy {target} cannot be written: {error.strerror}.", "Choose another place, or check its permissions."
        ) from error


def _file_of(connection: sqlite3.Connection) -> Path:
    return Path(connection.execute("select file from pragma_database_list where name = 'main'").fetchone()[0])


def _refuse_broken(path: Path) -> None:
    copy = sqlite3.connect(path)
    try:
        if copy.execute("pragma integrity_check").fetchone()[0] != "ok":
            raise JournalError("The copy is not sound.", "Check the disk, then run the command again.")
    finally:
        copy.close()


#: Sessions whose summary or cells do not say what their frames say. No parameters.
STALE_SUMMARIES = """
with
    counted as (
        select
            session_id, count(*) as n_frames, count(distinct burst_id) as n_bursts,
            sum(verdict <> 'unjudged') as n_judged, sum(verdict = 'keeper') as n_keepers,
            sum(verdict = 'reject') as n_rejects,
            count(burst_id) as n_in_bursts,
            sum(burst_id is not null and verdict = 'keeper') as n_kept_in_bursts
        from frames where session_id is not null group by session_id
    ),
    in_cells as (
        select session_id, sum(n_frames) as n_frames, sum(n_keepers) as n_keepers from cells group by session_id
    ),
    in_choices as (
        select session_id, sum(n_frames) as n_frames, sum(n_keepers) as n_keepers from choices group by session_id
    )
select count(*) from sessions
left join session_summaries as said on said.session_id = sessions.id
left join counted on counted.session_id = sessions.id
left join in_cells on in_cells.session_id = sessions.id
left join in_choices on in_choices.session_id = sessions.id
where
    (coalesce(said.n_frames, 0), coalesce(said.n_bursts, 0), coalesce(said.n_judged, 0),
     coalesce(said.n_keepers, 0), coalesce(said.n_rejects, 0))
    <> (coalesce(counted.n_frames, 0), coalesce(counted.n_bursts, 0), coalesce(counted.n_judged, 0),
        coalesce(counted.n_keepers, 0), coalesce(counted.n_rejects, 0))
    or (coalesce(in_cells.n_frames, 0), coalesce(in_cells.n_keepers, 0))
    <> (coalesce(counted.n_in_bursts, 0), coalesce(counted.n_kept_in_bursts, 0))
    or (coalesce(in_choices.n_frames, 0), coalesce(in_choices.n_keepers, 0))
    <> (coalesce(counted.n_in_bursts, 0), coalesce(counted.n_kept_in_bursts, 0))
"""

#: Frames whose verdict is not the newest of their history. No parameters.
STALE_VERDICTS = """
with ordered as (
    select
        frame_id, verdict, row_number() over (partition by frame_id order by rtrim(judged_at, 'Z') desc, id desc) as age
    from verdicts
    where judging_id is null or judging_id not in (select id from judgings where taken_back_at is not null)
)
select count(*) from frames
left join ordered on ordered.frame_id = frames.id and ordered.age = 1
where frames.verdict <> coalesce(ordered.verdict, 'unjudged')
"""

#: Where the originals were; frames written down in a table or simulated have none. No parameters.
ORIGINALS = "select path from files where kind <> 'table' and path not like 'simulated/%'"

#: More lines of one kind tell no more.
MAX_LINES = 5


def check(connection: sqlite3.Connection) -> Findings:
    """Looks at the file's integrity, its references, versions, summaries, verdicts and originals."""
    version = int(connection.execute("pragma user_version").fetchone()[0])
    broken = _broken(connection)
    if broken:  # what a damaged file answers to other questions means nothing
        return Findings(version, broken, 0, 0, 0)
    faults = []
    n_orphans = len(connection.execute("pragma foreign_key_check").fetchall())
    if n_orphans:
        faults.append(f"{n_orphans} rows point to rows that are gone.")
    if version != SCHEMA_VERSION:
        faults.append(f"The schema is {version}, not {SCHEMA_VERSION}.")
    for sql, told in (
        (STALE_SUMMARIES, "The summaries of {} sessions are not current."),
        (STALE_VERDICTS, "{} frames have a verdict that is not the newest of their history."),
    ):
        n_stale = connection.execute(sql).fetchone()[0]
        if n_stale:
            faults.append(told.format(n_stale))
    old = "select count(*) from frames where derived_version <> ?"
    n_old = connection.execute(old, [DERIVED_VERSION]).fetchone()[0]
    if n_old:
        faults.append(f"{n_old} frames have derived numbers of another version.")
    paths = [row[0] for row in connection.execute(ORIGINALS)]
    n_frames = connection.execute("select count(*) from frames").fetchone()[0]
    missing = sum(not Path(path).exists() for path in paths)
    return Findings(version, tuple(faults), n_frames, len(paths), missing)


def _broken(connection: sqlite3.Connection) -> tuple[str, ...]:
    """What SQLite itself finds wrong with the file."""
    try:
        lines = [row[0] for row in connection.execute("pragma integrity_check") if row[0] != "ok"]
    except sqlite3.DatabaseError as error:
        return (f"SQLite: {error}.",)
    return tuple(f"SQLite: {line}" for line in lines[:MAX_LINES])
