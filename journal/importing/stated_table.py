"""Frames written down by hand: a CSV file with Exif's names as column headings, for film and adapted lenses.

Columns: DateTimeOriginal, ExposureTime, FNumber, PhotographicSensitivity, FocalLength, FocalLengthIn35mmFilm,
SubjectDistance, Make, Model, BodySerialNumber, LensModel, FileName. Every value is marked as stated. A row whose file
name is that of a frame already in the journal fills what that frame does not say; other rows are frames of their own.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from datetime import datetime
from typing import TYPE_CHECKING, Any

from journal.errors import JournalError, Problem
from journal.importing.storing import STATED_COLUMNS, fill_frame
from journal.importing.verdict_table import read_rows
from journal.notation import (
    parse_exposure_time_fraction,
    parse_f_number,
    parse_focal_length,
    parse_iso,
)
from journal.records.files import FileFacts

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

#: Exif's names that a table may use (CIPA DC-008).
COLUMNS = (
    "FileName", "DateTimeOriginal", "ExposureTime", "FNumber", "PhotographicSensitivity", "FocalLength",
    "FocalLengthIn35mmFilm", "SubjectDistance", "Make", "Model", "BodySerialNumber", "LensModel",
)  # fmt: skip


#: The frame that a row speaks of. Parameters: key of the row, file name
KNOWN = """
select id, session_id, frame_key like 'stated-%' as is_of_table from frames
where frame_key = ? or (file_name = ? and frame_key not like 'stated-%')
"""


def read_stated(path: Path) -> tuple[list[FileFacts], list[Problem]]:
    """The frames of a table, and the rows that make none.

    Raises:
        JournalError: it is no table, or no column has a name of Exif.
    """
    rows = read_rows(path)
    if not rows or not set(rows[0]) & set(COLUMNS):
        raise JournalError(f"{path} has no column with a name of Exif.", f"Use names like: {', '.join(COLUMNS[:6])}.")
    facts: list[FileFacts] = []
    problems: list[Problem] = []
    seen: Counter[str] = Counter()
    for number, row in enumerate(rows, start=2):
        try:
            text = _identity(path, row)
            seen[text] += 1
            key = hashlib.sha256(f"{text} {seen[text]}".encode()).hexdigest()[:32]
            facts.append(_facts(path, number, row, f"stated-{key}"))
        except JournalError as error:
            problems.append(Problem(f"{path} line {number}", error.problem, error.next_step))
    return facts, problems


def fill_known(connection: sqlite3.Connection, facts: list[FileFacts]) -> tuple[list[FileFacts], set[int]]:
    """Fills frames of the same file name where they say nothing, and mends rows of a table that came before.

    Returns the rows left over and the sessions touched.
    """
    left: list[FileFacts] = []
    touched: set[int] = set()
    for fact in facts:
        rows = connection.execute(KNOWN, [fact.content_key, fact.file_name]).fetchall()
        if len(rows) == 1:
            values = {name: getattr(fact, name) for name in STATED_COLUMNS if getattr(fact, name) is not None}
            fill_frame(connection, rows[0]["id"], values, overwrite=rows[0]["is_of_table"])
            touched |= {rows[0]["session_id"]} - {None}
        else:
            left.append(fact)
    return left, touched


def _identity(path: Path, row: dict[str, str]) -> str:
    """A row with a file name may be mended later and stays the same frame; another is known by all it says."""
    if row.get("FileName"):
        return f"{path.name} {row['FileName']}"
    return "|".join(f"{name}={value}" for name, value in sorted(row.items()))


def _facts(path: Path, number: int, row: dict[str, str], key: str) -> FileFacts:
    time = parse_exposure_time_fraction(row["ExposureTime"]) if row.get("ExposureTime") else None
    aperture = parse_f_number(row["FNumber"]) if row.get("FNumber") else None
    iso = parse_iso(row["PhotographicSensitivity"]) if row.get("PhotographicSensitivity") else None
    length = parse_focal_length(row["FocalLength"]) if row.get("FocalLength") else None
    length_35mm = parse_focal_length(row["FocalLengthIn35mmFilm"]) if row.get("FocalLengthIn35mmFilm") else None
    distance = _distance(row["SubjectDistance"]) if row.get("SubjectDistance") else None
    name = row.get("FileName", "")
    stated: dict[str, Any] = {
        "exposure_time_num": time.numerator if time else None,
        "exposure_time_den": time.denominator if time else None,
        "exposure_time_s": float(time) if time else None,
        "exposure_time_source": "stated" if time else None,
        "f_number": aperture,
        "f_number_source": "stated" if aperture else None,
        "iso": iso,
        "iso_source": "stated" if iso else None,
        "focal_length_mm": length,
        "focal_length_35mm": length_35mm,
        "focal_length_35mm_source": "stated" if length_35mm else None,
        "subject_distance_m": distance,
        "subject_distance_source": "stated" if distance else None,
    }
    return FileFacts(
        path=f"{path.absolute()}#{name or number}",
        file_name=name or f"{path.name} line {number}",
        kind="table",
        size_bytes=0,
        mtime_ns=path.stat().st_mtime_ns,
        content_key=key,
        make=row.get("Make") or None,
        model=row.get("Model") or None,
        body_serial_number=row.get("BodySerialNumber") or None,
        lens_model=row.get("LensModel") or None,
        taken_at_local=_moment(row["DateTimeOriginal"]) if row.get("DateTimeOriginal") else None,
        **stated,
    )


def _distance(text: str) -> float:
    bare = text.lower().removesuffix("m").strip()
    try:
        metres = float(bare)
    except ValueError as error:
        raise JournalError(f"{text!r} is no distance.", "Write it in metres, for example 3.5.") from error
    if not 0 < metres < 1e9:
        raise JournalError(f"{text!r} is no distance.", "Write it in metres, for example 3.5.")
    return metres


def _moment(text: str) -> str:
    """Exif writes 2026:03:01 06:40:00; people write 2026-03-01 06:40. Both are read."""
    date, _, clock = text.partition(" ")
    try:
        moment = datetime.fromisoformat(f"{date.replace(':', '-')} {clock}".strip())
    except ValueError as error:
        raise JournalError(f"{text!r} is no date and time.", "Write it like 2026-03-01 06:40.") from error
    return moment.replace(tzinfo=None).isoformat()
