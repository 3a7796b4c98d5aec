"""Bodies and lenses: what the photographer states about them, and what follows for frames that are already in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from journal.errors import JournalError
from journal.notation import format_instant
from journal.store.frames import derived_values, find_bursts, match_again
from journal.store.opening import writing
from journal.store.summaries import refresh

if TYPE_CHECKING:
    import sqlite3

#: Columns that a photographer may state; names that reach SQL come from here only.
BODY_COLUMNS = ("sensor_width_mm", "sensor_height_mm", "is_stabilised", "base_iso", "highest_iso", "clock_offset_s")
LENS_COLUMNS = ("focal_length_min_mm", "focal_length_max_mm", "widest_f_number", "is_stabilised")

#: A body with whether frames hang on it.
BODY_BEFORE = "select *, exists (select 1 from frames where body_id = bodies.id) as has_frames from bodies where id = ?"


def list_bodies(connection: sqlite3.Connection) -> list[sqlite3.Row]:
    """Bodies with the number of their frames."""
    return connection.execute(
        "select bodies.*, (select count(*) from frames where body_id = bodies.id) as n_frames "
        "from bodies order by make, model, serial_number"
    ).fetchall()


def list_lenses(connection: sqlite3.Connection) -> list[sqlite3.Row]:
    """Lenses with the number of their frames."""
    return connection.execute(
        "select lenses.*, (select count(*) from frames where lens_id = lenses.id) as n_frames "
        "from lenses order by model"
    ).fetchall()


def find_body(connection: sqlite3.Connection, model: str, serial_number: str | None = None) -> int | None:
    """The body of that model; with a serial number where there are several.

    Raises:
        JournalError: several bodies are of that model, and no serial number tells them apart.
    """
    rows = connection.execute(
        "select id, serial_number from bodies where model = ? collate nocase and (? is null or serial_number = ?)",
        [model, serial_number, serial_number],
    ).fetchall()
    if len(rows) > 1:
        serials = ", ".join(row["serial_number"] or "(none)" for row in rows)
        raise JournalError(f"There are {len(rows)} bodies of the model {model}.", f"Name one with --serial: {serials}.")
    return int(rows[0]["id"]) if rows else None


def state_body(
    connection: sqlite3.Connection, model: str, make: str = "", serial_number: str | None = None, **stated: Any
) -> int:
    """States facts of a body, which is made if it is new, and brings its frames up to date; returns its id."""
    values = {name: stated[name] for name in BODY_COLUMNS if stated.get(name) is not None}
    model = _named("body", model)
    with writing(connection):
        body_id = find_body(connection, model, serial_number)
        if body_id is not None and make:
            values["make"] = make
        if body_id is None:
            cursor = connection.execute(
                "insert into bodies (make, model, serial_number) values (?, ?, ?)", [make, model, serial_number or ""]
            )
            body_id = int(cursor.lastrowid or 0)
        before = connection.execute(BODY_BEFORE, [body_id]).fetchone()
        _set(connection, "bodies", body_id, values)
        if before["has_frames"]:
            _follow(connection, body_id, before)
    return body_id


def state_lens(connection: sqlite3.Connection, model: str, **stated: Any) -> int:
    """States facts of a lens, which is made if it is new; returns its id."""
    values = {name: stated[name] for name in LENS_COLUMNS if stated.get(name) is not None}
    model = _named("lens", model)
    with writing(connection):
        connection.execute("insert into lenses (model) values (?) on conflict do nothing", [model])
        lens_id = int(connection.execute("select id from lenses where model = ?", [model]).fetchone()[0])
        _set(connection, "lenses", lens_id, values)
    return lens_id


def link_gear(connection: sqlite3.Connection, session_id: int, bodies: list[str], lenses: list[str]) -> None:
    """Notes which bodies and lenses were used in a session; unknown ones are made."""
    with writing(connection):
        for model in bodies:
            body_id = find_body(connection, model.strip()) or state_body(connection, model)
            connection.execute("insert or ignore into session_bodies values (?, ?)", [session_id, body_id])
        for model in lenses:
            lens_id = state_lens(connection, model)
            connection.execute("insert or ignore into session_lenses values (?, ?)", [session_id, lens_id])


def gear_of_session(connection: sqlite3.Connection, session_id: int) -> tuple[list[str], list[str]]:
    """Models of the bodies and of the lenses that the photographer says were used in a session."""
    bodies = connection.execute(
        "select model from session_bodies join bodies on bodies.id = body_id where session_id = ? order by model",
        [session_id],
    )
    lenses = connection.execute(
        "select model from session_lenses join lenses on lenses.id = lens_id where session_id = ? order by model",
        [session_id],
    )
    return [row[0] for row in bodies.fetchall()], [row[0] for row in lenses.fetchall()]


def _named(kind: str, model: str) -> str:
    if not model.strip():
        raise JournalError(f"A {kind} without a model cannot be told from others.", "Name its model, as Exif has it.")
    return model.strip()


def _set(connection: sqlite3.Connection, table: str, row_id: int, values: dict[str, Any]) -> None:
    sets = ", ".join([*(f"{name} = :{name}" for name in values), "is_stated = 1"])
    connection.execute(f"update {table} set {sets} where id = :id", values | {"id": row_id})  # noqa: S608


def _follow(connection: sqlite3.Connection, body_id: int, before: sqlite3.Row) -> None:
    """What the body's new facts change in frames that did not say better themselves."""
    from journal.optics.sensors import focal_length_35mm_of_sensor  # it loads numpy, which logging an outing must not

    body = connection.execute("select * from bodies where id = ?", [body_id]).fetchone()
    frames = connection.execute("select * from frames where body_id = ?", [body_id]).fetchall()
    moved: list[tuple[int, str, str]] = []
    for frame in frames:
        changed: dict[str, Any] = {}
        if (
            frame["focal_length_35mm_source"] in (None, "sensor")
            and frame["focal_length_mm"]
            and body["sensor_width_mm"]
        ):
            changed["focal_length_35mm"] = focal_length_35mm_of_sensor(
                frame["focal_length_mm"], body["sensor_width_mm"], body["sensor_height_mm"]
            )
            changed["focal_length_35mm_source"] = "sensor"
        if frame["is_stabilised"] == before["is_stabilised"]:
            changed["is_stabilised"] = body["is_stabilised"]
        if frame["taken_at"] and body["clock_offset_s"] != before["clock_offset_s"]:
            changed["taken_at"] = _shifted(frame["taken_at"], frame["clock_offset_s"] - body["clock_offset_s"])
            changed["clock_offset_s"] = body["clock_offset_s"]
            moved.append((frame["id"], frame["taken_at"], changed["taken_at"]))
        changed |= derived_values(dict(frame) | changed)
        sets = ", ".join(f"{name} = :{name}" for name in changed)
        connection.execute(f"update frames set {sets} where id = :id", changed | {"id": frame["id"]})  # noqa: S608
    sessions = ({frame["session_id"] for frame in frames} - {None}) | match_again(connection, moved)
    for session_id in sessions:
        find_bursts(connection, session_id)
    refresh(connection, sessions)


def _shifted(instant: str, seconds: int) -> str:
    from datetime import datetime, timedelta

    return format_instant(datetime.fromisoformat(instant) + timedelta(seconds=seconds))
