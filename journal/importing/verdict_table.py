"""Verdicts from a CSV file: columns `frame` or `file_name`, `verdict`, and `faults` parted by semicolons."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

from journal.errors import JournalError, Problem
from journal.records.verdicts import Verdict
from journal.schema.ddl import FAULTS

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Mapping
    from pathlib import Path

VERDICTS = ("keeper", "reject", "unjudged")


def read_verdicts(connection: sqlite3.Connection, path: Path) -> tuple[list[Verdict], list[Problem]]:
    """Verdicts of a CSV file, and the rows that make none; every good row counts.

    Raises:
        JournalError: the file cannot be read or lacks a column.
    """
    verdicts: list[Verdict] = []
    problems: list[Problem] = []
    for number, row in enumerate(read_rows(path), start=2):
        if number == 2 and ("verdict" not in row or not ({"frame", "file_name"} & set(row))):
            raise JournalError(
                f"{path} has no column verdict, or none of frame and file_name.",
                "Give it a first line like: file_name,verdict,faults",
            )
        try:
            verdicts.append(_verdict(connection, row))
        except JournalError as error:
            problems.append(Problem(f"{path} line {number}", error.problem, error.next_step))
    return verdicts, problems


def read_rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file by column name, blank ones left out.

    Raises:
        JournalError: it cannot be read as text.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = [
                {
                    str(name).strip(): (value or "").strip()
                    for name, value in row.items()
                    if isinstance(value, str | None)
                }
                for row in csv.DictReader(file)
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise JournalError(f"{path} cannot be read as a table.", "Save it as CSV in UTF-8.") from error
    return [row for row in rows if any(row.values())]


def _verdict(connection: sqlite3.Connection, row: Mapping[str, str]) -> Verdict:
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
    column = "id" if row.get("frame") else "file_name"
    found = connection.execute(f"select id from frames where {column} = ?", [name]).fetchall()  # noqa: S608
    if len(found) == 1:
        return int(found[0]["id"])
    if not found:
        raise JournalError(f"There is no frame {name!r} in this journal.", "List the frames with: thirdstop frames")
    raise JournalError(f"{len(found)} frames have the name {name!r}.", "Name it by its number, in a column frame.")
