"""Frames, files, bodies, lenses and bursts: what an import stores."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from journal.notation import format_instant
from journal.optics.derived import DERIVED_VERSION, derive
from journal.store.opening import writing

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Sequence

#: Frames this close to a session's time still belong to it.
SLACK = timedelta(minutes=30)
#: A gap of this length between frames without a session begins another suggested one.
SESSION_GAP = timedelta(hours=3)
#: Frames of one body whose starts are no further apart than this, plus the exposure, share a burst [s].
BURST_GAP_S = 2.0

FRAME_COLUMNS = (
    "frame_key", "session_id", "body_id", "lens_id", "import_id", "file_name", "taken_at", "taken_at_local",
    "utc_offset_min", "clock_offset_s", "exposure_time_num", "exposure_time_den", "exposure_time_s",
    "exposure_time_source",
    "f_number_num", "f_number_den", "f_number", "f_number_source", "iso", "iso_source", "exposure_bias_ev",
    "exposure_program", "exposure_mode", "metering_mode", "flash", "white_balance", "focal_length_mm",
    "focal_length_source", "focal_length_35mm", "focal_length_35mm_source", "subject_distance_m",
    "subject_distance_source", "camera_support", "is_stabilised", "drive_mode", "shutter_count", "orientation",
    "width_px", "height_px", "latitude", "longitude", "image_unique_id", "rating", "label", "keywords",
    "is_simulated",
)  # fmt: skip
DERIVED_COLUMNS = ("ev100", "stops_below_rule", "tv6", "av6", "sv6", "ev100_third", "stops_below_rule_third")


#: A body that was stated by its model alone before its first frame came. Parameters: :model
STATED_BEFORE = """
select id from bodies
where model = :model and make = '' and serial_number = ''
    and not exists (select 1 from frames where body_id = bodies.id)
