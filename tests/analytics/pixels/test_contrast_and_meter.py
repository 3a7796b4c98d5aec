"""Contrast by tone, and what meter and tones say together."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from degraded.scenes import rendered

from analytics.pixels.contrast import NAMES, contrast_features, contrasts_of
from analytics.pixels.metered import UNMETERED, USUAL_TONE, metered_features

BLACK, DEEP, DARK, MIDDLE, LIGHT, BRIGHT, WHITE = range(7)


def codes(light: np.ndarray) -> np.ndarray:
    """Grey of linear light as a picture shows it, small."""
    value = np.clip(light.mean(axis=2), 0, 1) ** (1 / 2.2) * 255
    return cv2.resize(value.astype(np.float32), (256, 192), interpolation=cv2.INTER_AREA)


def ramp(stops_per_px: float, from_stops: float) -> np.ndarray:
    """A picture whose tones rise evenly from left to right, 200 px wide."""
    light = 0.18 * 2 ** (from_stops + stops_per_px * np.arange(200))
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.tile((np.clip(value, 0, 1) * 255).astype(np.float32), (150, 1))


def test_an_even_ramp_has_its_slope_in_every_tone_it_passes_through() -> None:
    found = contrasts_of(ramp(0.03, -3.8))
    assert found[DEEP:BRIGHT] == pytest.approx(0.03, rel=0.02)
    assert math.isnan(found[BLACK])


def test_a_clipped_sky_is_flat_and_what_is_not_there_is_not_known() -> None:
    sky = np.full((150, 200), 255, np.float32)
    found = contrasts_of(sky)
    assert found[WHITE] == 0
    assert np.isnan(found[:WHITE]).all()
    features = contrast_features(found)
    assert list(features) == [f"contrast_{name}" for name in NAMES]
    assert features["contrast_white"] == pytest.approx(math.log2(0.005))


@pytest.mark.parametrize("scene", [3, 4, 5])
def test_a_scene_two_stops_too_bright_has_less_contrast_in_white_than_one_that_is_one_stop_too_bright(
    scene: int,
) -> None:
    light = rendered(scene, 600, 800).light
    one, two = (contrasts_of(codes(light * np.float32(2**stops))) for stops in (1, 2))
    assert two[WHITE] < 0.6 * one[WHITE]
    assert two[LIGHT] > 0.8 * one[LIGHT]


@pytest.mark.parametrize("turned", [lambda image: np.rot90(image), lambda image: image[:, ::-1]])
def test_turning_a_picture_keeps_its_contrasts(turned) -> None:
    image = codes(rendered(3, 600, 800).light)
    assert contrasts_of(np.ascontiguousarray(turned(image))) == pytest.approx(
        contrasts_of(image), rel=0.03, nan_ok=True
    )


def told(metered_error: float, tone: float) -> dict[str, float]:
    """What is told of a picture with these tones."""
    return metered_features({"metered_error": metered_error, **dict.fromkeys(UNMETERED, tone)})


def test_meter_and_tones_both_count_and_the_lesser_is_what_both_say() -> None:
    both, one = told(2.0, 1.5 + USUAL_TONE), told(2.0, -0.5 + USUAL_TONE)
    assert (both["metered_and_mean"], both["metered_or_mean"]) == (1.5, 2.0)
    assert (one["metered_and_middle"], one["metered_or_middle"]) == (-0.5, 2.0)
    assert one["metered_apart"] == pytest.approx(2.5 - USUAL_TONE)
    assert all(math.isnan(one[f"unmetered_{name}"]) for name in UNMETERED)


def test_without_a_word_of_the_meter_tones_stand_alone() -> None:
    alone = told(math.nan, 0.7)
    assert {alone[f"unmetered_{name}"] for name in UNMETERED} == {0.7}
    assert all(math.isnan(value) for name, value in alone.items() if name.startswith("metered"))
