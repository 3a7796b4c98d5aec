"""Pictures made on the spot: a few hundred pixels with exactly the tags that a test names."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import exiv2
import pytest
from PIL import Image

#: exiv2 reads no text with the largest unsigned number.
LARGEST = "4294967295"
MakePicture = Callable[..., Path]


@pytest.fixture
def make_picture(tmp_path: Path) -> MakePicture:
    """`make_picture("a.jpg", {"Exif.Photo.FNumber": "56/10"})`; keys are exiv2's, Exif or Xmp."""

    def make(name: str, tags: dict[str, str] | None = None, size: tuple[int, int] = (400, 200)) -> Path:
        path = tmp_path / name
        Image.new("RGB", size, (200, 60, 20)).save(path)
        write_tags(path, tags or {})
        return path

    return make


def write_tags(path: Path, tags: dict[str, str]) -> None:
    """Write tags with exiv2, each in the type that Exif gives it."""
    if not tags:
        return
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    exif, xmp = image.exifData(), image.xmpData()
    for key, text in tags.items():
        if key.startswith("Xmp."):
            xmp_key = exiv2.XmpKey(key)
            value = exiv2.Value.create(exiv2.XmpProperties.propertyType(xmp_key))
            for item in text.split("|"):
                value.read(item)
            xmp.add(xmp_key, value)
        else:
            exif_key = exiv2.ExifKey(key)
            value = exiv2.Value.create(exif_key.defaultTypeId())
            if text.startswith(LARGEST):
                value = exiv2.URationalValue([(4294967295, 1)])
            else:
                value.read(text)
            exif.add(exif_key, value)
    image.writeMetadata()


@pytest.fixture
def frames_folder() -> Iterator[Path]:
    """A folder with real pictures and their facts.json, where the machine has one."""
    named = os.environ.get("THIRDSTOP_FRAMES")
    folder = Path(named) if named else Path(__file__).parents[4] / "shared" / "frames"
    if not (folder / "facts.json").is_file():
        pytest.skip("no folder of real pictures: set THIRDSTOP_FRAMES")
    yield folder
