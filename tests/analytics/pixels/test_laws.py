"""Laws that measures of pictures obey, whatever the picture shows."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from degraded.blurs import line, spread
from degraded.scenes import rendered
from numpy.typing import NDArray

from analytics.pixels.cells import code_shares, tiles_of
from analytics.pixels.decoding import Picture
from analytics.pixels.exposure import linear_light
from analytics.pixels.features import Measures, measures_of
from analytics.pixels.measuring import measured
from analytics.pixels.noise import block_deviations, noise_of
from analytics.pixels.spread import Blur, spread_along

Codes = NDArray[np.uint8]


def codes(light: NDArray[np.float32]) -> Codes:
    """Light as a plain camera would encode it, in grey."""
    grey = np.clip(light @ np.float32([0.299, 0.587, 0.114]), 0, 1)
    return np.asarray(grey ** (1 / 2.2) * 255 + 0.5, np.uint8)


def measures(grey: NDArray[np.uint8] | NDArray[np.uint16], white: float = 255.0) -> Measures:
    return measures_of(tiles_of(Picture(grey, white)), 1.0, None)


def stops_of(code: float) -> float:
    """Stops from mid-grey of one code."""
    return math.log2(float(linear_light(np.float32([code]))[0]) / 0.18)


@pytest.fixture(scope="module")
def street() -> NDArray[np.float32]:
    return rendered(2, 720, 960).light


@pytest.fixture(scope="module")
def shaken() -> Codes:
    """Shapes with edges of all directions, smeared by 12 px, 20° from the row's direction."""
    return codes(spread(rendered(0, 720, 960).light, line(12, math.radians(20))))


def test_the_direction_of_a_smear_is_found_and_its_spread_across_stays_small(shaken: Codes) -> None:
    blur = measures(shaken).soft_half
    assert math.degrees(blur.direction) == pytest.approx(20, abs=8)
    assert blur.along > 2.0
    assert blur.across < 1.0


def test_turning_a_picture_by_a_quarter_keeps_its_blur_and_turns_the_direction(shaken: Codes) -> None:
    upright, turned = measures(shaken), measures(np.ascontiguousarray(np.rot90(shaken)))
    assert turned.blur.spread == pytest.approx(upright.blur.spread, abs=0.1)
    assert turned.soft_half.along == pytest.approx(upright.soft_half.along, rel=0.06)
    # a quarter to the left takes the row's direction to the column's, which is counted backwards
    assert math.degrees(turned.soft_half.direction) == pytest.approx(110, abs=8)
    assert turned.map.spread.shape == upright.map.spread.shape[::-1]
    assert turned.noise.sigma == pytest.approx(upright.noise.sigma, rel=0.15, abs=0.05)
    assert turned.tones.mean == pytest.approx(upright.tones.mean, abs=0.02)


def test_mirroring_keeps_the_blur_and_mirrors_the_direction(shaken: Codes) -> None:
    plain, mirrored = measures(shaken), measures(np.ascontiguousarray(shaken[:, ::-1]))
    assert mirrored.blur.spread == pytest.approx(plain.blur.spread, abs=0.1)
    assert mirrored.soft_half.along == pytest.approx(plain.soft_half.along, rel=0.06)
    assert math.degrees(mirrored.soft_half.direction) == pytest.approx(160, abs=8)


def test_a_picture_twice_as_large_has_blur_of_twice_as_many_pixels(street: NDArray[np.float32]) -> None:
    soft = cv2.GaussianBlur(street, (0, 0), 1.2)
    small = codes(soft)
    large = codes(cv2.resize(soft, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC))
    ratio = measures(large).blur.spread / measures(small).blur.spread
    assert ratio == pytest.approx(2, rel=0.2)


@pytest.mark.parametrize("sigma", [0.9, 1.5, 2.5])
def test_the_spread_of_a_lone_edge_is_what_blurred_it(sigma: float) -> None:
    y, x = np.mgrid[0:480, 0:640]
    slanted = np.where(x + 0.3 * y > 400, 200.0, 40.0).astype(np.float32)
    blurred = cv2.GaussianBlur(slanted, (0, 0), sigma)
    found = measures(np.asarray(blurred + 0.5, np.uint8)).blur
    assert found.spread == pytest.approx(sigma, rel=0.15, abs=0.1)


def test_blurring_never_makes_a_picture_sharper(street: NDArray[np.float32]) -> None:
    found = [measures(codes(cv2.GaussianBlur(street, (0, 0), sigma))) for sigma in (0.3, 0.8, 1.6, 3.0, 5.0)]
    spreads = [each.soft_half.spread for each in found]
    details = [float(each.detail.whole.mean()) for each in found]
    assert spreads == sorted(spreads)
    assert details == sorted(details, reverse=True)


