"""What rings of the cepstrum say: where a picture is out of focus, and by how much."""

from __future__ import annotations

import math
from functools import lru_cache

import cv2
import numpy as np
import pytest
from degraded.blurs import blurred_inside, disc, line, spread
from degraded.camera import plain_grey as codes
from degraded.scenes import rendered
from numpy.typing import NDArray

from analytics.pixels.cells import tiles_of
from analytics.pixels.decoding import SHORTEST_SIDE, Picture
from analytics.pixels.features import measures_of
from analytics.pixels.measuring import measured
from analytics.pixels.rings import SURE, SURE_ALL_OVER, Rings, rings_features

Codes = NDArray[np.uint8]
Light = NDArray[np.float32]


def rings(grey: Codes, scale: float = 1.0) -> Rings:
    found = measures_of(tiles_of(Picture(grey, 255.0)), scale, None).rings
    assert found is not None
    return found


@lru_cache(maxsize=2)
def scene(rows: int = 800, columns: int = 1200) -> Light:
    return rendered(0, rows, columns).light


def middle(radius: int = 200, rows: int = 800, columns: int = 1200) -> Light:
    y, x = np.mgrid[0:rows, 0:columns]
    return np.asarray(np.hypot(y - rows / 2, x - columns / 2) < radius, np.float32)


@pytest.mark.parametrize("blades", [0, 5, 6, 7, 9])
@pytest.mark.parametrize("diameter", [8, 12, 18])
def test_a_picture_out_of_focus_tells_the_diameter_of_its_discs(diameter: int, blades: int) -> None:
    found = rings(codes(spread(scene(), disc(diameter, blades))))
    assert found.sureness > SURE
    assert found.least > SURE_ALL_OVER
    # five corners reach further than the sides; a disc of as much area is smaller
    assert found.size == pytest.approx(diameter, rel=0.2)


def test_a_sharp_picture_has_none() -> None:
    found = rings(codes(scene()))
    assert found.sureness < SURE
    assert found.blurred.differs < SURE
    assert found.told is None


@pytest.mark.parametrize("sigma", [0.5, 0.8])
def test_what_a_lens_or_a_camera_softens_has_none(sigma: float) -> None:
    found = rings(codes(np.asarray(cv2.GaussianBlur(scene(), (0, 0), sigma), np.float32)))
    assert found.sureness < SURE
    assert found.told is None


@pytest.mark.parametrize("diameter", [8, 12, 16])
def test_a_blur_without_an_edge_has_a_weaker_one(diameter: int) -> None:
    edgeless = np.asarray(cv2.GaussianBlur(scene(), (0, 0), diameter / 4), np.float32)
    found, of_discs = (rings(codes(light)) for light in (edgeless, spread(scene(), disc(diameter))))
    assert SURE < found.sureness < 0.75 * of_discs.sureness
    assert found.size < of_discs.size


@pytest.mark.parametrize("way", [0.0, 0.5, 1.2])
def test_a_smear_has_none(way: float) -> None:
    smeared, out_of_focus = (rings(codes(spread(scene(), kernel))) for kernel in (line(12, way), disc(12)))
    assert smeared.sureness < 0.3 * out_of_focus.sureness


def test_a_subject_out_of_focus_is_told_from_a_sharp_background() -> None:
    found = rings(codes(blurred_inside(scene(), middle(), disc(12))))
    assert found.blurred.differs > SURE
    assert found.blurred.size == pytest.approx(12, abs=1.5)
    assert found.blurred.inside > 4 * max(found.blurred.outside, 0.5)
    assert found.subject > found.around
    assert found.told is not None
    assert found.told.is_place


def test_a_sharp_subject_is_told_from_a_background_out_of_focus() -> None:
    sharp = middle(radius=270)[:, :, None]  # a quarter of the picture: more than `LEAST_SHARE` of the places
    found = rings(codes(sharp * scene() + (1 - sharp) * spread(scene(), disc(12))))
    assert found.spared.outside > SURE
    assert found.spared.inside < 0.3 * found.spared.outside
    assert found.least < SURE_ALL_OVER


def test_turning_and_mirroring_keep_it() -> None:
    grey = codes(spread(scene(), disc(10)))
    plain = rings(grey)
    for turned in (np.rot90(grey), grey[:, ::-1]):
        found = rings(np.ascontiguousarray(turned))
        assert found.size == plain.size
        assert found.sureness == pytest.approx(plain.sureness, rel=0.1)


@pytest.mark.parametrize("times", [3.2, 5.0])
def test_a_large_picture_has_large_discs(times: float) -> None:
    small = spread(scene(), disc(10))
    large = cv2.resize(small, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)
    assert rings(codes(large)).size == pytest.approx(10 * times, rel=0.1)


def test_a_large_picture_may_have_small_discs() -> None:
    large = np.asarray(np.tile(scene(), (3, 3, 1)), np.float32)
    assert rings(codes(spread(large, disc(10)))).size == pytest.approx(10, abs=1)


def test_a_preview_tells_the_diameter_in_pixels_of_the_full_size_picture() -> None:
    grey = codes(spread(scene(), disc(10)))
    assert rings(grey, 2.0).size == 2 * rings(grey).size


@pytest.mark.parametrize("size", [(SHORTEST_SIDE, SHORTEST_SIDE), (320, 480), (800, 1200)])
def test_the_features_of_every_picture_are_numbers(size: tuple[int, int]) -> None:
    found = rings_features(rings(codes(scene()[: size[0], : size[1]])), 1.0)
    assert all(math.isfinite(each) for each in found.values())


def test_a_picture_without_anything_on_it_gives_numbers() -> None:
    found = rings(np.full((800, 1200), 128, np.uint8))
    assert math.isfinite(found.sureness)
    assert found.told is None


def test_the_evidence_and_the_extent_of_the_blur_are_those_of_the_discs() -> None:
    found = measured(Picture(codes(spread(scene(), disc(12))), 255.0), {})
    told = rings(codes(spread(scene(), disc(12)))).size
    assert told == pytest.approx(12, abs=1)
    assert (
        f"points spread into discs of about {told:.0f} px all over, as they do out of focus"
        in (found["evidence_by_fault"]["focus"])
    )
