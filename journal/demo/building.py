"""Builds the simulated journal through the real path: sessions are logged, pictures imported, ratings judged.

The first bursts of every session are rendered as JPEGs with true Exif and XMP and go through the importer; the other
frames are handed to the importer's storing step as records, as if their files had been read.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from PIL import ExifTags, Image
from PIL.TiffImagePlugin import IFDRational

from journal.demo.career import FIRST_DAY, DemoFrame, DemoSession, draw_year
from journal.demo.rendering import HEIGHT, WIDTH, as_jpeg, draw_scene, render
from journal.demo.scenario import ADVICE_DAY, ADVICE_HABIT, BODIES, LENSES, MAKE
from journal.errors import JournalError
from journal.importing.pairing import FrameFiles
from journal.importing.run import import_files
from journal.importing.storing import Circumstances, store_chunk
from journal.notation import format_instant
from journal.records.files import FileFacts
from journal.records.sessions import Session
from journal.records.verdicts import Verdict
from journal.store.advice import give_advice
from journal.store.imports import begin_import, end_import
from journal.store.opening import open_journal, writing
from journal.store.sessions import add_session
from journal.store.verdicts import record

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

SEED = 20250301
#: Rendered as pictures: this many bursts of each session; the others are records.
RENDERED_BURSTS = 1
#: What the simulated photographer was told.
ADVICE = "Take a time two stops faster and pay with ISO."
#: Exif Flash: did not fire, switched off.
NO_FLASH = 16


@dataclass(frozen=True, slots=True)
class Built:
    """What was built."""

    n_sessions: int
    n_frames: int
    n_rendered: int


def build_demo(
    path: Path, pictures: Path, seed: int = SEED, advance: Callable[[int], None] = lambda _steps: None
) -> Built:
    """Makes the simulated journal at `path` and its pictures in the folder `pictures`; both must be new."""
    rng = np.random.default_rng(seed)
    sessions = draw_year(rng)
    pictures.mkdir(parents=True, exist_ok=True)
    connection = open_journal(path)
    try:
        numbers = [add_session(connection, _logged(session)) for session in sessions]
        _state_gear(connection)
        frames: dict[str, DemoFrame] = {}
        for number, session in zip(numbers, sessions, strict=True):
            frames |= _render(session, number, pictures, rng)
        n_rendered = len(frames)
        import_files(connection, [pictures], Circumstances(UTC, is_simulated=True))
        for number, session in zip(numbers, sessions, strict=True):
            frames |= _record(connection, session, number)
            advance(1)
        _judge(connection, frames)
        give_advice(connection, ADVICE_HABIT, ADVICE, FIRST_DAY + timedelta(days=ADVICE_DAY))
    finally:
        connection.close()
    return Built(len(sessions), len(frames), n_rendered)


@contextmanager
def making_alone(path: Path) -> Iterator[None]:
    """Lets nobody else make a simulated journal at `path` meanwhile; whoever is killed leaves the place free.

    Raises:
        JournalError: another one is being made there.
    """
    lock = path.with_name(f"{path.name}-making")
    lock.parent.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(lock, timeout=0, isolation_level=None)
    try:
        connection.execute("begin exclusive")
        yield
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or connection.in_transaction:
            raise
        reason = f"A simulated journal is being made at {path} already."
        raise JournalError(reason, "Wait until it is there, or choose another place with --journal.") from None
    finally:
        is_mine = connection.in_transaction
        connection.close()
        if is_mine:
            with suppress(OSError):
                lock.unlink()


def clear_demo(path: Path, pictures: Path) -> None:
    """Takes away an earlier simulated journal and its pictures."""
    for suffix in ("", "-wal", "-shm"):
        path.with_name(path.name + suffix).unlink(missing_ok=True)
    if pictures.is_dir():
        shutil.rmtree(pictures)


def _logged(session: DemoSession) -> Session:
    scene, outing = session.scene, session.scene.outing
    return Session(
        started_at=format_instant(session.started_at),
        ended_at=format_instant(session.ended_at),
        intent=f"{outing.intent} (simulated)",
        priority=outing.priority,
        subject_pace=scene.pace,
        light=outing.light_behind if scene.is_backlit else outing.light,
        light_ev100=round(scene.ev100, 1),
        is_backlit=int(scene.is_backlit),
        subject_depth_m=scene.subject_depth_m,
        subject_distance_m=sum(outing.distance_m) / 2,
        camera_support=scene.support,
        place=outing.place,
        planned_iso_min=outing.planned_iso[0],
        planned_iso_max=outing.planned_iso[1],
        notes="Simulated data.",
        is_simulated=1,
    )


def _state_gear(connection: sqlite3.Connection) -> None:
    """The gear tables know bodies and lenses before their frames come."""
    for body in BODIES:
        connection.execute(
            "insert into bodies (make, model, serial_number, sensor_width_mm, sensor_height_mm, is_stabilised, "
            "is_stated) values (?, ?, ?, ?, ?, ?, 1)",
            [MAKE, body.model, body.serial_number, *body.sensor, int(body.is_stabilised)],
        )
    for lens in LENSES:
        connection.execute(
            "insert into lenses (model, widest_f_number, is_stabilised, is_stated) values (?, ?, 0, 1)",
            [lens.model, lens.widest_f_number],
        )


def _name(number: int, burst: int, position: int) -> str:
    return f"S{number:02}B{burst:02}F{position:02}.jpg"


def _render(session: DemoSession, number: int, folder: Path, rng: np.random.Generator) -> dict[str, DemoFrame]:
    """Renders the first bursts of a session; the frames by file name."""
    done = {}
    for burst_number, burst in enumerate(session.bursts[:RENDERED_BURSTS]):
        scene = draw_scene(rng)
        for position, frame in enumerate(burst):
            name = _name(number, burst_number, position)
            jpeg = as_jpeg(render(scene, frame, rng), _exif(frame), _xmp(frame))
            (folder / name).write_bytes(jpeg)
            done[name] = frame
    return done


def _exif(frame: DemoFrame) -> Image.Exif:
    body = BODIES[frame.body]
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = MAKE, body.model
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.ExposureTime] = IFDRational(*frame.exposure_time)
    details[ExifTags.Base.FNumber] = IFDRational(round(frame.f_number * 10), 10)
    details[ExifTags.Base.ISOSpeedRatings] = frame.iso
    details[ExifTags.Base.Flash] = NO_FLASH
    details[ExifTags.Base.FocalLength] = IFDRational(frame.focal_length_mm, 1)
    details[ExifTags.Base.SubjectDistance] = IFDRational(round(frame.distance_m * 10), 10)
    details[ExifTags.Base.DateTimeOriginal] = frame.taken_at.strftime("%Y:%m:%d %H:%M:%S")
    details[ExifTags.Base.SubsecTimeOriginal] = f"{frame.taken_at.microsecond // 1000:03}"
    details[ExifTags.Base.OffsetTimeOriginal] = "+00:00"
    details[ExifTags.Base.ExposureProgram] = 1
    details[ExifTags.Base.BodySerialNumber] = body.serial_number
    details[ExifTags.Base.LensModel] = LENSES[frame.lens].model
    return exif


def _xmp(frame: DemoFrame) -> bytes:
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" '
        f'xmp:Rating="{4 if frame.is_keeper else -1}"/></rdf:RDF></x:xmpmeta>'
    ).encode()


def _record(connection: sqlite3.Connection, session: DemoSession, number: int) -> dict[str, DemoFrame]:
    """Hands the frames that are not rendered to the importer's storing step; the frames by file name."""
    frames: dict[str, DemoFrame] = {}
    for burst_number, burst in enumerate(session.bursts):
        if burst_number >= RENDERED_BURSTS:
            frames |= {_name(number, burst_number, position): frame for position, frame in enumerate(burst)}
    with writing(connection):
        import_id = begin_import(connection, ["simulated records"])
        files = [FrameFiles((_facts(name, frame),)) for name, frame in frames.items()]
        store_chunk(connection, files, {}, Circumstances(UTC, number, is_simulated=True), import_id)
        end_import(connection, import_id)
    return frames


