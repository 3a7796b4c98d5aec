"""The true size of a picture: a JPEG's from its frame header, a raw file's from its largest image.

PixelXDimension is what a program last wrote, and IFD0 of a raw file describes its thumbnail; neither is trusted
where something better is in the file.
"""

from __future__ import annotations

from typing import Any

from journal.readers.exif_source import ExifSource, integer

#: Groups in which TIFF-shaped raw files keep their images, in exiv2's words.
IMAGE_GROUPS = ("Image", "SubImage1", "SubImage2", "SubImage3", "SubImage4", "Image2", "Image3")
#: JPEG markers that start a frame header (ITU-T T.81, table B.1): all SOFn but DHT, JPG and DAC.
START_OF_FRAME = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
#: Where a RAF header points to its table of sizes, and the tags for the full and the cropped sensor.
RAF_TABLE_POINTER = 92
RAF_SIZE_TAGS = (0x0111, 0x0100)

Size = tuple[int, int]


def jpeg_size(data: bytes) -> Size | None:
    """Width and height from the first frame header within `data`."""
    at = 2
    while at + 9 <= len(data):
        if data[at] != 0xFF:
            return None
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
        elif marker in START_OF_FRAME:
            height, width = int.from_bytes(data[at + 5 : at + 7], "big"), int.from_bytes(data[at + 7 : at + 9], "big")
            return (width, height) if width and height else None
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return None


def raw_size(source: ExifSource, head: bytes, fallback: Size) -> Size | None:
    """Largest image that a raw file or a DNG tells of; `fallback` is exiv2's own answer, often the thumbnail's."""
    if head.startswith(b"FUJIFILMCCD-RAW"):
        return raf_size(head) or _photo_size(source)
    if head.startswith(b"IIU\0"):
        return _panasonic_size(source) or _photo_size(source)
    sizes = [_size(source, group, "ImageWidth", "ImageLength") for group in IMAGE_GROUPS]
    sizes.append(_photo_size(source))
    sizes.append(fallback if all(fallback) else None)
    known = [size for size in sizes if size is not None]
    return max(known, key=lambda size: size[0] * size[1], default=None)


def raf_size(head: bytes) -> Size | None:
    """Size from the table of a RAF file: entries of tag, length, then height and width (big-endian)."""
    at = int.from_bytes(head[RAF_TABLE_POINTER : RAF_TABLE_POINTER + 4], "big")
    if at == 0 or at + 4 > len(head):
        return None
    count = int.from_bytes(head[at : at + 4], "big")
    at += 4
    found: dict[int, Size] = {}
    for _ in range(min(count, 200)):
        tag, length = int.from_bytes(head[at : at + 2], "big"), int.from_bytes(head[at + 2 : at + 4], "big")
        if tag in RAF_SIZE_TAGS and length == 4:
            height, width = int.from_bytes(head[at + 4 : at + 6], "big"), int.from_bytes(head[at + 6 : at + 8], "big")
            found[tag] = (width, height)
        at += 4 + length
    return next((found[tag] for tag in RAF_SIZE_TAGS if tag in found and all(found[tag])), None)


def _panasonic_size(source: ExifSource) -> Size | None:
    borders = [integer(source, "PanasonicRaw", f"Sensor{side}Border") for side in ("Right", "Left", "Bottom", "Top")]
    if any(border is None for border in borders):
        return None
    right, left, bottom, top = (border or 0 for border in borders)
    return (right - left, bottom - top) if right > left and bottom > top else None


def _photo_size(source: ExifSource) -> Size | None:
    return _size(source, "Photo", "PixelXDimension", "PixelYDimension")


def _size(source: ExifSource, group: str, width_name: str, height_name: str) -> Size | None:
    width, height = integer(source, group, width_name), integer(source, group, height_name)
    return (width, height) if width and height and width > 0 and height > 0 else None


def usable(size: tuple[Any, Any] | None) -> Size | None:
    """The size if both sides are above zero and can be stored."""
    if size is None or not (0 < size[0] < 2**31 and 0 < size[1] < 2**31):
        return None
    return size
