"""How fast metadata is read, as ratios measured in one run: `python tests/benchmarks/metadata_speed.py [FOLDER] [N]`.

Three passes over the same N files: the floor (open, read 64 KiB), exiv2 alone by key, and the reader. Times are CPU
seconds of this process; the last line is wall-clock time through two worker processes. Without a folder, small JPEGs
with Exif are made for the purpose; with one, its pictures are linked often enough to give N.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import exiv2
from PIL import Image

from journal.readers import is_picture, read_file, read_many
from journal.records.files import FileFacts

#: What "by key" asks exiv2 for: the standard tags that the reader stores.
KEYS = [
    exiv2.ExifKey(key)
    for key in (
        "Exif.Image.Make",
        "Exif.Image.Model",
        "Exif.Image.Orientation",
        "Exif.Photo.DateTimeOriginal",
        "Exif.Photo.SubSecTimeOriginal",
        "Exif.Photo.OffsetTimeOriginal",
        "Exif.Photo.ExposureTime",
        "Exif.Photo.FNumber",
        "Exif.Photo.ISOSpeedRatings",
        "Exif.Photo.ExposureBiasValue",
        "Exif.Photo.ExposureProgram",
        "Exif.Photo.ExposureMode",
        "Exif.Photo.MeteringMode",
        "Exif.Photo.Flash",
        "Exif.Photo.WhiteBalance",
        "Exif.Photo.FocalLength",
        "Exif.Photo.FocalLengthIn35mmFilm",
        "Exif.Photo.SubjectDistance",
        "Exif.Photo.BodySerialNumber",
        "Exif.Photo.LensModel",
        "Exif.Photo.ImageUniqueID",
        "Exif.GPSInfo.GPSLatitude",
        "Exif.GPSInfo.GPSLongitude",
    )
]


def floor(path: str) -> None:
    """Open a file and read its first 64 KiB."""
    with Path(path).open("rb", buffering=0) as file:
        file.read(64 * 1024)


def exiv2_by_key(path: str) -> None:
    """What exiv2 needs for the standard tags and the size, without a thought about them."""
    image = exiv2.ImageFactory.open(path)
    image.readMetadata()
    data = image.exifData()
    end = data.end()
    for key in KEYS:
        found = data.findKey(key)
        if found != end:
            found.toString()
    image.pixelWidth(), image.pixelHeight()


def per_cpu_second(read: Callable[[str], object], paths: Sequence[str]) -> float:
    """Files per CPU second, the better of two passes."""
    best = float("inf")
    for _ in range(2):
        started = time.process_time()
        for path in paths:
            read(path)
        best = min(best, time.process_time() - started)
    return len(paths) / best


def linked(sources: Sequence[Path], folder: Path, count: int) -> list[str]:
    """`count` links to the sources, so that every path is a different one."""
    paths = []
    for number in range(count):
        source = sources[number % len(sources)]
        path = folder / f"{number}{source.suffix}"
        path.symlink_to(source.absolute())
        paths.append(str(path))
    return paths


def made(folder: Path, count: int = 20) -> list[Path]:
    """Small JPEGs with the usual tags."""
    paths = []
    for number in range(count):
        exif = Image.Exif()
        exif[0x010F], exif[0x0110], exif[0x0112] = "Tidewater", "TW 1", 1
        exif.get_ifd(0x8769).update(
            {0x829A: 1 / (number + 1), 0x829D: 5.6, 0x8827: 400, 0x9003: "2024:05:06 07:08:09", 0x920A: 85.0}
        )
        path = folder / f"made-{number}.jpg"
        Image.effect_noise((1200, 800), 40).save(path, exif=exif)
        paths.append(path)
    return paths


def main(folder: str | None = None, count: str = "3000") -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as scratch:
        sources = sorted(filter(is_picture, Path(folder).iterdir())) if folder else made(Path(scratch))
        links = Path(scratch) / "links"
        links.mkdir()
        paths = linked(sources, links, int(count))
        at_floor = per_cpu_second(floor, paths)
        by_key = per_cpu_second(exiv2_by_key, paths)
        reader = per_cpu_second(read_file, paths)
        started = time.perf_counter()
        n_read = sum(isinstance(facts, FileFacts) for facts in read_many(paths, workers=2))
        through_workers = len(paths) / (time.perf_counter() - started)
    print(f"{len(paths)} files, {len(sources)} different, {n_read} read")
    print(f"floor, open and read 64 KiB  {at_floor:9.0f} files/CPU-s")
    print(f"exiv2 alone, by key          {by_key:9.0f} files/CPU-s  {by_key / at_floor:6.1%} of the floor")
    print(f"the reader                   {reader:9.0f} files/CPU-s  {reader / at_floor:6.1%} of the floor")
    print(f"the reader / exiv2 alone     {reader / by_key:9.1%}")
    print(f"two worker processes         {through_workers:9.0f} files/s of wall-clock time")


if __name__ == "__main__":
    main(*sys.argv[1:3])
