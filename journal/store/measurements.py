"""What pictures measure and what that suggests, stored apart from the verdicts and counted in no rate."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from journal.errors import JournalError
from journal.notation import format_instant
from journal.records.measures import ACCEPTED, ALONE, ToExamine
from journal.store.opening import writing

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from journal.errors import Problem
    from journal.records.measures import Examined, Suggestion

#: Settings of a frame that help to read its pixels.
SETTINGS = (
    "exposure_time_s", "f_number", "iso", "focal_length_mm", "focal_length_35mm", "exposure_mode", "flash",
    "is_stabilised", "orientation",
)  # fmt: skip

_FILE = ("frame_id", "path", "kind", "size_bytes", "mtime_ns", "content_key")

#: Frames with the file that stands for their pixels: a finished picture before a raw file, of several the first by
#: name. A frame is left out where its measures are of this version and of this very file, unless all are asked for;
#: tables written by hand and simulated records have no pixels.
#: Parameters: :version, :again, :sessions - JSON or null, :paths - JSON or null, files or folders
TO_EXAMINE = f"""
with ordered as (
    select
        files.*, row_number() over (partition by frame_id order by kind in ('raw', 'dng'), path) as place
    from files
    where kind not in ('sidecar', 'table') and path not like 'simulated/%'
)
select
    frames.id as frame_id, ordered.path, ordered.kind, ordered.size_bytes, ordered.mtime_ns, ordered.content_key,
    bodies.model as body, lenses.model as lens, sessions.subject_pace,
    {", ".join(f"frames.{name}" for name in SETTINGS)}
from ordered
join frames on frames.id = ordered.frame_id
left join sessions on sessions.id = frames.session_id
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
left join measurements on measurements.frame_id = frames.id
where
    ordered.place = 1
    and (:again or measurements.frame_id is null or measurements.measure_version <> :version
        or measurements.content_key <> ordered.content_key)
    and (:sessions is null or frames.session_id in (select value from json_each(:sessions)))
    and (:paths is null or exists (
        select 1 from files as any_file, json_each(:paths) as wanted
        where any_file.frame_id = frames.id
            and (any_file.path = wanted.value
                or substr(any_file.path, 1, length(wanted.value) + 1) = wanted.value || '/')
    ))
