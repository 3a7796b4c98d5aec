"""One import from beginning to end: skip what is known by stat, read the rest in workers, store chunk by chunk.

A chunk is one transaction, so an import that is killed loses at most the chunk it was on; the next import of the same
card finds the stored files by path, size and time of change, and goes on with the others.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from journal.errors import Problem
from journal.importing.pairing import FrameFiles, pair, stem_key
from journal.importing.stated_table import fill_known, read_stated
from journal.importing.storing import Circumstances, Stored, store_chunk
from journal.importing.walking import find_files
from journal.readers import read_many
from journal.store.imports import begin_import, end_import, note_problems
from journal.store.opening import writing
from journal.store.summaries import refresh

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Iterator, Sequence

    from journal.records.files import FileFacts

#: Files read and stored together; a few seconds of work.
CHUNK_FILES = 500


@dataclass(slots=True)
class Summary:
    """What an import did, or would do."""

    n_files: int = 0
    n_unchanged: int = 0
    n_frames: int = 0
    n_known: int = 0
    n_undated: int = 0
    n_bursts: int = 0
    session_ids: list[int] = field(default_factory=list)
    suggested_ids: list[int] = field(default_factory=list)
    #: Sessions that a dry run foresees; those that would be suggested have no number yet.
    n_to_be_suggested: int = 0
    problems: list[Problem] = field(default_factory=list)


def import_files(
    connection: sqlite3.Connection,
    paths: Sequence[Path],
    circumstances: Circumstances,
    previews: bool = True,
    advance: Callable[[int], None] = lambda _steps: None,
) -> Summary:
    """Imports files and folders; originals are only read.

    Args:
        connection: an open journal.
        paths: files or folders.
        circumstances: what the photographer states about this import.
        previews: keep a small preview of each frame.
        advance: told the number of files done, for a progress bar.

    Raises:
        JournalError: a path is missing, or there is no picture at all.
    """
    files, problems = find_files(paths)
    summary = Summary(n_files=len(files), problems=problems)
    with writing(connection):
        import_id = begin_import(connection, [str(path) for path in paths])
    n_noted = 0
    for chunk in chunks(files):
        new = unknown_files(connection, chunk)
        summary.n_unchanged += len(chunk) - len(new)
        if new:
            facts, pictures = read_chunk(new, previews, summary.problems)
            with writing(connection):
                _add(summary, store_chunk(connection, pair(facts), pictures, circumstances, import_id))
                n_noted = note_problems(connection, import_id, summary.problems[n_noted:]) + n_noted
        advance(len(chunk))
    with writing(connection):
        note_problems(connection, import_id, summary.problems[n_noted:])
        end_import(connection, import_id)
    summary.n_bursts = _n_bursts(connection, import_id)
    return summary


def import_table(connection: sqlite3.Connection, path: Path, circumstances: Circumstances) -> Summary:
    """Imports frames written down by hand in a CSV file with Exif's names as headings."""
    facts, problems = read_stated(path)
    summary = Summary(n_files=1, problems=problems)
    with writing(connection):
        import_id = begin_import(connection, [str(path)])
        left, touched = fill_known(connection, facts)
        summary.n_known = len(facts) - len(left)
        _add(summary, store_chunk(connection, [FrameFiles((fact,)) for fact in left], {}, circumstances, import_id))
        refresh(connection, touched)
        summary.session_ids = sorted({*summary.session_ids, *touched})
        note_problems(connection, import_id, problems)
        end_import(connection, import_id)
    summary.n_bursts = _n_bursts(connection, import_id)
    return summary


def unknown_files(connection: sqlite3.Connection, chunk: Sequence[str]) -> list[str]:
    """The files of a chunk that are not in the journal as they are now, by path, size and time of change alone."""
    rows = connection.execute(
        "select path, size_bytes, mtime_ns from files where path in (select value from json_each(?))",
        [json.dumps(list(chunk))],
    )
    known = {row["path"]: (row["size_bytes"], row["mtime_ns"]) for row in rows}
    return [path for path in chunk if path not in known or known[path] != _stat(path)]


def _stat(path: str) -> tuple[int, int] | None:
    try:
        found = Path(path).stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns


def chunks(files: Sequence[str]) -> Iterator[list[str]]:
    """Chunks of files that never part the files of one stem."""
    rest = iter(sorted(files, key=stem_key))
    pending: list[str] = []
    for path in rest:
        if len(pending) >= CHUNK_FILES and stem_key(path) != stem_key(pending[-1]):
            yield pending
            pending = []
        pending.append(path)
    if pending:
        yield pending


def read_chunk(
    paths: Sequence[str], previews: bool, problems: list[Problem]
) -> tuple[list[FileFacts], dict[str, bytes]]:
    """What the files say, with their previews by path; those that cannot be read are added to the problems."""
    facts: list[FileFacts] = []
    pictures: dict[str, bytes] = {}
    for answer, webp in read_many(paths, previews=True) if previews else _without(paths):
        if isinstance(answer, Problem):
            problems.append(answer)
        else:
            facts.append(answer)
            if webp is not None:
                pictures[answer.path] = webp
    return facts, pictures


def _without(paths: Sequence[str]) -> Iterator[tuple[FileFacts | Problem, bytes | None]]:
    return ((answer, None) for answer in read_many(paths))


def _add(summary: Summary, stored: Stored) -> None:
    summary.n_frames += stored.n_frames
    summary.n_known += stored.n_known
    summary.n_undated += stored.n_undated
    summary.problems += stored.problems
    summary.session_ids = sorted({*summary.session_ids, *stored.sessions})
    summary.suggested_ids = sorted({*summary.suggested_ids, *stored.suggested})


def _n_bursts(connection: sqlite3.Connection, import_id: int) -> int:
    row = connection.execute("select count(distinct burst_id) from frames where import_id = ?", [import_id])
    return int(row.fetchone()[0])