def _facts(name: str, frame: DemoFrame) -> FileFacts:
    body = BODIES[frame.body]
    return FileFacts(
        path=f"simulated/{name}",
        file_name=name,
        kind="jpeg",
        size_bytes=0,
        mtime_ns=int(frame.taken_at.timestamp() * 1e9),
        content_key=f"simulated-{name}",
        make=MAKE,
        model=body.model,
        body_serial_number=body.serial_number,
        lens_model=LENSES[frame.lens].model,
        taken_at_local=frame.taken_at.replace(tzinfo=None).isoformat(timespec="milliseconds"),
        offset_minutes=0,
        exposure_time_num=frame.exposure_time[0],
        exposure_time_den=frame.exposure_time[1],
        exposure_time_s=frame.exposure_time[0] / frame.exposure_time[1],
        exposure_time_source="exif",
        f_number_num=round(frame.f_number * 10),
        f_number_den=10,
        f_number=frame.f_number,
        f_number_source="exif",
        iso=frame.iso,
        iso_source="exif",
        exposure_program=1,
        flash=NO_FLASH,
        focal_length_mm=float(frame.focal_length_mm),
        subject_distance_m=frame.distance_m,
        subject_distance_source="exif",
        orientation=1,
        width_px=WIDTH,
        height_px=HEIGHT,
        rating=4.0 if frame.is_keeper else -1.0,
    )


def _judge(connection: sqlite3.Connection, frames: dict[str, DemoFrame]) -> None:
    """Every frame gets the verdict that the simulation knows."""
    ids = dict(connection.execute("select file_name, id from frames").fetchall())
    verdicts = [
        Verdict(ids[name], "keeper" if frame.is_keeper else "reject", frame.faults) for name, frame in frames.items()
    ]
    record(connection, verdicts, judged_by="simulation", source="simulated", judged_at=datetime.now(UTC))