@pytest.mark.parametrize("seed", [0, 1, 3, 4])
def test_adding_noise_never_lowers_the_measured_noise(seed: int) -> None:
    grey = codes(rendered(seed, 480, 640).light).astype(np.float32)
    field = np.random.default_rng(seed).normal(size=grey.shape).astype(np.float32)
    noisy = [np.asarray(np.clip(grey + sigma * field + 0.5, 0, 255), np.uint8) for sigma in (0, 2, 4, 8, 16)]
    shown = [measures(each).noise.shown for each in noisy]
    assert shown == sorted(shown)


def test_the_noise_of_a_plain_wall_is_the_noise_that_was_added() -> None:
    field = np.random.default_rng(1).normal(0, 6, (480, 640)).astype(np.float32)
    assert noise_of(120 + field).sigma == pytest.approx(6, rel=0.1)
    deviations, means = block_deviations(120 + field)
    assert float(np.sqrt(np.mean(deviations**2))) == pytest.approx(6, rel=0.03)
    assert float(means.mean()) == pytest.approx(120, abs=0.1)


def test_a_slope_of_brightness_is_not_noise() -> None:
    slope = np.tile(np.linspace(20, 230, 640, dtype=np.float32), (480, 1))
    assert noise_of(slope).sigma == pytest.approx(0, abs=0.01)


def test_the_spread_of_a_blur_lies_between_along_and_across() -> None:
    blur = Blur(2.0, 3.0, 1.0, math.radians(30), 100.0)
    assert spread_along(blur, math.radians(30)) == pytest.approx(3.0)
    assert spread_along(blur, math.radians(120)) == pytest.approx(1.0)
    assert spread_along(blur, math.radians(75)) == pytest.approx(math.sqrt(5.0))


def test_sixteen_bits_are_measured_like_eight(street: NDArray[np.float32]) -> None:
    eight = codes(street)
    sixteen = np.asarray(eight, np.uint16) * np.uint16(257)
    found, deep = measures(eight), measures(sixteen, 65535.0)
    assert deep.blur.spread == pytest.approx(found.blur.spread, abs=0.02)
    assert deep.noise.sigma == pytest.approx(found.noise.sigma, abs=0.02)


def test_a_glint_counts_at_full_size_though_a_small_copy_has_lost_it(street: NDArray[np.float32]) -> None:
    dull = np.minimum(codes(street * np.float32(0.25)), 140).astype(np.uint8)
    glinting = dull.copy()
    glinting[100:700:8, 100:900:8] = 255
    plain, shown = measures(dull).tones, measures(glinting).tones
    assert (plain.ends.levels[2], plain.ends.whitest_share) == (pytest.approx(stops_of(140), abs=0.05), 0)
    assert shown.ends.levels[2] == pytest.approx(stops_of(255))
    assert shown.ends.whitest_share == pytest.approx(75 * 100 / dull.size, rel=1e-6)
    assert shown.white_share == 0


@pytest.mark.parametrize("side", [900, 2100])
def test_codes_are_counted_alike_in_small_and_large_pictures_of_8_and_16_bits(side: int) -> None:
    eight = np.random.default_rng(3).integers(0, 200, (side, side)).astype(np.uint8)
    shares = code_shares(Picture(eight, 255.0))
    deep = code_shares(Picture(eight.astype(np.uint16) * np.uint16(257), 65535.0))
    assert shares.sum() == pytest.approx(1)
    assert shares[:200] == pytest.approx(1 / 200, rel=0.15)
    assert not shares[200:].any()
    assert (deep == shares).all()


def test_a_brighter_picture_is_never_measured_as_darker(street: NDArray[np.float32]) -> None:
    errors, means = [], []
    for stops in (-2.5, -1.2, 0.0, 1.2, 2.5):
        found = measured(Picture(codes(street * np.float32(2**stops)), 255.0), {})
        errors.append(found["ev"])
        means.append(found["tones"]["mean_stops"])
    assert means == sorted(means)
    assert errors[0] < errors[2] < errors[4]


def test_a_small_preview_is_told_in_pixels_of_the_full_size_picture(shaken: Codes) -> None:
    preview = cv2.resize(shaken, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    full = measured(Picture(shaken, 255.0), {})
    small = measured(Picture(np.asarray(preview, np.uint8), 255.0, scale=2.0, is_preview=True), {})
    assert (small["width_px"], small["height_px"]) == (full["width_px"], full["height_px"])
    assert small["is_preview"] and not full["is_preview"]
    assert small["blur"]["along_px"] == pytest.approx(full["blur"]["along_px"], rel=0.4)
