"""How much of a picture is smeared along one way: all of it by hands, not a still background behind a subject."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from degraded.blurs import blurred_inside, blurred_outside, disc, line, spread
from degraded.scenes import Light, Scene, rendered

from analytics.pixels.cells import tiles_of
from analytics.pixels.decoding import read_picture
from analytics.pixels.features import features_of, measures_of
from analytics.pixels.settings import settings_of


def smeared_alike(light: Light, folder: Path) -> float:
    file = folder / "scene.png"
    codes = np.clip(light[:, :, ::-1], 0, 1) ** (1 / 2.2) * 255
    cv2.imwrite(str(file), codes.astype(np.uint8))
    return features_of(measures_of(tiles_of(read_picture(file)), 1.0, None), settings_of({}))["smeared_alike"]


@pytest.fixture(scope="module", params=[10, 11, 21])
def scene(request: pytest.FixtureRequest) -> Scene:
    """Shapes and leaves, whose edges lie in all directions: level waves tell nothing of a level smear."""
    return rendered(request.param, 720, 960)


@pytest.mark.parametrize("direction", [0.0, 0.6, 2.0])
def test_a_smear_of_the_whole_picture_is_everywhere(scene: Scene, direction: float, tmp_path: Path) -> None:
    assert smeared_alike(spread(scene.light, line(12, direction)), tmp_path) > 0.8


def test_a_sharp_picture_and_one_out_of_focus_are_smeared_nowhere(scene: Scene, tmp_path: Path) -> None:
    assert smeared_alike(scene.light, tmp_path) < 0.1
    assert smeared_alike(spread(scene.light, disc(12)), tmp_path) < 0.2


def test_a_smear_of_a_part_counts_by_its_size(scene: Scene, tmp_path: Path) -> None:
    kernel = line(12, 0.6)
    inside, outside, all_over = (
        smeared_alike(light, tmp_path)
        for light in (
            blurred_inside(scene.light, scene.subject, kernel),
            blurred_outside(scene.light, scene.subject, kernel),
            spread(scene.light, kernel),
        )
    )
    assert inside < outside < all_over
