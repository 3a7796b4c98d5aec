"""One frame of several files: a raw file, its JPEG and its sidecar in one folder, with one stem.

A sidecar belongs to `name.ext` (as `name.ext.xmp`) or to `name` (as `name.xmp`). Files of one stem whose bodies or
capture times differ are different exposures that happen to share a name.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from journal.records.files import FileFacts

#: The file whose facts count first when several describe one exposure.
_ORDER = {"raw": 0, "dng": 1, "heif": 2, "tiff": 3, "jpeg": 4, "avif": 5, "sidecar": 6}


@dataclass(frozen=True, slots=True)
class FrameFiles:
    """The files of one exposure, the leading one first, sidecars last."""

    files: tuple[FileFacts, ...]

    @property
    def leading(self) -> FileFacts:
        """The file whose facts count first."""
        return self.files[0]

    def fact(self, name: str) -> object:
        """The first file's value that is there; a sidecar's rating, label and keywords come before the picture's."""
        order = self.files[::-1] if name in ("rating", "label", "keywords") else self.files
        return next((value for file in order if (value := getattr(file, name)) not in (None, ())), None)


def stem_path(path: str) -> str:
    """The path without its suffix; of a sidecar `name.ext.xmp`, without both."""
    name = Path(path)
    if name.suffix.lower() == ".xmp":
        name = name.with_suffix("")
    return str(name.with_suffix(""))


def stem_key(path: str) -> str:
    """What the files of one exposure share: folder and stem, in lower case."""
    return stem_path(path).lower()


def pair(files: Iterable[FileFacts]) -> list[FrameFiles]:
    """Groups files into frames; sidecars join every frame of their stem's first exposure."""
    stems: dict[str, list[FileFacts]] = {}
    for file in files:
        stems.setdefault(stem_key(file.path), []).append(file)
    frames = []
    for group in stems.values():
        exposures: dict[tuple[object, ...], list[FileFacts]] = {}
        pictures = [file for file in group if file.kind != "sidecar"]
        for file in sorted(pictures, key=lambda one: (_ORDER.get(one.kind, 9), one.path)):
            exposures.setdefault(_exposure(file, pictures), []).append(file)
        sidecars = [file for file in group if file.kind == "sidecar"]
        for number, members in enumerate(exposures.values()):
            frames.append(FrameFiles((*members, *(sidecars if number == 0 else ()))))
        if not exposures:
            frames.append(FrameFiles(tuple(sidecars)))
    return frames


def _exposure(file: FileFacts, others: list[FileFacts]) -> tuple[object, ...]:
    """Body and second of capture; a file that does not say joins the exposure of its stem."""
    if file.taken_at_local is None:
        dated = [one for one in others if one.taken_at_local is not None]
        return _exposure(dated[0], []) if dated else (None, None)
    return (file.model, file.taken_at_local[:19])
