"""Finds the picture files and sidecars of a card or folder."""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from journal.errors import JournalError, Problem
from journal.notation import format_names
from journal.readers import is_foreign_picture, is_picture, is_sidecar

if TYPE_CHECKING:
    from collections.abc import Sequence


def find_files(paths: Sequence[Path]) -> tuple[list[str], list[Problem]]:
    """Every picture and sidecar below the paths, sorted, and the folders that could not be read.

    Raises:
        JournalError: a path is not there, or no path holds a picture or sidecar.
    """
    found: set[str] = set()
    problems: list[Problem] = []
    for path in paths:
        if not path.exists():
            raise JournalError(f"There is nothing at {path}.", "Check the path, or whether the card is mounted.")
        if path.is_dir() and not os.access(path, os.R_OK | os.X_OK):
            raise JournalError(
                f"The folder {path} cannot be read.", "Give yourself permission to read it, then import."
            )
        if path.is_dir():
            found |= _walk(path, problems)
        else:
            found.add(str(path.absolute()))
    if not found and not problems:
        names = ", ".join(str(path) for path in paths)
        raise JournalError(
            f"There are no pictures in {names}.", "Name a folder that holds JPEG, HEIF, TIFF or raw files."
        )
    return sorted(found), problems


def _walk(folder: Path, problems: list[Problem]) -> set[str]:
    """Links to folders are not followed, so a loop of links ends."""

    def note(error: OSError) -> None:
        reason = error.strerror or "unknown reason"
        problems.append(Problem(str(error.filename), f"The folder cannot be read: {reason}.", "Check its permissions."))

    found = set()
    foreign: Counter[str] = Counter()
    for parent, folders, names in os.walk(folder.absolute(), onerror=note):
        folders.sort()
        problems += [_linked(Path(parent, name)) for name in folders if Path(parent, name).is_symlink()]
        for name in names:
            path = Path(parent, name)
            if name.startswith("._") or not (is_picture(path) or is_sidecar(path)):
                foreign[path.suffix.lower()] += is_foreign_picture(path) and not name.startswith("._")
                continue
            if _is_utf_8(str(path)):
                found.add(str(path))
            elif _is_utf_8(parent):
                problems.append(Problem(str(path), "The name is not valid UTF-8.", "Rename the file, or a copy of it."))
            else:
                what = "The name of its folder is not valid UTF-8."
                problems.append(Problem(str(path), what, "Rename the folder, or a copy of it."))
    if foreign.total():
        problems.append(_passed_over(folder, +foreign))
    return found


def _passed_over(folder: Path, foreign: Counter[str]) -> Problem:
    kinds = format_names([f"{number:,} {suffix}" for suffix, number in sorted(foreign.items())])
    return Problem(
        str(folder),
        f"Passed over, for they are of kinds that are not read: {kinds}.",
        "Import the files that the camera wrote; copies of them as JPEG or TIFF will do.",
    )


def _linked(folder: Path) -> Problem:
    return Problem(
        str(folder),
        "This is a link to a folder, and links are not followed.",
        "Import the folder that it points to, or leave it out.",
    )


def _is_utf_8(name: str) -> bool:
    """Whether the journal can store the name; others arrive from the system with surrogates in them."""
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
