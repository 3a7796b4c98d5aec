"""What the cepstrum says of a place that moved: which way, how far, and not so of a place out of focus."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from degraded.blurs import blurred_inside, disc, line, spread
from degraded.camera import plain_grey as codes
from degraded.scenes import Scene, rendered
from numpy.typing import NDArray

from analytics.pixels.cells import tiles_of
from analytics.pixels.decoding import SHORTEST_SIDE, Picture
from analytics.pixels.features import measures_of
from analytics.pixels.measuring import measured
from analytics.pixels.moved import moved_features
from analytics.pixels.travel import N_WAYS, Moved, dips_by_place, moved_place, travel_of

Codes = NDArray[np.uint8]
WAY = math.radians(30)


def moved(grey: Codes, point: tuple[float, float] | None = None) -> Moved:
    tiles = tiles_of(Picture(grey, 255.0))
    travel = travel_of(tiles.spectral, tiles.spectral_tile, tiles.shape)
    assert travel is not None
    return moved_place(travel, dips_by_place(travel), point)


@pytest.fixture(scope="module")
def scene() -> Scene:
    return rendered(0, 800, 1200)


@pytest.fixture(scope="module")
def subject() -> NDArray[np.float32]:
    y, x = np.mgrid[0:800, 0:1200]
    return np.asarray(np.hypot(y - 400, x - 600) < 200, np.float32)


@pytest.fixture(scope="module")
def passing(scene: Scene, subject: NDArray[np.float32]) -> Codes:
    """What moves by 11 px, 30° from the row's direction, before what stands still."""
    return codes(blurred_inside(scene.light, subject, line(11, WAY)))


def test_the_place_the_way_and_the_distance_of_what_moved_are_found(
    passing: Codes, subject: NDArray[np.float32]
) -> None:
    found = moved(passing)
    cells = cv2.resize(subject, found.inside.shape[::-1], interpolation=cv2.INTER_AREA)
    assert found.far == pytest.approx(11, abs=1)
    assert math.degrees(found.direction) == pytest.approx(30, abs=8)
    assert float(cells[found.inside].mean()) > 0.6


@pytest.mark.parametrize("number", [1, 2, 4, 5])
def test_in_a_small_picture_spectra_reach_over_its_cells_so_a_way_is_found_there_too(number: int) -> None:
    y, x = np.mgrid[0:400, 0:600]
    subject = np.asarray(np.hypot(y - 200, x - 300) < 110, np.float32)
    found = moved(codes(blurred_inside(rendered(number, 400, 600).light, subject, line(11, WAY))))
    cells = cv2.resize(subject, found.inside.shape[::-1], interpolation=cv2.INTER_AREA)
    assert found.far == pytest.approx(11, abs=1)
    assert math.degrees(found.direction) == pytest.approx(30, abs=8)
    assert float(cells[found.inside].mean()) > 0.5


