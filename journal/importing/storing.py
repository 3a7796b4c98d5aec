"""Writes a chunk of frames: gear, times, sessions, files and previews, all in one transaction."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Any

from journal.errors import Problem
from journal.importing.pairing import stem_key, stem_path
from journal.notation import format_instant
from journal.optics.sensors import focal_length_35mm_of_sensor
from journal.store.frames import (
    FRAME_COLUMNS,
    add_files,
    add_frames,
    add_previews,
    body_id,
    derived_values,
    find_bursts,
    lens_id,
    matching_session,
    near_suggested,
    suggest_session,
)
from journal.store.imports import note_progress
from journal.store.opening import writing
from journal.store.summaries import refresh_bursts

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence
    from datetime import tzinfo

    from journal.importing.pairing import FrameFiles
    from journal.records.files import FileFacts

#: Facts that go into a frame's column of the same name.
_SAME_NAME = (
    "taken_at_local", "exposure_time_num", "exposure_time_den", "exposure_time_s", "exposure_time_source",
    "f_number_num", "f_number_den", "f_number", "f_number_source", "iso", "iso_source", "exposure_bias_ev",
    "exposure_program", "exposure_mode", "metering_mode", "flash", "white_balance", "focal_length_mm",
    "focal_length_35mm", "focal_length_35mm_source", "subject_distance_m", "subject_distance_source", "drive_mode",
    "shutter_count", "orientation", "width_px", "height_px", "latitude", "longitude", "image_unique_id", "rating",
    "label",
)  # fmt: skip
#: What a table written by hand may state of a frame.
STATED_COLUMNS = (
    "exposure_time_num", "exposure_time_den", "exposure_time_s", "exposure_time_source", "f_number", "f_number_source",
    "iso", "iso_source", "focal_length_mm", "focal_length_35mm", "focal_length_35mm_source", "subject_distance_m",
    "subject_distance_source",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What the photographer states about an import."""

    zone: tzinfo
    session_id: int | None = None
    clock_offset: timedelta = timedelta(0)
    is_simulated: bool = False


@dataclass(slots=True)
class Stored:
    """What a chunk changed."""

    n_frames: int = 0
    n_known: int = 0
    n_undated: int = 0
    sessions: set[int] = field(default_factory=set)
    suggested: set[int] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)


def store_chunk(
    connection: sqlite3.Connection,
    frames: Sequence[FrameFiles],
    previews: dict[str, bytes],
    circumstances: Circumstances,
    import_id: int,
) -> Stored:
    """Stores these frames and everything that follows from them; all of it or nothing."""
    stored = Stored()
    with writing(connection):
        new: list[tuple[FrameFiles, dict[str, Any]]] = []
        for frame in frames:
            known = known_frame(connection, frame)
            if known is None and frame.leading.kind == "sidecar":
                stored.problems.append(lonely_sidecar(frame.leading))
            elif known is None:
                new.append((frame, _row(connection, frame, circumstances, import_id)))
            else:
                _join(connection, known, frame)
                stored.n_known += 1
        new.sort(key=lambda pair: pair[1]["taken_at"] or "")
        for frame, row in new:
            row["session_id"] = _session_of(connection, row, frame.leading, circumstances, stored)
            _fill_stated(connection, row)
        ids = add_frames(connection, [row for _frame, row in new])
        for frame, row in new:
            number = ids[row["frame_key"]]
            add_files(connection, [_file_row(number, file) for file in frame.files])
            add_previews(connection, [(number, webp) for file in frame.files if (webp := previews.get(file.path))])
        each = {row["frame_key"]: row for _frame, row in new}  # a copy of a picture beside it is the same frame
        stored.n_frames = len(each)
        stored.n_undated = sum(row["taken_at"] is None for row in each.values())
        stored.sessions |= {row["session_id"] for _frame, row in new}
        for session_id in stored.sessions:
            refresh_bursts(connection, session_id, find_bursts(connection, session_id))
        note_progress(connection, import_id, len(each), sum(len(frame.files) for frame in frames))
    return stored


def lonely_sidecar(sidecar: FileFacts) -> Problem:
    return Problem(sidecar.path, "The sidecar's picture is not in the journal.", "Import the folder of its picture.")