order by frames.session_id, frames.burst_id, frames.taken_at, frames.id
"""  # noqa: S608 - names of this file


def to_examine(
    connection: sqlite3.Connection,
    measure_version: int,
    session_ids: Sequence[int] | None = None,
    paths: Sequence[str] | None = None,
    again: bool = False,
) -> list[ToExamine]:
    """The frames whose measures are missing, of another version or of another file, in the order of the day.

    Args:
        connection: an open journal.
        measure_version: the version that counts as current.
        session_ids: only frames of these sessions.
        paths: only frames with a file here or below, as absolute paths.
        again: frames with current measures as well.
    """
    wanted = {
        "version": measure_version,
        "again": int(again),
        "sessions": None if session_ids is None else json.dumps(list(session_ids)),
        "paths": None if paths is None else json.dumps(list(paths)),
    }
    return [
        ToExamine(
            **{name: row[name] for name in _FILE},
            settings={name: row[name] for name in (*SETTINGS, "body", "lens", "subject_pace") if row[name] is not None},
        )
        for row in connection.execute(TO_EXAMINE, wanted)
    ]


def is_examined(connection: sqlite3.Connection, frame: ToExamine, measure_version: int) -> bool:
    """Whether somebody else has examined this very file with this version in the meantime."""
    row = connection.execute(
        "select 1 from measurements where frame_id = ? and measure_version = ? and content_key = ?",
        [frame.frame_id, measure_version, frame.content_key],
    ).fetchone()
    return row is not None


def store_examined(connection: sqlite3.Connection, examined: Iterable[Examined], now: datetime) -> int:
    """Stores measures and suggestions, over older ones of the same frames; returns how many.

    A frame that was deleted in the meantime is passed over.
    """
    n_stored = 0
    moment = format_instant(now)
    with writing(connection):
        for one in examined:
            if not connection.execute("select 1 from frames where id = ?", [one.frame_id]).fetchone():
                continue
            connection.execute(
                "insert or replace into measurements values (?, ?, ?, ?, ?, ?)",
                [one.frame_id, one.measure_version, one.source, one.content_key, moment, _json(one.measures)],
            )
            _put_suggestion(connection, one.frame_id, one.suggestion, moment)
            connection.execute("delete from unexamined where frame_id = ?", [one.frame_id])
            n_stored += 1
    return n_stored


def store_unexamined(connection: sqlite3.Connection, problems: Mapping[int, Problem], now: datetime) -> None:
    """Stores why pictures could not be examined, by frame; a frame that was deleted in the meantime is passed over."""
    moment = format_instant(now)
    with writing(connection):
        for frame_id, problem in problems.items():
            connection.execute(
                "insert or replace into unexamined select id, ?, ? from frames where id = ?",
                [problem.about_the_file(), moment, frame_id],
            )


def store_suggestions(connection: sqlite3.Connection, suggestions: Mapping[int, Suggestion], now: datetime) -> None:
    """Stores suggestions by frame, over older ones; a frame whose measures are gone is passed over."""
    moment = format_instant(now)
    with writing(connection):
        for frame_id, suggestion in suggestions.items():
            if connection.execute("select 1 from measurements where frame_id = ?", [frame_id]).fetchone():
                _put_suggestion(connection, frame_id, suggestion, moment)


def _put_suggestion(connection: sqlite3.Connection, frame_id: int, suggestion: Suggestion, moment: str) -> None:
    connection.execute(
        "insert or replace into suggestions values (?, ?, ?, ?, ?, ?, ?, ?)",
        [
            frame_id,
            suggestion.model_version,
            suggestion.fault,
            suggestion.probability,
            int(suggestion.is_unsure),
            _json(dict(suggestion.probabilities)),
            _json(list(suggestion.evidence)),
            moment,
        ],
    )


def _json(value: Any) -> str:
    """Plain data as JSON; a number that is none becomes null."""
    return json.dumps(_plain(value), ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int | bool):
        return value
    raise JournalError(f"A measure of the kind {type(value).__name__} cannot be stored.", "Report this as a bug.")


#: Measures of a session's frames (of no session: of the frames that have none), in the order of the day.
#: Parameters: :session_id or null, :version
MEASURED = """
select frames.id as frame_id, frames.burst_id, measurements.measures
from frames
join measurements on measurements.frame_id = frames.id
where frames.session_id is :session_id and measurements.measure_version = :version
order by frames.taken_at, frames.id
"""

#: Sessions with suggestions that were made from one picture alone. Parameters: :ending
LEFT_ALONE = """
select distinct frames.session_id
from suggestions
join frames on frames.id = suggestions.frame_id
where substr(suggestions.model_version, -length(:ending)) = :ending
order by frames.session_id
"""

#: Judged frames with their measures, the newest first. Verdicts that were taken from suggestions at one go say nothing
#: about them, so they are left out. Parameters: :version, :accepted - how such a judging begins, :most
JUDGED = """
select
    frames.id as frame_id, frames.session_id, frames.burst_id, frames.verdict, measurements.measures,
    (select group_concat(fault, '; ') from frame_faults where frame_id = frames.id) as faults
from frames
join measurements on measurements.frame_id = frames.id
where
    frames.verdict <> 'unjudged' and measurements.measure_version = :version
    and not exists (
        select 1 from verdicts
        join judgings on judgings.id = verdicts.judging_id
        where verdicts.frame_id = frames.id and judgings.taken_back_at is null
            and substr(judgings.description, 1, length(:accepted)) = :accepted
    )
order by frames.id desc
limit :most
"""


def measured_of_session(connection: sqlite3.Connection, session_id: int | None, version: int) -> list[sqlite3.Row]:
    """Measures of a session's frames, of this version only."""
    return connection.execute(MEASURED, {"session_id": session_id, "version": version}).fetchall()


def has_measures(connection: sqlite3.Connection, session_id: int) -> bool:
    """Whether any picture of the session has been measured."""
    row = connection.execute(
        "select 1 from frames join measurements on measurements.frame_id = frames.id where session_id = ? limit 1",
        [session_id],
    ).fetchone()
    return row is not None


def suggested_in_session(connection: sqlite3.Connection, session_id: int | None) -> dict[int, tuple[str | None, bool]]:
    """What is suggested of each frame of a session, or of no session: the fault, and whether it cannot be told."""
    rows = connection.execute(
        "select frame_id, fault, is_unsure from suggestions join frames on frames.id = frame_id where session_id is ?",
        [session_id],
    )
    return {row["frame_id"]: (row["fault"], bool(row["is_unsure"])) for row in rows}


def sessions_left_alone(connection: sqlite3.Connection) -> list[int | None]:
    """Sessions whose pictures were measured, but not yet looked at together."""
    return [row[0] for row in connection.execute(LEFT_ALONE, {"ending": ALONE})]


def judged_and_measured(connection: sqlite3.Connection, version: int, most: int) -> list[sqlite3.Row]:
    """The newest judged frames with their measures, so many at most."""
    return connection.execute(JUDGED, {"version": version, "accepted": ACCEPTED, "most": most}).fetchall()
