"""Keepers from a folder of finished pictures: a frame that was finished was kept.

A finished picture is matched by capture time and body, as the files say; by sub-seconds, make and serial number too
where both have them. Nothing is guessed from names, and an original in the folder proves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from journal.errors import Problem
from journal.importing.walking import find_files
from journal.readers import read_many
from journal.records.verdicts import Verdict

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

    from journal.records.files import FileFacts

#: Frames of a body in a second of its clock. Parameters: :second, :model
SAME_SECOND = """
select frames.id, frames.session_id, frames.taken_at_local, bodies.make, bodies.serial_number
from frames
join bodies on bodies.id = frames.body_id
where substr(frames.taken_at_local, 1, 19) = :second and bodies.model = :model
"""

#: Frames of a session that nobody has judged. Parameters: session id
UNJUDGED = "select id from frames where session_id = ? and verdict = 'unjudged'"


@dataclass(slots=True)
class Finished:
    """What a folder of finished pictures says."""

    n_pictures: int = 0
    keepers: list[Verdict] = field(default_factory=list)
    session_ids: set[int] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)


def match_finished(connection: sqlite3.Connection, folder: Path) -> Finished:
    """The frames that have a finished picture in the folder; finished pictures without a frame are problems."""
    files, problems = find_files([folder])
    finished = Finished(problems=problems)
    kept: dict[int, None] = {}
    for answer in read_many(files):
        if isinstance(answer, Problem):
            finished.problems.append(answer)
        elif answer.kind != "sidecar":
            finished.n_pictures += 1
            rows = _frames_of(connection, answer)
            if _is_original(connection, answer):
                finished.problems.append(
                    Problem(
                        answer.path, "It is an original of this journal, no finished picture.", "Name another folder."
                    )
                )
            elif len(rows) == 1:
                kept[rows[0]["id"]] = None
                finished.session_ids |= {rows[0]["session_id"]} - {None}
            else:
                finished.problems.append(_unclear(answer, len(rows)))
    finished.keepers = [Verdict(frame_id, "keeper") for frame_id in kept]
    return finished


def rest_of_sessions(connection: sqlite3.Connection, finished: Finished) -> list[Verdict]:
    """Rejects: the frames of the touched sessions that have no finished picture and no verdict yet."""
    kept = {verdict.frame_id for verdict in finished.keepers}
    return [
        Verdict(row["id"], "reject")
        for session_id in sorted(finished.session_ids)
        for row in connection.execute(UNJUDGED, [session_id])
        if row["id"] not in kept
    ]


def _frames_of(connection: sqlite3.Connection, picture: FileFacts) -> list[sqlite3.Row]:
    if picture.taken_at_local is None or picture.model is None:
        return []
    where = {"second": picture.taken_at_local[:19], "model": picture.model}
    rows = connection.execute(SAME_SECOND, where).fetchall()
    return [row for row in rows if _may_be(row, picture)]


def _may_be(frame: sqlite3.Row, picture: FileFacts) -> bool:
    """What only one side says speaks for nothing and against nothing."""
    pairs = (
        (frame["make"] or "", picture.make or ""),
        (frame["serial_number"] or "", picture.body_serial_number or ""),
        (_subsecond(frame["taken_at_local"]), _subsecond(picture.taken_at_local or "")),
    )
    return all(one == other or one in ("", None) or other in ("", None) for one, other in pairs)


def _subsecond(local: str) -> float | None:
    """The fraction of a second; ".5" and ".500" are the same."""
    return float(local[19:]) if local[19:] else None


def _is_original(connection: sqlite3.Connection, picture: FileFacts) -> bool:
    return connection.execute("select 1 from files where path = ?", [picture.path]).fetchone() is not None


def _unclear(picture: FileFacts, n_frames: int) -> Problem:
    if picture.taken_at_local is None:
        return Problem(picture.path, "The finished picture has no capture time.", "Export it with its metadata.")
    if picture.model is None:
        return Problem(picture.path, "The finished picture names no body.", "Export it with its metadata.")
    if n_frames == 0:
        return Problem(
            picture.path, f"No frame was taken at {picture.taken_at_local}.", "Import the frames of that outing first."
        )
    return Problem(
        picture.path,
        f"{n_frames} frames were taken in that second.",
        "Judge it by its number: thirdstop judge NUMBER --keeper",
    )