#: The frame of a path, if it was taken in that second. Parameters: :path, :is_sidecar - any time will do, :second
SAME_PATH = """
select files.frame_id from files
join frames on frames.id = files.frame_id
where files.path = :path and (:is_sidecar or substr(ifnull(taken_at_local, ''), 1, 19) = :second)
"""


def _place(file: FileFacts) -> dict[str, object]:
    return {"path": file.path, "is_sidecar": file.kind == "sidecar", "second": (file.taken_at_local or "")[:19]}


def known_frame(connection: sqlite3.Connection, frame: FrameFiles) -> int | None:
    """The frame that already has one of these pictures, wherever it lay then; or the frame of the same exposure.

    A path alone proves nothing: a formatted card counts its names from the beginning and is mounted where it was.
    """
    pictures = [file for file in frame.files if file.kind != "sidecar"]
    for file in pictures or frame.files:
        row = connection.execute("select frame_id from files where content_key = ?", [file.content_key]).fetchone()
        if row is None and file.kind != "table":
            row = connection.execute(SAME_PATH, _place(file)).fetchone()
        if row is not None:
            return int(row["frame_id"])
    leading = frame.leading
    if leading.kind == "table":
        return None
    stem = stem_path(leading.path)
    near = connection.execute(
        "select files.frame_id, files.path, frames.taken_at_local from files "
        "join frames on frames.id = files.frame_id where files.path >= ? and files.path < ?",
        [f"{stem}.", f"{stem}/"],
    )
    for row in near:
        same_time = (
            leading.kind == "sidecar" or (row["taken_at_local"] or "")[:19] == (leading.taken_at_local or "")[:19]
        )
        if stem_key(row["path"]) == stem_key(leading.path) and same_time:
            return int(row["frame_id"])
    return None


def _join(connection: sqlite3.Connection, frame_id: int, frame: FrameFiles) -> None:
    """A known frame gets files that were moved, renamed or came later, and what a later sidecar says."""
    for file in frame.files:
        old = connection.execute(
            "select id, path from files where frame_id = ? and content_key = ? and path <> ?",
            [frame_id, file.content_key, file.path],
        ).fetchall()
        for row in old:
            if not Path(row["path"]).exists():
                connection.execute("delete from files where id = ?", [row["id"]])
    add_files(connection, [_file_row(frame_id, file) for file in frame.files])
    for name in ("rating", "label"):
        value = frame.fact(name)
        if value is not None:
            connection.execute(f"update frames set {name} = ? where id = ?", [value, frame_id])  # noqa: S608


def _row(
    connection: sqlite3.Connection, frame: FrameFiles, circumstances: Circumstances, import_id: int
) -> dict[str, Any]:
    leading = frame.leading
    row: dict[str, Any] = dict.fromkeys(FRAME_COLUMNS)
    row |= {name: frame.fact(name) for name in _SAME_NAME}
    row |= {"frame_key": leading.content_key, "file_name": leading.file_name, "import_id": import_id}
    row["is_simulated"] = int(circumstances.is_simulated)
    keywords = frame.fact("keywords")
    row["keywords"] = "; ".join(keywords) if isinstance(keywords, tuple) else None
    stabiliser = frame.fact("stabiliser")
    row["is_stabilised"] = None if stabiliser is None else int(bool(stabiliser))
    is_table = leading.kind == "table"
    row["focal_length_source"] = ("stated" if is_table else "exif") if row["focal_length_mm"] else None
    if row["subject_distance_m"] == float("inf"):
        row["subject_distance_m"] = 1e9
    model = frame.fact("model")
    body = None
    if model is not None:
        serial = frame.fact("body_serial_number") or ""
        row["body_id"] = body_id(connection, str(frame.fact("make") or ""), str(model), str(serial))
        body = connection.execute("select * from bodies where id = ?", [row["body_id"]]).fetchone()
        if row["is_stabilised"] is None:
            row["is_stabilised"] = body["is_stabilised"]
        if row["focal_length_35mm"] is None and row["focal_length_mm"] and body["sensor_width_mm"]:
            row["focal_length_35mm"] = focal_length_35mm_of_sensor(
                row["focal_length_mm"], body["sensor_width_mm"], body["sensor_height_mm"]
            )
            row["focal_length_35mm_source"] = "sensor"
    lens = frame.fact("lens_model")
    row["lens_id"] = lens_id(connection, str(lens)) if lens else None
    set_time(row, frame.fact("offset_minutes"), circumstances, body)
    return row


