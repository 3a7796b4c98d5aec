"""Secrets of this photographer on this machine, in files of the platform's data folder that nobody else may read.

They are not in the journal: whoever gets a copy of that must not be able to make links that the original accepts.
"""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from typing import TYPE_CHECKING

from journal.errors import JournalError

if TYPE_CHECKING:
    from pathlib import Path

#: The secret that mentors' links are signed with; links end where this file is deleted.
SIGNING_FILE = "mentor-links.key"
N_BYTES = 32


def signing_secret(folder: Path) -> bytes:
    """The secret of this folder, made on first use.

    Raises:
        JournalError: it cannot be written or read, is cut short, or others can read it.
    """
    file = folder / SIGNING_FILE
    if not file.exists():
        write_private(file, secrets.token_hex(N_BYTES), is_new=True)
    found = read_private(file)
    if len(found) < 2 * N_BYTES:
        raise JournalError(f"{file} is cut short.", "Delete it; every mentor then needs a new link.")
    return found.encode()


def write_private(file: Path, text: str, is_new: bool = False) -> None:
    """Writes a file that only its owner may read; where it must be new, the one that is there already stays."""
    beside = file.with_name(f".{file.name}.{secrets.token_hex(8)}")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                stream.write(text)
            if is_new:
                with suppress(FileExistsError):  # another process was quicker
                    os.link(beside, file)
            else:
                beside.replace(file)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise JournalError(f"{file} cannot be written: {error.strerror}.", "Check its folder's permissions.") from error


def read_private(file: Path) -> str:
    """What a private file holds.

    Raises:
        JournalError: it cannot be read, or others can read it.
    """
    try:
        if os.name == "posix" and file.stat().st_mode & 0o077:
            raise JournalError(f"Others can read {file}.", f"If nobody has: chmod 600 {file}; else delete it.")
        return file.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise JournalError(f"{file} cannot be read.", "Check its permissions, or delete it.") from error
