"""Picture file -> its brightness at full size, and a small copy with its colours.

Asking the decoder for grey at full size costs little more than half size, since undoing the entropy coding dominates,
and blur of two pixels or noise are gone from anything smaller. Of colours only the bright end is asked, for which an
eighth of the size is enough, or the small copy that a camera kept. Nothing is turned upright: directions are those of
the stored rows and columns. It does not read settings, and never changes or writes a file.
"""

from __future__ import annotations

import io
import os
import tempfile
import threading
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from analytics.pixels.thumbnails import kept_colours
from journal.errors import JournalError

Grey = NDArray[np.uint8] | NDArray[np.uint16]
SmallCopy = NDArray[np.uint8]
Heard = TypeVar("Heard")

#: Raw files by ending: their own pixels need developing, so the largest preview inside stands in for them.
RAW_ENDINGS = frozenset(
    {".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dng", ".erf", ".iiq", ".kdc", ".mrw", ".nef"}
    | {".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".rwl", ".sr2", ".srf", ".srw", ".x3f"}
)
#: What OpenCV decodes straight to grey; everything else goes through Pillow. Source: the formats' signatures.
OPENCV_FORMATS = frozenset({"JPEG", "MPO", "PNG", "TIFF", "WEBP", "BMP", "PPM"})
#: First bytes of TIFF (either order) and PNG. Source: TIFF 6.0, section 2; PNG, clause 5.2.
PLAIN_FORMATS = (b"II*\0", b"MM\0*", b"\x89PNG")
#: First bytes of a JPEG, whatever its name. Source: ISO/IEC 10918-1, markers SOI and the one behind it.
JPEG = b"\xff\xd8\xff"
#: How OpenCV decodes: brightness only, as deep as it is stored, not turned.
AS_GREY = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
#: The same for the small copy with colours, 8 bits deep, at an eighth of the size.
IN_COLOUR = cv2.IMREAD_REDUCED_COLOR_8 | cv2.IMREAD_IGNORE_ORIENTATION
EIGHTH = 8
#: Pixels up to which a picture is decoded once more for its colours; a larger JPEG has those of the small copy that
#: cameras keep inside.
MOST_COLOURED = 6_000_000
#: What Pillow raises on broken pictures.
BROKEN = (OSError, SyntaxError, ValueError, EOFError)
#: What the decoder of JPEG says of data that is lost; what it says of superfluous bytes is harmless.
DAMAGED = ("bad Huffman code", "premature end of data segment", "bad arithmetic code", "instead of RST")
#: Boxes of an ISO media file that a picture is in. Source: ISO/IEC 14496-12, clauses 8.1 and 8.11.
PICTURE_BOXES = (b"mdat", b"meta", b"moov")
#: Error output belongs to the whole process.
_one_at_a_time = threading.Lock()
#: Largest picture that is decoded [px]; beyond it the memory of one worker would not do.
MOST_PIXELS = 160_000_000
#: The shortest side that still has room for the map [px]: a cell's tile is three pixels wide at a quarter of its size.
SHORTEST_SIDE = 144


class UnmeasurablePictureError(JournalError):
    """There is no picture in a file that can be measured; callers make a Problem of it."""


@dataclass(frozen=True, slots=True)
class Picture:
    """Brightness and colours of one picture as it is stored.

    Attributes:
        grey: (rows, columns), gamma-encoded luma, 8 or 16 bits.
        white: the code of white in `grey` [1].
        scale: pixels of the full-size picture per pixel of `grey` [px/px]; above 1 where a small preview stands in.
        is_preview: whether a preview stands in for a raw.
        colours: small copy with its colours in any order, (rows, columns, 3); `None` where only the brightness is
            known.
    """

    grey: Grey
    white: float
    scale: float = 1.0
    is_preview: bool = False
    colours: SmallCopy | None = None


def read_picture(path: str | Path) -> Picture:
    """The brightness of a picture file at full size.

    Args:
        path: JPEG, TIFF, PNG, HEIC, AVIF, WebP, or a raw file with a preview inside.

    Returns:
        A picture of 8 bits, or of 16 where the file has them.

    Raises:
        UnmeasurablePictureError: the file cannot be read, is cut short, is no picture, or is too large or too small.

    Source: luma of ITU-R BT.601, as the decoders give it.
    """
    file = Path(path)
    try:
        with file.open("rb") as opened:
            head = opened.read(32)
        if file.suffix.lower() in RAW_ENDINGS and not head.startswith(JPEG):
            return _preview(file.read_bytes(), file.name)
        if head[:4] in PLAIN_FORMATS:
            return _checked(_plain(file), file.name)
        return _checked(_decoded(file.read_bytes(), file.name), file.name)
    except OSError as error:
        raise UnmeasurablePictureError(
            f"{file.name} cannot be read: {error.strerror}.", "Check that the file is there and may be read."
        ) from None


def _refusal(name: str, what: str) -> UnmeasurablePictureError:
    return UnmeasurablePictureError(
        f"{name} {what}.", "Open it in another program; if it is damaged there too, copy it from the card again."
    )


def _decoded(data: bytes, name: str) -> Picture:
    """A picture from the bytes of its file."""
    if data[4:8] == b"ftyp":
        if _has_cut_box(data):
            raise _refusal(name, "is cut short")
        if b"avif" not in data[8:32]:
            return _heic(data, name)
    kind, n_pixels = _kind(io.BytesIO(data), name)
    if kind not in OPENCV_FORMATS:
        try:
            with Image.open(io.BytesIO(data)) as image:
                has_colours = image.mode in {"RGB", "RGBA"}
                colours = np.asarray(image.reduce(EIGHTH))[:, :, :3] if has_colours else None
                return Picture(np.asarray(image.convert("L")), 255.0, colours=colours)
        except BROKEN:
            raise _refusal(name, "cannot be decoded") from None
    if kind in {"JPEG", "MPO"} and _is_cut_short(data):
        raise _refusal(name, "is cut short")

    def decoded(how: int) -> Any:
        return cv2.imdecode(np.frombuffer(data, np.uint8), how)

    picture, said = heard(lambda: _by_opencv(decoded, name, has_colours=n_pixels <= MOST_COLOURED))
    if any(words in said for words in DAMAGED):
        raise _refusal(name, "is damaged: a part of it cannot be decoded")
    if kind in {"JPEG", "MPO"} and picture.colours is None and picture.grey.dtype == np.uint8:
        return replace(picture, colours=kept_colours(data, np.asarray(picture.grey, np.uint8)))
    return picture


def _is_cut_short(data: bytes) -> bool:
    """Whether a JPEG has no end, or another scan begins behind its last one. Source: ISO/IEC 10918-1, markers."""
    end = data.rfind(b"\xff\xd9")
    return end < 0 or data.find(b"\xff\xda", end) >= 0


def _has_cut_box(data: bytes) -> bool:
    """Whether a box with the picture ends behind the end of an ISO media file; what is no box at its end is let be.

    Source: ISO/IEC 14496-12, clause 4.2.
    """
    place = 0
    while place + 8 <= len(data):
        size, head = int.from_bytes(data[place : place + 4], "big"), 8
        if size == 1:
            size, head = int.from_bytes(data[place + 8 : place + 16], "big"), 16
        if size == 0:  # to the end of the file
            return False
        if place + size > len(data):
            return data[place + 4 : place + 8] in PICTURE_BOXES
        if size < head:
            return False
        place += size
    return False


def heard(act: Callable[[], Heard]) -> tuple[Heard, str]:
    """What a function returns, and what libraries write to the error output meanwhile: some tell of damage only there.

    Args:
        act: what is done; others of this process wait.

    Returns:
        Its result, and the text; an empty one where there is no error output.

    Source: libjpeg, `emit_message`: the first piece of corrupt data is told, and decoding goes on.
    """
    with _one_at_a_time, tempfile.TemporaryFile() as told:
        try:
            before = os.dup(2)
        except OSError:
            return act(), ""
        try:
            os.dup2(told.fileno(), 2)
            result = act()
        finally:
            os.dup2(before, 2)
            os.close(before)
        told.seek(0)
        return result, told.read().decode("utf-8", "replace")


def _plain(file: Path) -> Picture:
    """A TIFF or PNG, straight from the file: its bytes may be more than its brightness."""
    with file.open("rb") as opened:
        _, n_pixels = _kind(opened, file.name)
    return _by_opencv(lambda how: cv2.imread(str(file), how), file.name, has_colours=n_pixels <= MOST_COLOURED)


def _kind(source: BinaryIO, name: str) -> tuple[str | None, int]:
    """The format by Pillow's reading of the head, and how many pixels there are; refuses what is no picture or too
    large."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(source) as image:
                _check_size(image.size, name)
                return image.format, image.size[0] * image.size[1]
    except UnidentifiedImageError:
        raise _refusal(name, "is not a picture that can be decoded") from None
    except Image.DecompressionBombError:
        raise _too_large(name) from None
    except BROKEN:
        raise _refusal(name, "cannot be decoded") from None


def _by_opencv(decode: Callable[[int], Any], name: str, *, has_colours: bool) -> Picture:
    """A picture from what OpenCV decodes, grey and in colour."""

    def decoded(how: int) -> Any:
        try:
            return decode(how)
        except cv2.error:
            return None

    colours = decoded(IN_COLOUR) if has_colours else None
    return replace(_grey(decoded(AS_GREY), name), colours=colours)


def _grey(grey: Any, name: str) -> Picture:
    if grey is None:
        raise _refusal(name, "cannot be decoded")
    if grey.dtype == np.uint8:
        return Picture(np.asarray(grey, np.uint8), 255.0)
    if grey.dtype == np.uint16:
        return Picture(np.asarray(grey, np.uint16), 65535.0)
    clean = np.nan_to_num(np.asarray(grey, np.float32), nan=0.0, posinf=1.0, neginf=0.0)
    return Picture((np.clip(clean, 0, 1) * 65535).astype(np.uint16), 65535.0)


def _heic(data: bytes, name: str) -> Picture:
    import pi_heif

    try:
        container = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)
        _check_size(container.size, name)
        pixels = np.asarray(container)
    except (OSError, SyntaxError, ValueError, RuntimeError, EOFError):
        raise _refusal(name, "cannot be decoded") from None
    if pixels.ndim == 3:
        code = cv2.COLOR_RGBA2GRAY if pixels.shape[2] == 4 else cv2.COLOR_RGB2GRAY
        size = (max(1, pixels.shape[1] // EIGHTH), max(1, pixels.shape[0] // EIGHTH))
        colours = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)[:, :, :3]
        return Picture(np.asarray(cv2.cvtColor(pixels, code), np.uint8), 255.0, colours=colours)
    return Picture(np.asarray(pixels, np.uint8), 255.0)


def _preview(data: bytes, name: str) -> Picture:
    """The largest preview inside a raw file, with the scale that brings its pixels to those of the raw."""
    import exiv2

    try:
        image = exiv2.ImageFactory.open(data)
        image.readMetadata()
        previews = exiv2.PreviewManager(image)
        properties = previews.getPreviewProperties()
        if not len(properties):
            raise _refusal(name, "has no preview inside")
        largest = max(properties, key=lambda each: int(each.width_) * int(each.height_))
        inside = bytes(previews.getPreviewImage(largest).data())
        full_width = max(int(image.pixelWidth()), int(image.pixelHeight()))
    except exiv2.Exiv2Error:
        raise _refusal(name, "cannot be decoded") from None
    picture = _checked(_decoded(inside, name), name)
    scale = max(1.0, full_width / max(picture.grey.shape))
    return replace(picture, scale=scale, is_preview=True)


def _check_size(size: tuple[int, int], name: str) -> None:
    if size[0] * size[1] > MOST_PIXELS:
        raise _too_large(name)


def _too_large(name: str) -> UnmeasurablePictureError:
    return UnmeasurablePictureError(
        f"{name} has more than {MOST_PIXELS // 1_000_000} million pixels.", "Examine a smaller copy of it."
    )


def _checked(picture: Picture, name: str) -> Picture:
    rows, columns = picture.grey.shape[:2]
    if min(rows, columns) < SHORTEST_SIDE:
        raise UnmeasurablePictureError(
            f"{name} has {columns} × {rows} pixels, too few to measure.",
            f"Examine a copy whose shorter side has at least {SHORTEST_SIDE} pixels.",
        )
    return picture
