"""Which kind of file it is: by content. The name decides only where the content cannot (TIFF-shaped raw files)."""

from __future__ import annotations

from pathlib import PurePath

#: Suffixes of camera raw files.
RAW_SUFFIXES = frozenset(
    [
        ".3fr",
        ".arw",
        ".cr2",
        ".cr3",
        ".crw",
        ".dcr",
        ".erf",
        ".fff",
        ".iiq",
        ".kdc",
        ".mef",
        ".mos",
        ".mrw",
        ".nef",
        ".nrw",
        ".orf",
        ".pef",
        ".raf",
        ".raw",
        ".rw2",
        ".rwl",
        ".sr2",
        ".srf",
        ".srw",
        ".x3f",
    ]
)
#: Suffixes under which a folder is searched for pictures.
PICTURE_SUFFIXES = RAW_SUFFIXES | frozenset(
    (".jpg", ".jpeg", ".jpe", ".heic", ".heif", ".hif", ".avif", ".tif", ".tiff", ".dng")
)
#: Suffixes of pictures that screens and programs write and no camera does.
FOREIGN_SUFFIXES = frozenset((".png", ".webp", ".jxl", ".jp2", ".bmp", ".gif"))
SIDECAR_SUFFIX = ".xmp"

#: First bytes of raw files that are not plain TIFF.
RAW_MAGIC = (
    b"IIRO",
    b"IIRS",
    b"MMOR",
    b"IIU\0",
    b"FUJIFILMCCD-RAW",
    b"\0MRM",
    b"FOVb",
)
TIFF_MAGIC = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
AVIF_BRANDS = frozenset({b"avif", b"avis"})
HEIF_BRANDS = frozenset(
    {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"mif2", b"msf1"}
)


def is_picture(path: str | PurePath) -> bool:
    """Does the name promise a picture that this journal can read?"""
    name = PurePath(path)
    # Some systems leave "._name.jpg" beside each file of a card: notes of the system, not pictures.
    return name.suffix.lower() in PICTURE_SUFFIXES and not name.name.startswith("._")


def is_foreign_picture(path: str | PurePath) -> bool:
    """Does the name promise a picture of a kind that this journal does not read?"""
    return PurePath(path).suffix.lower() in FOREIGN_SUFFIXES


def is_sidecar(path: str | PurePath) -> bool:
    """Does the name promise an XMP sidecar?"""
    name = PurePath(path)
    return name.suffix.lower() == SIDECAR_SUFFIX and not name.name.startswith("._")


def kind_of(head: bytes, path: str) -> str | None:
    """`jpeg`, `heif`, `avif`, `tiff`, `raw` or None; a TIFF that turns out to be DNG is renamed later."""
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head[4:8] == b"ftyp":
        return _kind_of_boxes(head)
    if head.startswith(RAW_MAGIC) or head[6:14] == b"HEAPCCDR":
        return "raw"
    if head.startswith(TIFF_MAGIC):
        is_raw = head[8:10] == b"CR" or PurePath(path).suffix.lower() in RAW_SUFFIXES
        return "raw" if is_raw else "tiff"
    return None


def _kind_of_boxes(head: bytes) -> str | None:
    """Kind of an ISO base media file from the brands in its first box."""
    length = min(int.from_bytes(head[:4], "big"), 512)
    major = head[8:12]
    brands = [major] + [head[i : i + 4] for i in range(16, length - 3, 4)]
    if major == b"crx ":
        return "raw"
    if major in AVIF_BRANDS:
        return "avif"
    if AVIF_BRANDS.intersection(brands):
        return "avif"
    if HEIF_BRANDS.intersection(brands):
        return "heif"
    return None