@pytest.mark.parametrize(
    ("size", "tile"),
    [((400, 600), (128, 128)), ((100, 600), (100, 128)), ((145, 146), (128, 128)), ((800, 1200), None)],
)
def test_a_spectrum_is_that_of_128_px_around_the_middle_of_a_smaller_cell(
    size: tuple[int, int], tile: tuple[int, int] | None
) -> None:
    rng = np.random.default_rng(3)
    grey = np.asarray(rng.integers(0, 256, size), np.uint8)
    tiles = tiles_of(Picture(grey, 255.0))
    rows, columns = tiles.spectral_tile
    if tile is None:
        assert (rows, columns) == (128, 128) != tiles.detailed_tile
        return
    assert (rows, columns) == tile
    for at in ((0, 0), (tiles.shape[0] // 2, tiles.shape[1] - 1)):
        part = tiles.spectral[at[0] * rows :, at[1] * columns :][:rows, :columns]
        middle = [(each + 0.5) * side / n for each, side, n in zip(at, size, tiles.shape, strict=True)]
        top, left = (
            round(min(max(centre - length / 2, 0), side - length))
            for centre, length, side in zip(middle, (rows, columns), size, strict=True)
        )
        near = [
            np.abs(part - grey[y : y + rows, x : x + columns]).max()
            for y in range(max(top - 1, 0), min(top + 1, size[0] - rows) + 1)
            for x in range(max(left - 1, 0), min(left + 1, size[1] - columns) + 1)
        ]
        assert min(near) == 0


def test_what_moved_far_from_the_middle_counts_unless_the_camera_focused_elsewhere(scene: Scene) -> None:
    y, x = np.mgrid[0:800, 0:1200]
    aside = np.asarray(np.hypot(y - 240, x - 200) < 170, np.float32)
    light = blurred_inside(scene.light, aside, line(11, WAY))
    still, found, pointed = moved(codes(scene.light)), moved(codes(light)), moved(codes(light), (0.5, 0.5))
    assert found.sureness_wider > 1.5 * max(still.sureness_wider, found.sureness)
    assert pointed.sureness_wider == pointed.sureness == found.sureness


def test_what_is_out_of_focus_has_not_moved(scene: Scene, subject: NDArray[np.float32], passing: Codes) -> None:
    missed = codes(blurred_inside(scene.light, subject, disc(11)))
    assert moved(missed).sureness < 0.6 * moved(passing).sureness


def test_what_shakes_as_a_whole_has_not_moved_before_anything(scene: Scene, passing: Codes) -> None:
    shaken = moved(codes(spread(scene.light, line(11, WAY))))
    assert shaken.sureness < 0.6 * moved(passing).sureness


def test_turning_by_a_quarter_turns_the_way_and_keeps_the_rest(passing: Codes) -> None:
    upright, turned = moved(passing), moved(np.ascontiguousarray(np.rot90(passing)))
    assert turned.far == upright.far
    assert (turned.way - upright.way) % N_WAYS == N_WAYS // 2
    assert turned.sureness == pytest.approx(upright.sureness, rel=0.1)
    assert turned.depth == pytest.approx(upright.depth, rel=0.1)


def test_mirroring_mirrors_the_way_and_keeps_the_rest(passing: Codes) -> None:
    plain, mirrored = moved(passing), moved(np.ascontiguousarray(passing[:, ::-1]))
    assert mirrored.far == plain.far
    assert mirrored.way == (N_WAYS - plain.way) % N_WAYS
    assert mirrored.sureness == pytest.approx(plain.sureness, rel=0.1)


def test_a_picture_half_as_large_moved_by_half_as_many_pixels() -> None:
    large = rendered(0, 1600, 2400).light
    y, x = np.mgrid[0:1600, 0:2400]
    light = blurred_inside(large, np.asarray(np.hypot(y - 800, x - 1200) < 400, np.float32), line(18, WAY))
    half = cv2.resize(light, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    assert moved(codes(light)).far == pytest.approx(18, abs=1)
    assert moved(codes(half)).far == pytest.approx(9, abs=1)


def test_half_the_contrast_is_the_same_motion(passing: Codes) -> None:
    faint = np.asarray(64 + passing.astype(np.float32) / 2 + 0.5, np.uint8)
    plain, found = moved(passing), moved(faint)
    assert (found.way, found.far) == (plain.way, plain.far)
    assert found.sureness == pytest.approx(plain.sureness, rel=0.25)


def test_the_evidence_tells_the_way_and_the_distance(passing: Codes) -> None:
    found = measured(Picture(passing, 255.0), {"ExposureTime": 1 / 30})
    way, far = math.degrees(moved(passing).direction), moved(passing).far
    assert found["evidence_by_fault"]["subject_motion"][0] == (
        f"a place seems to have moved by about {far:.0f} px along {way:.0f}°"
    )


def test_a_preview_tells_the_distance_in_pixels_of_the_full_size_picture(passing: Codes) -> None:
    tiles = tiles_of(Picture(passing, 255.0))
    plain, scaled = (measures_of(tiles, scale, None).moved for scale in (1.0, 2.0))
    assert scaled.moved.far == 2 * plain.moved.far
    assert scaled.middle[0].along == pytest.approx(2 * plain.middle[0].along)


@pytest.mark.parametrize("size", [(SHORTEST_SIDE, SHORTEST_SIDE), (320, 480)])
def test_a_very_small_picture_has_a_likeliest_place_too(scene: Scene, size: tuple[int, int]) -> None:
    measures = measures_of(tiles_of(Picture(codes(scene.light[: size[0], : size[1]]), 255.0)), 1.0, None)
    assert math.isfinite(moved_features(measures.moved, 1.0)["moved_sureness"])


def test_a_picture_without_anything_on_it_gives_numbers() -> None:
    found = moved(np.full((800, 1200), 128, np.uint8))
    assert math.isfinite(found.sureness)
    assert found.depth == pytest.approx(0, abs=0.01)
