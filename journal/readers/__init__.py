"""Picture files and sidecars -> `FileFacts` and previews; everything is read, nothing is ever written.

`read_file` and `make_preview` work in this process and are for files that are known to be sound; an import uses
`read_many`, whose workers may be crashed by a hostile file without harm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import PurePath
from typing import Literal, overload

from journal.errors import Problem
from journal.readers.kinds import PICTURE_SUFFIXES, is_foreign_picture, is_picture, is_sidecar
from journal.readers.pool import answers
from journal.readers.previews import make_preview
from journal.readers.reading import read_file, read_sidecar
from journal.records.files import FileFacts

__all__ = [
    "PICTURE_SUFFIXES",
    "is_foreign_picture",
    "is_picture",
    "is_sidecar",
    "make_preview",
    "read_file",
    "read_many",
    "read_sidecar",
]


@overload
def read_many(
    paths: Iterable[str | PurePath], workers: int = ..., *, previews: Literal[False] = ..., quick: bool = ...
) -> Iterator[FileFacts | Problem]: ...


@overload
def read_many(
    paths: Iterable[str | PurePath], workers: int = ..., *, previews: Literal[True], quick: bool = ...
) -> Iterator[tuple[FileFacts | Problem, bytes | None]]: ...


def read_many(
    paths: Iterable[str | PurePath], workers: int = 2, *, previews: bool = False, quick: bool = True
) -> Iterator[FileFacts | Problem] | Iterator[tuple[FileFacts | Problem, bytes | None]]:
    """Facts of many files from worker processes, in the order in which they are ready.

    Args:
        paths: Files to read; taken as they are needed.
        workers: Number of processes.
        previews: Yield pairs of facts and WebP preview (None where there is none).
        quick: Be content with Exif's thumbnail as a preview; without it, the picture is decoded.

    Raises:
        JournalError: no worker process starts.
    """
    found = answers(paths, workers=workers, previews=previews, quick=quick)
    return found if previews else (facts for facts, _preview in found)
