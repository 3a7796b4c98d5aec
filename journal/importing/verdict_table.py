"""Verdicts from a CSV file: columns `frame` or `file_name`, `verdict`, and `faults` parted by semicolons.

Columns `judged_at` and `judged_by` may say when and by whom; without them it is now, and who runs the command.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from journal.errors import JournalError, Problem
from journal.notation import parse_instant
from journal.records.verdicts import Verdict
from journal.schema.ddl import FAULTS

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Mapping
    from pathlib import Path

VERDICTS = ("keeper", "reject", "unjudged")
#: Where the cells of a row go that stand beyond the last heading.
BEYOND = "beyond the last column"

#: Frames that have a file of this name; a raw file's JPEG names its frame too. Parameters: :name
NAMED = """
select id from frames where file_name = :name
union
select frame_id from files where file_name = :name
"""


def read_verdicts(connection: sqlite3.Connection, path: Path) -> tuple[list[Verdict], list[Problem]]:
    """Verdicts of a CSV file, and the rows that make none; every good row counts.

    Raises:
        JournalError: the file cannot be read or lacks a column.
    """
    verdicts: dict[tuple[int, datetime | None], Verdict] = {}
    problems: list[Problem] = []
    rows = numbered_rows(path)
    for number, row in rows:
        if number == rows[0][0] and ("verdict" not in row or not ({"frame", "file_name"} & set(row))):
            raise JournalError(
                f"{path} has no column verdict, or none of frame and file_name.",
                "Give it a first line like: file_name,verdict,faults",
            )
        try:
            verdict = _dated(_verdict(connection, row), row)
            if (verdict.frame_id, verdict.judged_at) in verdicts:
                raise JournalError(
                    f"Frame {verdict.frame_id} is judged by an earlier line.",
                    "Leave out one of them, or say in judged_at when each was judged.",
                )
            verdicts[verdict.frame_id, verdict.judged_at] = verdict
        except JournalError as error:
            problems.append(Problem(f"{path} line {number}", error.problem, error.next_step))
    return list(verdicts.values()), problems


def read_rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file by column name, blank ones left out.

    Raises:
        JournalError: it cannot be read as text.
    """
    return [{name: value for name, value in row.items() if name != BEYOND} for _number, row in numbered_rows(path)]


def numbered_rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    """The rows of a CSV file with the line that each ends on; blank ones are left out but counted.

    Raises:
        JournalError: it cannot be read as text.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, restkey=BEYOND)
            names = reader.fieldnames
            rows = [
                (reader.line_num, {str(name).strip(): _text(value) for name, value in row.items()}) for row in reader
            ]
    except FileNotFoundError as error:
        raise JournalError(f"There is no table at {path}.", "Check the path.") from error
    except (PermissionError, IsADirectoryError) as error:
        raise JournalError(
            f"{path} cannot be read: {error.strerror}.", "Check the path and its permissions."
        ) from error
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise JournalError(f"{path} cannot be read as a table.", "Save it as CSV in UTF-8.") from error
    if names is None:
        raise JournalError(f"{path} is empty.", "Give it a first line with the names of its columns.")
    return [(number, row) for number, row in rows if any(row.values())]


def _text(value: str | list[str] | None) -> str:
    """A cell, or all cells beyond the headings in one."""
    return ", ".join(value).strip(", ") if isinstance(value, list) else (value or "").strip()


def _dated(verdict: Verdict, row: Mapping[str, str]) -> Verdict:
    """The verdict with the time and the person that the row names."""
    verdict = replace(verdict, judged_by=row.get("judged_by") or None)
    if not row.get("judged_at"):
        return verdict
    now = datetime.now(UTC)
    moment = parse_instant(row["judged_at"], now.astimezone().tzinfo or UTC).astimezone(UTC)
    if moment > now:
        raise JournalError(f"{row['judged_at']!r} lies in the future.", "Correct judged_at, or leave it empty.")
    return replace(verdict, judged_at=moment)


def _verdict(connection: sqlite3.Connection, row: Mapping[str, str]) -> Verdict:
    if row.get(BEYOND):
        raise JournalError(f"{row[BEYOND]!r} stands beyond the last column.", "Part faults by semicolons.")
    word = row["verdict"].lower()
    if word not in VERDICTS:
        raise JournalError(f"{row['verdict']!r} is no verdict.", f"Use one of: {', '.join(VERDICTS)}.")
    faults = tuple(fault.strip().lower() for fault in row.get("faults", "").split(";") if fault.strip())
    unknown = [fault for fault in faults if fault not in FAULTS]
    if unknown:
        raise JournalError(f"{unknown[0]!r} is no fault this journal knows.", f"Use one of: {', '.join(FAULTS)}.")
    if faults and word != "reject":
        raise JournalError(f"A frame that is {word} has no fault.", "Leave its faults empty.")
    return Verdict(_frame_id(connection, row), word, faults)


def _frame_id(connection: sqlite3.Connection, row: Mapping[str, str]) -> int:
    name = row.get("frame") or row.get("file_name") or ""
    sql = "select id from frames where id = :name" if row.get("frame") else NAMED
    found = connection.execute(sql, {"name": name}).fetchall()
    if len(found) == 1:
        return int(found[0]["id"])
    if not found:
        raise JournalError(f"There is no frame {name!r} in this journal.", "List the frames with: thirdstop frames")
    raise JournalError(f"{len(found)} frames have the name {name!r}.", "Name it by its number, in a column frame.")
