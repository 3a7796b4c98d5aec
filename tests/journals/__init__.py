"""Small journals with counts that can be checked by hand, written through the store's own summaries."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from PIL import Image

from journal.optics.derived import derive
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

INSTANT = "2026-03-01T06:40:00Z"
#: Names that would do harm on a page that trusts them.
HOSTILE = "<img src=x onerror=alert(1)>{{7*7}}\"'"


def _preview() -> bytes:
    stream = io.BytesIO()
    Image.new("RGB", (24, 16), (90, 120, 90)).save(stream, format="WEBP")
    return stream.getvalue()


#: A small picture of one colour.
PREVIEW = _preview()


def changed(path: Path, *statements: str) -> Path:
    """The journal after some statements, its summaries made anew."""
    connection = open_journal(path)
    for statement in statements:
        connection.execute(statement)
    refresh_all(connection)
    connection.close()
    return path


def empty_journal(path: Path) -> Path:
    """A journal with nothing in it."""
    open_journal(path).close()
    return path


def small_journal(path: Path, n_sessions: int = 4, is_simulated: bool = False) -> Path:
    """Sessions of two bursts: five frames at 1/500, four of them kept, and five at 1/15, one of them kept.

    Frame numbers go from 1; each session's eleventh frame is unjudged, its time and lens unknown. Frame 1 has a
    preview, session 1 a hostile intent and a position, the body a serial number.
    """
    connection = open_journal(path)
    connection.execute("insert into bodies (id, make, model, serial_number) values (1, 'Tidewell', 'M1', 'SERIAL-77')")
    connection.execute("insert into lenses (id, model) values (1, 'Tidewell 50 mm')")
    for session in range(1, n_sessions + 1):
        _add_session(connection, session, is_simulated)
    connection.execute("insert into previews values (1, ?)", [PREVIEW])
    refresh_all(connection)
    connection.close()
    return path


def _add_session(connection: sqlite3.Connection, session: int, is_simulated: bool) -> None:
    day = f"2026-03-{session:02d}T06:40:00Z"
    intent, latitude = (HOSTILE, 12.3456789) if session == 1 else ("eights at dawn", None)
    connection.execute(
        "insert into sessions (id, intent, priority, camera_support, latitude, longitude, planned_iso_min, "
        "planned_iso_max, started_at, ended_at, created_at, changed_at, is_simulated) "
        "values (?, ?, 'motion', 'hand-held', ?, ?, 200, 1600, ?, ?, ?, ?, ?)",
        [session, intent, latitude, latitude, day, day, INSTANT, INSTANT, is_simulated],
    )
    for half, (time_s, n_kept) in enumerate(((1 / 500, 4), (1 / 15, 1))):
        burst = 2 * session - 1 + half
        connection.execute("insert into bursts (id, session_id) values (?, ?)", [burst, session])
        for place in range(5):
            _add_frame(connection, (session, burst, day), time_s, "keeper" if place < n_kept else "reject")
    _add_frame(connection, (session, burst, day), None, "unjudged")


def _add_frame(connection: sqlite3.Connection, where: tuple[int, int, str], time_s: float | None, verdict: str) -> None:
    number = connection.execute("select coalesce(max(id), 0) + 1 from frames").fetchone()[0]
    derived = derive(time_s, 4.0, 400, 50.0)
    connection.execute(
        "insert into frames (id, frame_key, session_id, burst_id, body_id, lens_id, file_name, taken_at, "
        "exposure_time_s, exposure_time_source, f_number, iso, focal_length_mm, focal_length_35mm, "
        "width_px, height_px, latitude, longitude, ev100, stops_below_rule, tv6, av6, sv6, ev100_third, "
        "stops_below_rule_third, verdict) "
        "values (?, ?, ?, ?, 1, ?, ?, ?, ?, ?, 4, 400, 50, 50, 6000, 4000, 12.3456789, 98.7654321, "
        "?, ?, ?, ?, ?, ?, ?, ?)",
        [
            number,
            str(number),
            where[0],
            where[1],
            1 if time_s else None,
            HOSTILE if number == 2 else f"T{number:04d}.jpg",
            where[2],
            time_s,
            "exif" if time_s else None,
            derived.ev100,
            derived.stops_below_rule,
            derived.tv6,
            derived.av6,
            derived.sv6,
            derived.ev100_third,
            derived.stops_below_rule_third,
            verdict,
        ],
    )
    if verdict == "reject":
        connection.execute("insert into frame_faults values (?, 'camera shake')", [number])
