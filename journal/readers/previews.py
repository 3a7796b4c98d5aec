"""Small pictures for the pages: WebP, upright, without metadata.

Quick previews come from what the file carries (Exif's thumbnail, a raw file's preview); else the picture is
decoded, a JPEG at an eighth to full size, whichever is enough.
"""

from __future__ import annotations

import io
import warnings
from array import array
from typing import Any

import exiv2

from journal.readers.content_key import UnreadableFileError, look_at
from journal.readers.reading import PILLOW_ERRORS, open_with_exiv2, open_with_pillow
from journal.records.files import FileFacts

#: Longest side of a preview [px].
PREVIEW_SIDE = 320
#: Longest side with which a quick preview is content: an Exif thumbnail's (CIPA DC-008 recommends 160 × 120).
QUICK_SIDE = 160
#: Largest picture that is decoded for a preview [px]; a JPEG counts after its scaled decoding.
MAX_DECODED_PX = 160_000_000
#: Largest embedded preview that is read [bytes].
MAX_EMBEDDED_BYTES = 40 * 1024 * 1024
WEBP_QUALITY = 75

#: Lines that bars may reach beyond what the proportions say [px]; seen up to two in thumbnails of cameras.
BAR_REST = 3
#: Pillow's number of the filter that takes means.
BOX = 4

#: Exif orientation -> how to turn the stored picture upright (CIPA DC-008, tag 274), in Pillow's numbers.
UPRIGHT = {2: 0, 3: 3, 4: 1, 5: 5, 6: 4, 7: 6, 8: 2}


def make_preview(facts: FileFacts, side: int = PREVIEW_SIDE, *, quick: bool = True) -> bytes | None:
    """A WebP picture of at most `side` pixels, or None where the file has no picture that can be shown."""
    if facts.kind == "sidecar":
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            # Exif's thumbnail is small and quick; without `quick` only a preview that fills `side` will do.
            image = _embedded(facts, min(QUICK_SIDE, side) if quick else side) or _decoded(facts, side)
            return None if image is None else _webp(image, side)
    except (*PILLOW_ERRORS, MemoryError, UnreadableFileError):
        return None


def _embedded(facts: FileFacts, wanted_side: int) -> Any | None:
    """The smallest embedded preview with at least `wanted_side`, turned upright; of a raw file any will do."""
    is_raw = facts.kind in ("raw", "dng")
    if facts.kind not in ("jpeg", "raw", "dng"):
        return None
    try:
        source = open_with_exiv2(look_at(facts.path))
        manager = exiv2.PreviewManager(source)
        offers = [offer for offer in manager.getPreviewProperties() if offer.size_ <= MAX_EMBEDDED_BYTES]
        enough = [offer for offer in offers if max(offer.width_, offer.height_) >= wanted_side]
        if not enough and not (is_raw and offers):
            return None
        best = enough[0] if enough else offers[-1]
        data = bytes(manager.getPreviewImage(best).copy())
    except exiv2.Exiv2Error:
        return None
    return _opened(data, facts, wanted_side)


def _opened(data: bytes, facts: FileFacts, side: int) -> Any | None:
    from PIL import Image

    try:
        image = Image.open(io.BytesIO(data))
        image.draft("RGB", (side, side))
        image.load()
    except PILLOW_ERRORS:
        return None
    if lies_across(image.size, facts):
        # A program that turned the picture left its thumbnail as it was, and nothing tells which way it was turned:
        # then the picture is decoded. Of a raw file there is nothing else to show, and it is upright already.
        return image if facts.kind in ("raw", "dng") else None
    return _turned(_without_bars(image, facts), facts.orientation)


def lies_across(size: tuple[int, int], facts: FileFacts) -> bool:
    """Whether an embedded picture is wide where the picture is stored upright, or the other way round."""
    if not facts.width_px or not facts.height_px:
        return False
    return (size[0] - size[1]) * (facts.width_px - facts.height_px) < 0


def _without_bars(image: Any, facts: FileFacts) -> Any:
    """The thumbnail cut to the picture's proportions: 160 × 120 thumbnails of 3:2 pictures have black bars."""
    if not facts.width_px or not facts.height_px:
        return image
    width, height = image.size
    ratio = facts.width_px / facts.height_px
    kept_width, kept_height = min(width, round(height * ratio)), min(height, round(width / ratio))
    if (kept_width >= width - 2 and kept_height >= height - 2) or kept_width < 8 or kept_height < 8:
        return image
    left, top = (width - kept_width) // 2, (height - kept_height) // 2
    return _without_dark_edges(image.crop((left, top, left + kept_width, top + kept_height)))


def _without_dark_edges(image: Any) -> Any:
    """What is left of bars: they are often a row or two wider than the proportions say, and darken the row beside."""
    grey = image.convert("L").convert("F")
    rows = grey.resize((1, image.height), BOX).tobytes()
    columns = grey.resize((image.width, 1), BOX).tobytes()
    (top, bottom), (left, right) = (_dark_ends(array("f", line)) for line in (rows, columns))
    return image.crop((left, top, image.width - right, image.height - bottom))


def _dark_ends(levels: array[float]) -> tuple[int, int]:
    """How many lines at either end are dark against the line further in, by their mean levels."""
    first, last = (
        max((n for n in range(1, BAR_REST + 1) if ends[n - 1] < ends[n] / 2), default=0)
        for ends in (levels, levels[::-1])
    )
    return first, last


def _decoded(facts: FileFacts, side: int) -> Any | None:
    """The picture itself, decoded as small as the format allows."""
    from PIL import ImageOps

    if facts.kind in ("raw", "dng"):
        return None
    with open_with_pillow(facts.path) as image:
        if facts.kind == "jpeg":
            image.draft("RGB", (side, side))
        if image.width * image.height > MAX_DECODED_PX:
            return None
        image.load()
        if facts.kind in ("heif", "avif"):
            # Their readers turn the picture, or say how in Exif's words; the file's own Exif would turn it twice.
            return ImageOps.exif_transpose(image)
        small = image.copy()
    return _turned(small, facts.orientation)


def _turned(image: Any, orientation: int | None) -> Any:
    method = UPRIGHT.get(orientation or 1)
    return image if method is None else image.transpose(method)


def _webp(image: Any, side: int) -> bytes:
    if image.mode.startswith("I;16") or image.mode in ("I", "F"):
        image = image.convert("F").point(lambda value: value / 256).convert("L")
    image.thumbnail((side, side), reducing_gap=2.0)
    image = image.convert("RGB")
    image.info.clear()
    out = io.BytesIO()
    image.save(out, "WEBP", quality=WEBP_QUALITY, method=2)
    return out.getvalue()
