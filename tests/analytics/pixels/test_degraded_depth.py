"""Defocus of generated frames changes with depth, within what was drawn."""

from __future__ import annotations

import numpy as np
import pytest
from degraded.blurs import disc, spread
from degraded.depth import SCENE_VARIES, by_depth, depth_of, variation
from degraded.scenes import Light


def points(rows: int = 240, columns: int = 320) -> Light:
    """Points of light 40 px apart."""
    light: Light = np.full((rows, columns, 3), 0.01, np.float32)
    light[20::40, 20::40] = 5.0
    return light


def width_of(light: Light, row: int, column: int) -> float:
    """Diameter of the disc that a point became, by its second moment [px]."""
    part = light[row - 19 : row + 20, column - 19 : column + 20, 0] - 0.01
    y, x = np.mgrid[-19:20, -19:20]
    return 4 * float(np.sqrt((part * (x**2 + y**2)).sum() / part.sum() / 2))


def test_near_and_far_have_other_discs_than_the_middle() -> None:
    depth: Light = np.repeat(np.linspace(1, -1, 240, dtype=np.float32)[:, None], 320, axis=1)
    found = by_depth(lambda px: spread(points(), disc(px)), 12.0, depth, 0.5)
    assert width_of(found, 20, 180) == pytest.approx(12 * 1.4, rel=0.1)
    assert width_of(found, 100, 180) == pytest.approx(12 * 1.1, rel=0.1)
    assert width_of(found, 220, 180) == pytest.approx(12 * 0.6, rel=0.1)


def test_a_flat_scene_has_one_disc() -> None:
    depth = depth_of(np.random.default_rng(1), 240, 320)
    one = spread(points(), disc(9.0))
    assert np.array_equal(by_depth(lambda px: spread(points(), disc(px)), 9.0, depth, 0.0), one)


def test_no_light_is_lost() -> None:
    depth = depth_of(np.random.default_rng(2), 240, 320)
    assert depth.min() < -0.3
    assert depth.max() > 0.3
    found = by_depth(lambda px: spread(points(), disc(px)), 9.0, depth, 0.4)
    assert float(found.mean()) == pytest.approx(float(points().mean()), rel=0.02)


def test_what_is_to_be_out_of_focus_all_over_is_nowhere_less_so_than_a_fault() -> None:
    rng = np.random.default_rng(3)
    drawn = [variation(rng, SCENE_VARIES, diameter, 3.5) for diameter in (3.5, 4.0, 6.0, 12.0) for _ in range(200)]
    least = [diameter * (1 - each) for diameter, each in zip(np.repeat([3.5, 4.0, 6.0, 12.0], 200), drawn, strict=True)]
    assert min(least) >= 3.5 - 1e-9
    assert max(drawn) > 0.5
    assert 0.2 < float(np.mean(np.array(drawn[600:]) == 0)) < 0.5
