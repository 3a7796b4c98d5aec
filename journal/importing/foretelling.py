"""What an import would do; nothing is written.

The files are read as an import reads them, and the journal is asked what it knows. What the import itself would make on
the way, sessions that are suggested and grow, is only counted.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from journal.importing.pairing import FrameFiles, pair
from journal.importing.run import Summary, chunks, read_chunk, unknown_files
from journal.importing.stated_table import KNOWN, read_stated
from journal.importing.storing import (
    known_frame,
    lonely_sidecar,
    moment_of,
    set_time,
)
from journal.importing.walking import find_files
from journal.store.frames import SESSION_GAP, matching_session, near_suggested

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence
    from pathlib import Path

    from journal.importing.storing import Circumstances

#: The clock of a frame's body, known or stated before its first frame. Parameters: :model, :serial_number
CLOCK = """
select clock_offset_s from bodies
where model = :model and serial_number in (:serial_number, '')
order by serial_number = :serial_number desc limit 1
"""


def foretell_import(
    connection: sqlite3.Connection | None, paths: Sequence[Path], circumstances: Circumstances
) -> Summary:
    """What an import of these files and folders would do; there may be no journal yet.

    Raises:
        JournalError: a path is missing, or there is no picture at all.
    """
    files, problems = find_files(paths)
    summary = Summary(n_files=len(files), problems=problems)
    new_frames: list[FrameFiles] = []
    for chunk in chunks(files):
        new = chunk if connection is None else unknown_files(connection, chunk)
        summary.n_unchanged += len(chunk) - len(new)
        facts, _pictures = read_chunk(new, False, summary.problems)
        for frame in pair(facts):
            if connection is not None and known_frame(connection, frame) is not None:
                summary.n_known += 1
            elif frame.leading.kind == "sidecar":
                summary.problems.append(lonely_sidecar(frame.leading))
            else:
                new_frames.append(frame)
    _count(summary, connection, new_frames, circumstances)
    return summary


def foretell_table(connection: sqlite3.Connection | None, path: Path, circumstances: Circumstances) -> Summary:
    """What an import of a table written by hand would do.

    Raises:
        JournalError: it is no table, or no column has a name of Exif.
    """
    facts, problems = read_stated(path)
    summary = Summary(n_files=1, problems=problems)
    new_frames: list[FrameFiles] = []
    for fact in facts:
        known = [] if connection is None else connection.execute(KNOWN, [fact.content_key, fact.file_name]).fetchall()
        if len(known) == 1:
            summary.n_known += 1
        else:
            new_frames.append(FrameFiles((fact,)))
    _count(summary, connection, new_frames, circumstances)
    return summary


def _count(
    summary: Summary, connection: sqlite3.Connection | None, frames: list[FrameFiles], circumstances: Circumstances
) -> None:
    """Adds the new frames, and the sessions that they would find or have suggested."""
    each = {frame.leading.content_key: frame for frame in frames}  # a copy of a picture beside it is the same frame
    summary.n_frames = len(each)
    found: set[int] = set()
    homeless: list[str] = []
    for frame in each.values():
        row: dict[str, Any] = {"taken_at": None, "taken_at_local": frame.fact("taken_at_local")}
        body = None if connection is None else connection.execute(CLOCK, _body(frame)).fetchone()
        set_time(row, frame.fact("offset_minutes"), circumstances, body)
        summary.n_undated += row["taken_at"] is None
        when = moment_of(row, frame.leading)
        session = circumstances.session_id or (None if connection is None else matching_session(connection, when))
        if session is None:
            homeless.append(when)
        else:
            found.add(session)
    last = None
    for when in sorted(homeless):
        moment = datetime.fromisoformat(when)
        if last is None or moment - last > SESSION_GAP:
            near = None if connection is None else near_suggested(connection, when)
            if near is None:
                summary.n_to_be_suggested += 1
            else:
                found.add(near)
        last = moment
    summary.session_ids = sorted(found)


def _body(frame: FrameFiles) -> dict[str, object]:
    return {"model": frame.fact("model"), "serial_number": frame.fact("body_serial_number") or ""}