"""


def body_id(connection: sqlite3.Connection, make: str, model: str, serial_number: str) -> int:
    """The body of that make, model and serial number; one stated by its model before gets the rest; else it is made."""
    key = {"make": make, "model": model, "serial": serial_number}
    exact = "select id from bodies where make = :make and model = :model and serial_number = :serial"
    row = connection.execute(exact, key).fetchone()
    if row is None:
        row = connection.execute(STATED_BEFORE, key).fetchone()
        sql = "update bodies set make = :make, serial_number = :serial where id = :id"
        if row is None:
            sql = "insert into bodies (make, model, serial_number) values (:make, :model, :serial) returning id"
            return int(connection.execute(sql, key).fetchone()["id"])
        connection.execute(sql, key | {"id": row["id"]})
    return int(row["id"])


def lens_id(connection: sqlite3.Connection, model: str) -> int:
    """The lens of that model; made when first seen."""
    connection.execute("insert into lenses (model) values (?) on conflict do nothing", [model])
    return int(connection.execute("select id from lenses where model = ?", [model]).fetchone()[0])


def derived_values(frame: dict[str, Any]) -> dict[str, Any]:
    """The derived columns of a frame and their version."""
    numbers = derive(frame["exposure_time_s"], frame["f_number"], frame["iso"], frame["focal_length_35mm"])
    return {name: getattr(numbers, name) for name in DERIVED_COLUMNS} | {"derived_version": DERIVED_VERSION}


def add_frames(connection: sqlite3.Connection, frames: Sequence[dict[str, Any]]) -> dict[str, int]:
    """Stores frames that are not there yet; returns the id of each by its key, old and new."""
    names = (*FRAME_COLUMNS, *DERIVED_COLUMNS, "derived_version")
    marks = ", ".join(f":{name}" for name in names)
    connection.executemany(
        f"insert into frames ({', '.join(names)}) values ({marks}) on conflict (frame_key) do nothing",  # noqa: S608
        [frame | derived_values(frame) for frame in frames],
    )
    ids: dict[str, int] = {}
    for frame in frames:
        found = connection.execute("select id from frames where frame_key = ?", [frame["frame_key"]]).fetchone()
        ids[frame["frame_key"]] = found[0]
    return ids


def add_files(connection: sqlite3.Connection, files: Iterable[tuple[object, ...]]) -> None:
    """Stores files as (frame_id, path, file_name, kind, size_bytes, mtime_ns, content_key); a known path is updated."""
    connection.executemany(
        "insert into files (frame_id, path, file_name, kind, size_bytes, mtime_ns, content_key) "
        "values (?, ?, ?, ?, ?, ?, ?) on conflict (path) do update set frame_id = excluded.frame_id, "
        "size_bytes = excluded.size_bytes, mtime_ns = excluded.mtime_ns, content_key = excluded.content_key",
        files,
    )


def add_previews(connection: sqlite3.Connection, previews: Iterable[tuple[int, bytes]]) -> None:
    """Stores small previews by frame; one that is there stays."""
    connection.executemany("insert into previews values (?, ?) on conflict do nothing", previews)


def matching_session(connection: sqlite3.Connection, taken_at: str) -> int | None:
    """The session whose time holds this moment, give or take the slack; stated ones before suggested ones."""
    moment = datetime.fromisoformat(taken_at)
    early, late = format_instant(moment - SLACK), format_instant(moment + SLACK)
    row = connection.execute(
        "select id from sessions where started_at <= :late and ended_at >= :early order by is_suggested, "
        "max(0, julianday(started_at) - julianday(:at), julianday(:at) - julianday(ended_at)), id limit 1",
        {"early": early, "late": late, "at": taken_at},
    ).fetchone()
    return None if row is None else int(row[0])


def near_suggested(connection: sqlite3.Connection, when: str) -> int | None:
    """The suggested session that ends or begins less than a gap from this moment."""
    moment = datetime.fromisoformat(when)
    row = connection.execute(
        "select id from sessions where is_suggested = 1 and started_at <= ? and ended_at >= ? order by id limit 1",
        [format_instant(moment + SESSION_GAP), format_instant(moment - SESSION_GAP)],
    ).fetchone()
    return None if row is None else int(row[0])


def suggest_session(connection: sqlite3.Connection, moment: str, time_zone: str = "UTC", note: str = "") -> int:
    """A session for frames that have none, marked as suggested, until the photographer logs the outing."""
    now = format_instant(datetime.now(UTC))
    cursor = connection.execute(
        "insert into sessions (intent, started_at, ended_at, time_zone, notes, is_suggested, created_at, changed_at) "
        "values ('', ?, ?, ?, ?, 1, ?, ?)",
        [moment, moment, time_zone, note, now, now],
    )
    return int(cursor.lastrowid or 0)


def adopt_frames(connection: sqlite3.Connection, session_id: int) -> set[int]:
    """Moves frames without a stated session into this one where they lie in its time; returns the sessions touched."""
    session = connection.execute("select * from sessions where id = ?", [session_id]).fetchone()
    early = format_instant(datetime.fromisoformat(session["started_at"]) - SLACK)
    late = format_instant(datetime.fromisoformat(session["ended_at"]) + SLACK)
    condition = (
        "taken_at between :early and :late and (session_id is null "
        "or session_id in (select id from sessions where is_suggested = 1 and id <> :session))"
    )
    where = {"early": early, "late": late, "session": session_id}
    with writing(connection):
        sql = f"select distinct session_id from frames where {condition}"  # noqa: S608
        touched = {row[0] for row in connection.execute(sql, where)}
        connection.execute(f"update frames set session_id = :session where {condition}", where)  # noqa: S608
        if touched:
            find_bursts(connection, session_id)
        for other in touched - {None}:
            find_bursts(connection, other)
            connection.execute(DROP_EMPTY, {"session": other})
    return touched - {None}


def match_again(connection: sqlite3.Connection, moved: Iterable[tuple[int, str, str]]) -> set[int]:
    """Finds the sessions of frames whose time was put right, as (frame id, time before, time after).

    A frame whose session never held its time was put there by hand and stays. Returns the sessions touched; suggested
    ones that no frame is left in are gone, the others fit their frames.
    """
    touched: set[int] = set()
    for frame_id, before, after in moved:
        where = {"frame": frame_id, "slack": SLACK.total_seconds(), "before": before, "after": after}
        held = connection.execute(HELD_BY, where)
        row = held.fetchone()
        if row is None or not row["held_before"] or row["holds_after"]:
            continue
        found = matching_session(connection, after)
        if found is None:
            found = near_suggested(connection, after) or suggest_session(connection, after, row["time_zone"])
        connection.execute("update frames set session_id = ? where id = ?", [found, frame_id])
        connection.execute(FIT_SUGGESTED, {"session": found})  # so that the next frame finds it
        touched |= {row["session_id"], found}
    for session_id in touched:
        connection.execute(FIT_SUGGESTED, {"session": session_id})
        find_bursts(connection, session_id)
        connection.execute(DROP_EMPTY, {"session": session_id})
    return touched


#: Whether the session of a frame holds two moments, give or take the slack. Parameters: :frame, :before, :after,
#: :slack [s]
HELD_BY = """
select
    session_id, time_zone,
    unixepoch(:before) between unixepoch(started_at) - :slack and unixepoch(ended_at) + :slack as held_before,
    unixepoch(:after) between unixepoch(started_at) - :slack and unixepoch(ended_at) + :slack as holds_after
