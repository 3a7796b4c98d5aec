"""Pictures of all sizes, shapes and formats are measured alike."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from degraded.scenes import rendered
from numpy.typing import NDArray
from PIL import Image

from analytics.pixels import UnmeasurablePictureError, measure
from analytics.pixels.decoding import read_picture

SETTINGS = {"ExposureTime": 1 / 250, "FNumber": 5.6, "ISO": 200, "FocalLengthIn35mmFilm": 50}
#: What one worker may use.
MOST_MIB = 400


@pytest.fixture(scope="module")
def colour() -> NDArray[np.uint8]:
    """A hall, 800 × 600, blue first."""
    light = rendered(4, 600, 800).light
    return np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255 + 0.5, np.uint8)


def saved(colour: NDArray[np.uint8], kind: str, folder: Path) -> Path:
    """The picture as a file of a kind."""
    path = folder / f"dance.{kind}"
    if kind == "tif":
        cv2.imwrite(str(path), colour.astype(np.uint16) * 257)
    elif kind in {"heic", "avif", "webp"}:
        image = Image.fromarray(colour[:, :, ::-1].copy())
        image.save(path, quality=95, **({"speed": 10} if kind == "avif" else {}))
    else:
        cv2.imwrite(str(path), colour)
    return path


@pytest.mark.parametrize("kind", ["jpg", "tif", "webp", "avif"])
def test_every_format_gives_nearly_the_same_measures(colour: NDArray[np.uint8], kind: str, tmp_path: Path) -> None:
    if kind == "avif" and ".avif" not in Image.registered_extensions():
        pytest.skip("this Pillow writes no AVIF")
    reference = measure(str(saved(colour, "png", tmp_path)), SETTINGS)
    found = measure(str(saved(colour, kind, tmp_path)), SETTINGS)
    assert found["tones"]["mean_stops"] == pytest.approx(reference["tones"]["mean_stops"], abs=0.1)
    assert found["blur"]["spread_px"] == pytest.approx(reference["blur"]["spread_px"], abs=0.4)
    assert found["shake"] == pytest.approx(reference["shake"], abs=0.15)


def test_sixteen_bits_of_a_tiff_are_read_as_such(colour: NDArray[np.uint8], tmp_path: Path) -> None:
    picture = read_picture(saved(colour, "tif", tmp_path))
    assert picture.grey.dtype == np.uint16
    assert picture.white == 65535.0


def test_monochrome_is_measured_like_its_grey(colour: NDArray[np.uint8], tmp_path: Path) -> None:
    grey = cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY)
    cv2.imwrite(str(tmp_path / "grey.png"), grey)
    found = measure(str(tmp_path / "grey.png"), SETTINGS)
    reference = measure(str(saved(colour, "png", tmp_path)), SETTINGS)
    assert found["blur"]["spread_px"] == pytest.approx(reference["blur"]["spread_px"], abs=0.02)
    assert found["noise_sigma"] == pytest.approx(reference["noise_sigma"], abs=0.1)


def test_an_upright_picture_has_an_upright_map(colour: NDArray[np.uint8], tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "upright.png"), np.ascontiguousarray(np.rot90(colour)))
    found = measure(str(tmp_path / "upright.png"), SETTINGS)
    assert np.array(found["map"]["spread_px"], float).shape == (12, 8)


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    header = b"P5\n20000 20000\n255\n"
    (tmp_path / "wall.pgm").write_bytes(header + b"\0" * 1000)
    with pytest.raises(UnmeasurablePictureError) as refusal:
        measure(str(tmp_path / "wall.pgm"), {})
    assert str(refusal.value) == ("wall.pgm has more than 160 million pixels.\n  Next: Examine a smaller copy of it.")


@pytest.mark.parametrize(("megapixels", "size"), [(6, (3000, 2000)), (60, (9500, 6330))])
def test_small_and_large_pictures_are_measured_within_the_memory_of_a_worker(
    colour: NDArray[np.uint8], megapixels: int, size: tuple[int, int], tmp_path: Path
) -> None:
    large = cv2.resize(cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY), size, interpolation=cv2.INTER_LINEAR)
    path = tmp_path / f"{megapixels}.jpg"
    cv2.imwrite(str(path), large)
    del large
    line = (
        "import sys; sys.path[:] = sys.argv[2].split('|'); from analytics.pixels import measure;"
        "found = measure(sys.argv[1], {}); assert found['blur']['spread_px'] > 1.0;"
        "from degraded.memory import peak_mib; print(found['width_px'], round(peak_mib()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", line, str(path), "|".join(sys.path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=100,
    )
    width, peak = map(int, done.stdout.split())
    assert width == size[0]
    assert peak < MOST_MIB


def test_measuring_a_large_picture_costs_little_more_than_a_small_one(colour: NDArray[np.uint8]) -> None:
    from analytics.pixels.cells import tiles_of
    from analytics.pixels.decoding import Picture

    grey = cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY)
    areas = []
    for size in ((3000, 2000), (9000, 6000)):
        tiles = tiles_of(Picture(np.asarray(cv2.resize(grey, size), np.uint8), 255.0))
        areas.append(tiles.detailed.size + tiles.flat.size + tiles.quarter.size)
    assert areas[1] < 1.5 * areas[0]


def test_a_telephone_picture_is_measured(tmp_path: Path) -> None:
    folder = Path(__file__).resolve().parents[4] / "shared" / "frames"
    pictures = sorted(folder.glob("*.heic"))
    if not pictures:
        pytest.skip("there is no folder of real pictures beside the checkout")
    found = measure(str(pictures[0]), SETTINGS)
    assert (found["width_px"], found["height_px"]) == (4032, 3024)
    assert found["blur"]["n_crests"] > 1000
