"""One colour is clipped before the brightness is; what has no colours is not taken for washed out."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import exiv2
import numpy as np
import pytest
from degraded.scenes import rendered
from numpy.typing import NDArray
from PIL import Image

from analytics.pixels import decoding, measure
from analytics.pixels.colours import colours_of, without_colour
from analytics.pixels.decoding import read_picture
from analytics.pixels.thumbnails import without_bars

Codes = NDArray[np.uint8]


def codes(light: NDArray[np.float32]) -> Codes:
    return np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255 + 0.5, np.uint8)


@pytest.fixture(scope="module")
def hall() -> NDArray[np.float32]:
    """Linear light of a hall, 800 × 600."""
    return rendered(4, 600, 800).light


def test_a_red_coat_is_clipped_though_the_picture_is_not_bright() -> None:
    wall = np.full((120, 160, 3), 90, np.uint8)
    wall[30:90, 40:120] = (40, 60, 255)
    found = colours_of(wall)
    assert found.any_clipped == found.one_clipped == found.any_full == pytest.approx(0.25)
    assert found.all_nearly == 0
    assert found.colourful == pytest.approx(0.25 * (255 - 40) / 255)


def test_each_share_counts_its_end() -> None:
    stripes = np.zeros((100, 200, 3), np.uint8)
    stripes[:20] = 255
    stripes[20:40] = (240, 238, 236)
    stripes[40:] = 100
    found = colours_of(stripes)
    assert (found.any_full, found.any_clipped, found.any_nearly) == pytest.approx((0.2, 0.2, 0.4))
    assert (found.all_nearly, found.one_clipped) == pytest.approx((0.4, 0.0))


def test_more_light_never_clips_less(hall: NDArray[np.float32]) -> None:
    found = [colours_of(codes(hall * np.float32(2**stops))) for stops in (-2.0, -1.0, 0.0, 1.0, 2.0)]
    for name in ("any_nearly", "any_clipped", "any_full", "all_nearly"):
        shares = [getattr(each, name) for each in found]
        assert shares == sorted(shares)
        assert shares[-1] > shares[0]


def test_black_and_white_is_not_taken_for_lights_without_colour() -> None:
    grey = np.linspace(0, 255, 160 * 120).reshape(120, 160)
    found = colours_of(without_colour(grey.astype(np.float32)))
    assert math.isnan(found.colourful)
    assert all(math.isnan(each) for each in found.colourful_at)
    assert found.any_clipped == pytest.approx(6 / 256, abs=0.005)


def test_brightness_of_which_there_is_hardly_a_pixel_has_no_colourfulness() -> None:
    copy = np.full((50, 50, 3), (100, 120, 140), np.uint8)
    copy[0, :20] = (255, 250, 200)
    assert [math.isfinite(each) for each in colours_of(copy).colourful_at] == [False, True, False, False, False]


@pytest.mark.parametrize("shape", [(12, 12_500), (12_500, 12), (1, 3)])
def test_a_strip_of_any_shape_has_colours(shape: tuple[int, int]) -> None:
    assert colours_of(np.full((*shape, 3), (10, 255, 10), np.uint8)).one_clipped == 1


@pytest.mark.parametrize("kind", ["jpg", "png", "tif", "webp", "avif"])
def test_every_format_gives_nearly_the_same_colours(hall: NDArray[np.float32], kind: str, tmp_path: Path) -> None:
    path, bright = tmp_path / f"hall.{kind}", codes(hall * np.float32(1.5))
    if kind == "tif":
        cv2.imwrite(str(path), bright.astype(np.uint16) * 257)
    else:
        Image.fromarray(bright[:, :, ::-1].copy()).save(path, quality=95)
    read = read_picture(path).colours
    assert read is not None and read.shape == (75, 100, 3)
    reference, found = colours_of(bright).features(), colours_of(read).features()
    for name, value in reference.items():
        assert found[name] == pytest.approx(value, abs=0.12, nan_ok=True), name


def with_small_copy(path: Path, small: Codes | bytes) -> Path:
    """The same JPEG with a small copy inside, as cameras keep one."""
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    kept = exiv2.ExifData()
    inside = small if isinstance(small, bytes) else cv2.imencode(".jpg", small)[1].tobytes()
    exiv2.ExifThumb(kept).setJpegThumbnail(inside)
    image.setExifData(kept)
    image.writeMetadata()
    return path


@pytest.fixture
def large(hall: NDArray[np.float32], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A JPEG that is taken for a large one, 4:3, with a clipped band of red."""
    monkeypatch.setattr(decoding, "MOST_COLOURED", 400_000)
    picture = codes(hall)
    picture[:100] = (30, 40, 255)
    path = tmp_path / "hall.jpg"
    cv2.imwrite(str(path), picture)
    return path


def test_a_large_picture_has_the_colours_of_the_small_copy_inside(large: Path) -> None:
    assert read_picture(large).colours is None
    whole = cv2.imread(str(large))
    small = cv2.resize(whole, (160, 120), interpolation=cv2.INTER_AREA)
    read = read_picture(with_small_copy(large, np.asarray(small, np.uint8))).colours
    assert read is not None and read.shape == (120, 160, 3)
    assert colours_of(read).one_clipped == pytest.approx(colours_of(np.asarray(whole, np.uint8)).one_clipped, abs=0.02)


def test_bars_that_fill_a_small_copy_up_are_cut_away() -> None:
    small = np.zeros((120, 160, 3), np.uint8)
    small[7:114] = 200
    assert without_bars(small, 3648, 5472).shape == (105, 160, 3)
    assert without_bars(small, 3648, 5472).min() == 200
    assert without_bars(small, 4000, 3000).shape == (120, 88, 3)
    assert without_bars(small, 3000, 4000).shape == small.shape


@pytest.mark.parametrize(
    "small", [np.full((120, 160, 3), 250, np.uint8), np.full((30, 40, 3), 60, np.uint8), b"\xff\xd8 no picture"]
)
def test_a_small_copy_of_other_tones_too_small_or_broken_does_not_count(large: Path, small: Codes | bytes) -> None:
    assert read_picture(with_small_copy(large, small)).colours is None


def test_a_small_copy_that_says_it_is_huge_is_not_decoded(large: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    small = bytearray(cv2.imencode(".jpg", np.full((120, 160, 3), 60, np.uint8))[1].tobytes())
    size = small.index(b"\xff\xc0") + 5
    small[size : size + 4] = (60_000).to_bytes(2, "big") * 2
    asked: list[int] = []
    whole = cv2.imdecode

    def counted(data: Codes, how: int) -> Codes | None:
        asked.append(how)
        return whole(data, how)

    monkeypatch.setattr(cv2, "imdecode", counted)
    assert read_picture(with_small_copy(large, bytes(small))).colours is None
    assert asked == [decoding.AS_GREY]


def test_a_large_file_without_a_small_copy_is_measured_by_its_brightness(large: Path) -> None:
    found = measure(large, {})
    assert 0 <= found["exposure"] <= 1
    assert math.isnan(colours_of(without_colour(read_picture(large).grey.astype(np.float32))).colourful)


def test_the_evidence_names_a_colour_that_is_clipped_alone(tmp_path: Path) -> None:
    wall = np.full((600, 800, 3), 90, np.uint8)
    wall[150:450, 200:600] = (40, 60, 255)
    path = tmp_path / "coat.png"
    cv2.imwrite(str(path), wall)
    told = measure(path, {})["evidence_by_fault"]["exposure"]
    assert "in 25% of the picture one colour is clipped alone" in told
