"""The first look at a file: is it a regular file, what is in it, and a key that survives moves and new names."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass

#: Bytes read from the front: the metadata of nearly every camera's file lies inside.
HEAD_BYTES = 64 * 1024
#: Bytes read from the back: tells two exposures apart whose headers are alike.
TAIL_BYTES = 16 * 1024


class UnreadableFileError(Exception):
    """This file cannot be read as a picture; the two halves become those of a `Problem`."""

    def __init__(self, problem: str, next_step: str) -> None:
        super().__init__(problem, next_step)
        self.problem = problem
        self.next_step = next_step


@dataclass(frozen=True, slots=True)
class FirstLook:
    """What one open and two reads tell."""

    path: str
    size_bytes: int
    mtime_ns: int
    content_key: str
    head: bytes


def content_key(size_bytes: int, head: bytes, tail: bytes) -> str:
    """Key of a content: 128 bits of SHA-256 over the size, the first 64 KiB and the last 16 KiB, as hexadecimal."""
    digest = hashlib.sha256(size_bytes.to_bytes(8, "big"))
    digest.update(head)
    digest.update(tail)
    return digest.hexdigest()[:32]


def look_at(path: str) -> FirstLook:
    """Open `path` read-only and read its two ends.

    Raises:
        UnreadableFileError: it is no regular file, is empty, or may not be read.
    """
    try:
        # A pipe without a writer would block the open; a device has no end.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise _refused(path, error) from error
    try:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode):
            raise UnreadableFileError(
                "This is a folder, a pipe or a device, not a file.", "Leave it out of the import."
            )
        if status.st_size == 0:
            raise UnreadableFileError(
                "The file is empty.", "Copy it from the card again, or leave it out of the import."
            )
        head = os.read(descriptor, HEAD_BYTES)
        tail_starts = max(len(head), status.st_size - TAIL_BYTES)
        os.lseek(descriptor, tail_starts, os.SEEK_SET)
        tail = os.read(descriptor, TAIL_BYTES)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        os.close(descriptor)
    key = content_key(status.st_size, head, tail)
    return FirstLook(path, status.st_size, status.st_mtime_ns, key, head)


def _refused(path: str, error: OSError) -> UnreadableFileError:
    if isinstance(error, FileNotFoundError):
        return UnreadableFileError(
            "The file is not there.", "Check the path, or put the card back in and import again."
        )
    if isinstance(error, PermissionError):
        return UnreadableFileError(
            "You may not read this file.", "Give yourself permission to read it, then import again."
        )
    if isinstance(error, IsADirectoryError):
        return UnreadableFileError("This is a folder, not a file.", "Give the files in it one by one.")
    reason = error.strerror or "unknown reason"
    return UnreadableFileError(
        f"The file could not be read: {reason}.", "Check the card or the disk, then import again."
    )