def set_time(row: dict[str, Any], offset: object, circumstances: Circumstances, body: sqlite3.Row | None) -> None:
    """UTC from what the body's clock showed: its own offset, else the zone stated; then the clock's error."""
    row["clock_offset_s"] = 0
    if row["taken_at_local"] is None:
        return
    local = datetime.fromisoformat(row["taken_at_local"])
    zone = timezone(timedelta(minutes=offset)) if isinstance(offset, int) else circumstances.zone
    error = circumstances.clock_offset or timedelta(seconds=body["clock_offset_s"] if body else 0)
    moment = local.replace(tzinfo=zone) - error
    row["clock_offset_s"] = round(error.total_seconds())
    shift = moment.utcoffset() or timedelta(0)
    row["utc_offset_min"] = round(shift.total_seconds() / 60)
    row["taken_at"] = format_instant(moment)


def _session_of(
    connection: sqlite3.Connection,
    row: dict[str, Any],
    file: FileFacts,
    circumstances: Circumstances,
    stored: Stored,
) -> int:
    """The stated session, the one whose time fits, or a suggested one that is made or grows to fit."""
    if circumstances.session_id is not None:
        return circumstances.session_id
    undated = row["taken_at"] is None
    when = moment_of(row, file)
    found = matching_session(connection, when)
    if found is None:
        note = "Frames without a capture time, by the time of their files." if undated else ""
        found = near_suggested(connection, when) or suggest_session(connection, when, zone_of(row), note)
    kind = connection.execute("select is_suggested from sessions where id = ?", [found]).fetchone()
    if kind["is_suggested"]:
        stored.suggested.add(found)
        connection.execute(
            "update sessions set started_at = min(started_at, ?), ended_at = max(ended_at, ?) where id = ?",
            [when, when, found],
        )
    return found


def moment_of(row: dict[str, Any], file: FileFacts) -> str:
    """When a frame was taken; where nothing says so, when its file was last changed."""
    return row["taken_at"] or format_instant(datetime.fromtimestamp(file.mtime_ns / 1e9, UTC))


def zone_of(row: dict[str, Any]) -> str:
    """The zone of a body's clock as it is written, +02:00; UTC where it is that, or nobody knows."""
    minutes = row.get("utc_offset_min") or 0
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}" if minutes else "UTC"


def _fill_stated(connection: sqlite3.Connection, row: dict[str, Any]) -> None:
    """Film and adapted lenses: where the session states exactly one value, it stands for a frame that has none."""
    session = connection.execute("select * from sessions where id = ?", [row["session_id"]]).fetchone()
    for name, column in (
        ("exposure_time_s", "planned_exposure_time"),
        ("f_number", "planned_f_number"),
        ("iso", "planned_iso"),
    ):
        suffix = "_s" if name.endswith("_s") else ""
        low, high = session[f"{column}_min{suffix}"], session[f"{column}_max{suffix}"]
        if row[name] is None and low is not None and low == high:
            row[name] = low
            row[f"{name.removesuffix('_s')}_source"] = "stated"


def fill_frame(connection: sqlite3.Connection, frame_id: int, stated: dict[str, Any], overwrite: bool = False) -> None:
    """States what a frame does not say itself; what a file says stays, what was stated before may be mended."""
    frame = dict(connection.execute("select * from frames where id = ?", [frame_id]).fetchone())
    values: dict[str, Any] = {}
    for name in ("exposure_time_s", "f_number", "iso", "focal_length_mm", "focal_length_35mm", "subject_distance_m"):
        if (overwrite or frame[name] is None) and name in stated:
            source = f"{name.removesuffix('_s').removesuffix('_mm').removesuffix('_m')}_source"
            values |= {name: stated[name], source: "stated"}
    if "exposure_time_s" in values:
        values |= {name: stated[name] for name in ("exposure_time_num", "exposure_time_den")}
    values |= derived_values(frame | values)
    sets = ", ".join(f"{name} = :{name}" for name in values)
    connection.execute(f"update frames set {sets} where id = :id", values | {"id": frame_id})  # noqa: S608


def _file_row(frame_id: int, file: FileFacts) -> tuple[object, ...]:
    return (frame_id, file.path, file.file_name, file.kind, file.size_bytes, file.mtime_ns, file.content_key)
