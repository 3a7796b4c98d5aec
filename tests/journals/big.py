"""Journals as large as anybody's: a simulated career written straight into the tables, for benchmarks.

The frames come from `careers`, so limits, habits and progress have something to find and take as long as real ones. The
newest sessions are unjudged and have suggestions; pictures are a few small ones, as many as a page shows.
"""

from __future__ import annotations

import io
import random
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd
from careers import career
from PIL import Image

from journal.optics.derived import DERIVED_VERSION, derive
from journal.store.opening import open_journal, writing
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator
    from pathlib import Path

#: Frames of an average simulated session.
PER_SESSION = 90
#: Days from one session to the next, and when the first was.
DAYS_BETWEEN, FIRST_DAY = 0.9, datetime(1998, 3, 1, 6, 30, tzinfo=UTC)
#: Newest sessions that wait for verdicts, and frames that have a picture, of the newest sessions too.
N_UNJUDGED, N_PREVIEWS = 12, 2_000
BODIES = {"A": (1, "Tidewell", "M1", 1), "B": (2, "Tidewell", "S2", 0)}
FAULTS = {
    "fault_exposure": "underexposed",
    "fault_focus": "missed focus",
    "fault_shake": "camera shake",
    "fault_motion": "subject motion",
    "fault_noise": "noise",
    "fault_timing": "timing",
}
COLUMNS = (
    "id", "frame_key", "session_id", "burst_id", "position_in_burst", "body_id", "lens_id", "file_name", "taken_at",
    "exposure_time_s", "exposure_time_source", "f_number", "f_number_source", "iso", "iso_source", "focal_length_mm",
    "focal_length_source", "focal_length_35mm", "focal_length_35mm_source", "subject_distance_m",
    "subject_distance_source", "flash", "camera_support", "width_px", "height_px", "verdict", "is_simulated", "ev100",
    "stops_below_rule", "tv6", "av6", "sv6", "ev100_third", "stops_below_rule_third", "derived_version",
)  # fmt: skip
DERIVED = ("ev100", "stops_below_rule", "tv6", "av6", "sv6", "ev100_third", "stops_below_rule_third")


def big_journal(path: Path, n_frames: int, seed: int = 1) -> Path:
    """A journal with about so many frames, in sessions of ninety and bursts of ten."""
    frames = career(seed, max(2, n_frames // PER_SESSION)).frames
    last = int(frames["session"].max())
    connection = open_journal(path)
    connection.execute("pragma synchronous = off")
    connection.execute("pragma cache_size = -400000")
    with writing(connection):
        _add_gear(connection, frames)
        _add_sessions(connection, frames)
        marks = ", ".join("?" * len(COLUMNS))
        rows = _frame_rows(frames, last - N_UNJUDGED)
        connection.executemany(f"insert into frames ({', '.join(COLUMNS)}) values ({marks})", rows)
        for column, fault in FAULTS.items():
            shown = frames.index[frames[column] & ~frames["is_keeper"] & (frames["session"] <= last - N_UNJUDGED)]
            connection.executemany("insert into frame_faults values (?, ?)", [(int(row) + 1, fault) for row in shown])
        _add_pictures(connection, len(frames))
        refresh_all(connection)
    connection.execute("pragma wal_checkpoint(truncate)")
    connection.close()
    return path


def _add_gear(connection: sqlite3.Connection, frames: pd.DataFrame) -> None:
    for number, make, model, steady in BODIES.values():
        connection.execute(
            "insert into bodies (id, make, model, is_stabilised) values (?, ?, ?, ?)", [number, make, model, steady]
        )
    for number, lens in enumerate(sorted(frames["lens"].unique()), start=1):
        connection.execute(
            "insert into lenses (id, model, is_stabilised) values (?, ?, 0)", [number, f"Tidewell {lens}"]
        )


def _began(session: int) -> datetime:
    return FIRST_DAY + timedelta(days=DAYS_BETWEEN * session)


def _instant(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def _add_sessions(connection: sqlite3.Connection, frames: pd.DataFrame) -> None:
    rows = []
    for line in frames.groupby("session").first().reset_index().itertuples():
        began, ended = _began(line.session), _began(line.session) + timedelta(hours=2)
        rows.append(
            (
                line.session + 1, ("eights at dawn", "wading birds at dusk", "folk dance night")[line.session % 3],
                line.priority, line.subject_pace, line.support, float(line.ev100), int(line.is_backlit),
                float(line.subject_depth_m), _instant(began), _instant(ended), _instant(began), _instant(began), 1,
            )
        )  # fmt: skip
    connection.executemany(
        "insert into sessions (id, intent, priority, subject_pace, camera_support, light_ev100, is_backlit, "
        "subject_depth_m, started_at, ended_at, created_at, changed_at, is_simulated) "
        f"values ({', '.join('?' * 13)})",
        rows,
    )
    bursts = frames.groupby("burst").agg(session=("session", "first"), n=("session", "size")).reset_index()
    bursts["place"] = bursts.groupby("session").cumcount()
    connection.executemany(
        "insert into bursts (id, session_id, started_at, n_frames) values (?, ?, ?, ?)",
        [
            (line.burst + 1, line.session + 1, _instant(_began(line.session) + timedelta(minutes=8 * line.place)),
             line.n)
            for line in bursts.itertuples()
        ],
    )  # fmt: skip


def _frame_rows(frames: pd.DataFrame, last_judged: int) -> Iterator[tuple[Any, ...]]:
    lenses = {lens: number for number, lens in enumerate(sorted(frames["lens"].unique()), start=1)}
    known: dict[tuple[float, ...], tuple[Any, ...]] = {}
    for line in frames.itertuples():
        settings = (line.exposure_time_s, line.f_number, int(line.iso), line.focal_length_35mm)
        if settings not in known:
            derived = derive(*settings)
            known[settings] = tuple(getattr(derived, name) for name in DERIVED)
        taken = _began(line.session) + timedelta(seconds=480 * line.burst_number + line.position)
        verdict = "unjudged" if line.session > last_judged else "keeper" if line.is_keeper else "reject"
        number = line.Index + 1
        yield (
            number, f"{number:09d}", line.session + 1, line.burst + 1, line.position, BODIES[line.body][0],
            lenses[line.lens], f"T{number:07d}.jpg", _instant(taken), settings[0], "exif", settings[1], "exif",
            settings[2], "exif", settings[3], "exif", settings[3], "exif", line.subject_distance_m, "exif",
            int(line.used_flash), line.support, 6000, 4000, verdict, 1, *known[settings], DERIVED_VERSION,
        )  # fmt: skip


def _add_pictures(connection: sqlite3.Connection, n_frames: int) -> None:
    """Pictures that take as many bytes as a small photograph does, and suggestions for the same frames."""
    chance = random.Random(1)
    pictures = [_picture(chance) for _ in range(20)]
    numbers = range(max(1, n_frames - N_PREVIEWS + 1), n_frames + 1)
    connection.executemany(
        "insert into previews values (?, ?)", [(number, pictures[number % 20]) for number in numbers]
    )
    connection.executemany(
        "insert into suggestions values (?, '1', 'camera shake', 0.8, 0, '{\"camera shake\": 0.8}', '[]', ?)",
        [(number, _instant(FIRST_DAY)) for number in numbers],
    )


def _picture(chance: random.Random) -> bytes:
    stream = io.BytesIO()
    noise = Image.frombytes("RGB", (30, 20), chance.randbytes(30 * 20 * 3))
    noise.resize((320, 214), Image.Resampling.BICUBIC).save(stream, format="WEBP", quality=75)
    return stream.getvalue()