from frames
join sessions on sessions.id = session_id
where frames.id = :frame
"""
#: A suggested session lasts from its first frame to its last. Parameters: :session
FIT_SUGGESTED = """
update sessions set
    started_at = (select min(taken_at) from frames where session_id = :session),
    ended_at = (select max(taken_at) from frames where session_id = :session)
where id = :session and is_suggested = 1
    and exists (select 1 from frames where session_id = :session and taken_at is not null)
"""
#: Parameters: :session
DROP_EMPTY = """
delete from sessions
where id = :session and is_suggested = 1 and not exists (select 1 from frames where session_id = :session)
"""


def find_bursts(connection: sqlite3.Connection, session_id: int) -> set[int]:
    """Makes the bursts of a session anew from its frames; returns those that changed. Undated frames stand alone."""
    frames = connection.execute(
        "select id, body_id, taken_at, exposure_time_s, burst_id, position_in_burst from frames where session_id = ? "
        "order by body_id, taken_at is null, taken_at, file_name, id",
        [session_id],
    ).fetchall()
    bursts: list[list[sqlite3.Row]] = []
    for frame in frames:
        if bursts and _continues(bursts[-1][-1], frame):
            bursts[-1].append(frame)
        else:
            bursts.append([frame])
    return _store_bursts(connection, session_id, bursts)


def _store_bursts(connection: sqlite3.Connection, session_id: int, bursts: Sequence[Sequence[sqlite3.Row]]) -> set[int]:
    """Writes only what changed, for each chunk of an import asks again; returns the bursts whose frames changed."""
    changed: set[int] = set()
    stored = {
        row["id"]: (row["body_id"], row["started_at"], row["n_frames"])
        for row in connection.execute("select * from bursts where session_id = ?", [session_id])
    }
    free = set(stored)
    for burst in bursts:
        first = burst[0]
        values = (first["body_id"], first["taken_at"], len(burst))
        burst_id = next((frame["burst_id"] for frame in burst if frame["burst_id"] in free), None)
        if burst_id is None:
            sql = "insert into bursts (session_id, body_id, started_at, n_frames) values (?, ?, ?, ?)"
            burst_id = connection.execute(sql, [session_id, *values]).lastrowid
        elif stored[burst_id] != values:
            sql = "update bursts set body_id = ?, started_at = ?, n_frames = ? where id = ?"
            connection.execute(sql, [*values, burst_id])
        free.discard(burst_id)
        moved = [
            (burst_id, position, frame["id"])
            for position, frame in enumerate(burst)
            if (frame["burst_id"], frame["position_in_burst"]) != (burst_id, position)
        ]
        if moved:
            connection.executemany("update frames set burst_id = ?, position_in_burst = ? where id = ?", moved)
            changed |= {burst_id, *(frame["burst_id"] for frame in burst)} - {None}
    connection.executemany("delete from bursts where id = ?", [(burst_id,) for burst_id in free])
    return changed


def _continues(before: sqlite3.Row, after: sqlite3.Row) -> bool:
    if before["body_id"] != after["body_id"] or before["taken_at"] is None or after["taken_at"] is None:
        return False
    gap = datetime.fromisoformat(after["taken_at"]) - datetime.fromisoformat(before["taken_at"])
    return gap.total_seconds() <= BURST_GAP_S + (before["exposure_time_s"] or 0)
