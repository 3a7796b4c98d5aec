"""One file -> `FileFacts`, in this process. Whatever may crash or hang belongs in `pool`, which calls this.

exiv2 reads first; what it refuses (a broken colour profile is enough) Pillow gets to try. No file is ever opened
for writing.
"""

from __future__ import annotations

import warnings
from pathlib import Path, PurePath
from typing import Any

import exiv2

from journal.errors import Problem
from journal.readers.content_key import FirstLook, UnreadableFileError, look_at
from journal.readers.exif_facts import Fields, exif_fields
from journal.readers.exif_source import Exiv2Source, PillowSource
from journal.readers.kinds import is_sidecar, kind_of
from journal.readers.maker_notes import maker_note_fields
from journal.readers.sidecars import sidecar_properties
from journal.readers.sizes import Size, jpeg_size, raw_size, usable
from journal.readers.xmp_facts import properties_of, xmp_fields
from journal.records.files import FileFacts

#: Largest file read into memory, for names that exiv2 cannot open by path.
MAX_IN_MEMORY_BYTES = 256 * 1024 * 1024
#: What Pillow raises on broken pictures, seen on fuzzed files.
PILLOW_ERRORS = (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, EOFError, ArithmeticError)
_NO_PICTURE = UnreadableFileError(
    "This is not a picture that the journal can read.",
    "Leave it out of the import, or export it as JPEG or TIFF first.",
)
_BROKEN = UnreadableFileError(
    "The picture is damaged: its metadata cannot be read.",
    "Copy it from the card again, or leave it out of the import.",
)

exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)
exiv2.XmpParser.initialize()  # before any thread can race it


def read_file(path: str | PurePath) -> FileFacts | Problem:
    """All facts of one picture or sidecar, or why there are none."""
    name = str(path)
    try:
        look = look_at(name)
        return _sidecar(look) if is_sidecar(name) and not _is_boxed(look) else _picture(look)
    except UnreadableFileError as error:
        return Problem(name, error.problem, error.next_step)
    except (MemoryError, RecursionError):
        return Problem(name, "The file asks for more memory than a picture needs.", "Leave it out of the import.")


def read_sidecar(path: str | PurePath) -> FileFacts | Problem:
    """The facts of an XMP sidecar, or why there are none."""
    name = str(path)
    try:
        return _sidecar(look_at(name))
    except UnreadableFileError as error:
        return Problem(name, error.problem, error.next_step)


def _is_boxed(look: FirstLook) -> bool:
    return kind_of(look.head, look.path) is not None


def _sidecar(look: FirstLook) -> FileFacts:
    return _facts(look, "sidecar", xmp_fields(sidecar_properties(look.path)))


def _facts(look: FirstLook, kind: str, fields: Fields) -> FileFacts:
    return FileFacts(
        path=look.path,
        file_name=PurePath(look.path).name,
        kind=kind,
        size_bytes=look.size_bytes,
        mtime_ns=look.mtime_ns,
        content_key=look.content_key,
        **fields,
    )


def _picture(look: FirstLook) -> FileFacts:
    kind = kind_of(look.head, look.path)
    if kind is None:
        raise _NO_PICTURE
    try:
        return _by_exiv2(look, kind)
    except exiv2.Exiv2Error:
        return _by_pillow(look, kind)


def open_with_exiv2(look: FirstLook) -> Any:
    """exiv2's image with its metadata read; an absolute path, because exiv2 gives meaning to `-` and `http:`."""
    try:
        look.path.encode()
        image = exiv2.ImageFactory.open(str(Path(look.path).absolute()))
    except UnicodeEncodeError:
        # A name that is not UTF-8 does not pass through the binding.
        if look.size_bytes > MAX_IN_MEMORY_BYTES:
            raise _BROKEN from None
        image = exiv2.ImageFactory.open(Path(look.path).read_bytes())
    image.readMetadata()
    return image


def _by_exiv2(look: FirstLook, kind: str) -> FileFacts:
    image = open_with_exiv2(look)
    source = Exiv2Source(image.exifData())
    fields = exif_fields(source)
    fields = fill(fields, maker_note_fields(source, fields))
    xmp = image.xmpData()
    if not xmp.empty():
        fields = fill(fields, xmp_fields(properties_of(xmp)))
    if kind in ("tiff", "raw") and source.datum("Image", "DNGVersion") is not None:
        kind = "dng"
    size = usable(_size(look, kind, source, (image.pixelWidth(), image.pixelHeight())))
    if size is None and kind != "raw":
        size = _pillow_size(look)
    fields["width_px"], fields["height_px"] = size or (None, None)
    return _facts(look, kind, fields)


def fill(fields: Fields, more: Fields) -> Fields:
    """`fields`, with what they lack taken from `more`; a quantity is taken whole, never half from each."""
    filled = dict(fields)
    taken = {name for name, value in fields.items() if value not in (None, ())}
    for name, value in more.items():
        if value in (None, ()):
            filled.setdefault(name, value)
            continue
        stem = name.removesuffix("_num").removesuffix("_den").removesuffix("_source").removesuffix("_s")
        if not any(known in (name, stem) or known.startswith(stem + "_") for known in taken):
            filled[name] = value
    return filled


def _size(look: FirstLook, kind: str, source: Exiv2Source, exiv2_size: Size) -> Size | None:
    if kind == "jpeg":
        return jpeg_size(look.head) or exiv2_size
    if kind in ("raw", "dng", "tiff"):
        return raw_size(source, look.head, exiv2_size)
    return exiv2_size


def _pillow_size(look: FirstLook) -> Size | None:
    try:
        with open_with_pillow(look.path) as image:
            return (image.width, image.height)
    except PILLOW_ERRORS:
        return None


def open_with_pillow(path: str) -> Any:
    """Pillow's lazy image, HEIF included; a picture that declares a gigantic size is refused by Pillow itself."""
    import pi_heif
    from PIL import Image

    pi_heif.register_heif_opener()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return Image.open(path)
        except Image.DecompressionBombError as error:
            raise OSError(str(error)) from error


def _by_pillow(look: FirstLook, kind: str) -> FileFacts:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with open_with_pillow(look.path) as image:
                fields = exif_fields(PillowSource(image.getexif()))
                size = usable((image.width, image.height))
                packet = image.info.get("xmp")
    except PILLOW_ERRORS as error:
        raise _BROKEN from error
    if isinstance(packet, bytes):
        fields = fill(fields, _packet_fields(packet))
    fields["width_px"], fields["height_px"] = size or (None, None)
    return _facts(look, kind, fields)


def _packet_fields(packet: bytes) -> Fields:
    from journal.readers.sidecars import packet_properties

    try:
        return xmp_fields(packet_properties(packet))
    except UnreadableFileError:
        return {}
