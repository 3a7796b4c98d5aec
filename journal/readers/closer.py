"""A closer look at an original: the whole picture reduced, and a piece of it pixel by pixel.

Both are encoded anew, upright and without metadata. Of a raw file the largest preview inside stands for the picture.
Runs in a worker process: decoders meet broken files here.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from typing import Any

import exiv2

from journal.errors import Problem
from journal.readers.answering import answer_tasks
from journal.readers.content_key import UnreadableFileError, look_at
from journal.readers.previews import MAX_DECODED_PX, MAX_EMBEDDED_BYTES, UPRIGHT, lies_across
from journal.readers.reading import PILLOW_ERRORS, open_with_exiv2, open_with_pillow, read_file
from journal.records.files import FileFacts

#: Longest side of the whole picture [px]; what a large window shows.
WHOLE_SIDE = 1600
#: Sides of the piece that is shown pixel by pixel, before it is turned upright [px].
PIECE_SIDE = 900
#: Exif's tag for how the picture is to be turned. Source: CIPA DC-008.
ORIENTATION = 0x0112
#: Of JPEG; the piece is looked at for blur and noise, so it keeps nearly all.
WHOLE_QUALITY, PIECE_QUALITY = 85, 95


@dataclass(frozen=True, slots=True)
class CloserLook:
    """What is asked for: a file that the journal knows, by its content, and the middle of the piece.

    `row` and `column` are shares of the sides as they are stored, before the picture is turned upright.
    """

    path: str
    content_key: str
    row: float
    column: float


@dataclass(frozen=True, slots=True)
class Closer:
    """Two JPEG files without metadata."""

    whole: bytes
    piece: bytes


def serve() -> None:
    """Answers until the pool closes the pipe."""
    answer_tasks(look_closer)


def look_closer(wanted: CloserLook) -> tuple[CloserLook, Closer | Problem]:
    """The two pictures, or why there are none."""
    return wanted, _closer(wanted)


def _closer(wanted: CloserLook) -> Closer | Problem:
    try:
        look = look_at(wanted.path)
    except UnreadableFileError as error:
        return Problem(wanted.path, error.problem, error.next_step)
    if look.content_key != wanted.content_key:
        again = "Import it again: thirdstop import FOLDER"
        return Problem(wanted.path, "The picture has changed since it was imported.", again)
    facts = read_file(wanted.path)
    if isinstance(facts, Problem):
        return facts
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image, turn = _decoded(facts)
            if image is not None:
                return Closer(_whole(image, turn), _piece(image, turn, wanted))
    except (*PILLOW_ERRORS, MemoryError, exiv2.Exiv2Error):
        pass
    return Problem(wanted.path, "The picture cannot be decoded.", "Judge it by its preview.")


def _decoded(facts: FileFacts) -> tuple[Any | None, int | None]:
    """The picture at full size as it is stored, and how to turn it upright in Pillow's numbers."""
    from PIL import Image

    turn = UPRIGHT.get(facts.orientation or 1)
    if facts.kind in ("raw", "dng"):
        inside = _largest_inside(facts.path)
        image = None if inside is None else Image.open(io.BytesIO(inside))
    else:
        image = open_with_pillow(facts.path)
    if image is None:
        return None, None
    with image:
        if image.width * image.height > MAX_DECODED_PX:
            return None, None
        if facts.kind in ("heif", "avif"):
            # Their readers turn the picture themselves, or say how in Exif's words.
            turn = UPRIGHT.get(int(image.getexif().get(ORIENTATION, 1)))
        elif facts.kind in ("raw", "dng") and lies_across(image.size, facts):
            turn = None  # it is upright already
        image.load()
        return _eight_bits(image), turn


def _largest_inside(path: str) -> bytes | None:
    manager = exiv2.PreviewManager(open_with_exiv2(look_at(path)))
    offers = [offer for offer in manager.getPreviewProperties() if offer.size_ <= MAX_EMBEDDED_BYTES]
    return bytes(manager.getPreviewImage(offers[-1]).copy()) if offers else None


def _eight_bits(image: Any) -> Any:
    if image.mode.startswith("I;16") or image.mode in ("I", "F"):
        image = image.convert("F").point(lambda value: value / 256).convert("L")
    return image.convert("RGB")


def _whole(image: Any, turn: int | None) -> bytes:
    small = image.copy() if max(image.size) <= WHOLE_SIDE else _reduced(image)
    return _jpeg(small, turn, WHOLE_QUALITY)


def _reduced(image: Any) -> Any:
    scale = WHOLE_SIDE / max(image.size)
    size = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    return image.resize(size, reducing_gap=2.0)


def _piece(image: Any, turn: int | None, wanted: CloserLook) -> bytes:
    width, height = min(PIECE_SIDE, image.width), min(PIECE_SIDE, image.height)
    left = min(max(0, round(wanted.column * image.width - width / 2)), image.width - width)
    top = min(max(0, round(wanted.row * image.height - height / 2)), image.height - height)
    return _jpeg(image.crop((left, top, left + width, top + height)), turn, PIECE_QUALITY)


def _jpeg(image: Any, turn: int | None, quality: int) -> bytes:
    if turn is not None:
        image = image.transpose(turn)
    image.info.clear()
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, subsampling=0 if quality == PIECE_QUALITY else 2)
    return out.getvalue()
