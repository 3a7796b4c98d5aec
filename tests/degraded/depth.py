"""How defocus changes with depth: ground that runs away from the camera, things before and behind one another.

A flat wall has one circle of confusion all over; most scenes have not.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from degraded.scenes import Light, cloud_noise

#: Share of scenes that are as deep as their circle of confusion is the same all over.
FLAT_SHARE = 0.35
#: By how much, as a share of its diameter, a circle of confusion differs at most from the middle one: of all that is
#: seen, and of the subject alone.
SCENE_VARIES, SUBJECT_VARIES = (0.15, 0.6), (0.0, 0.2)
#: Circles of confusion between which a picture is blended.
N_SIZES = 3
#: Size of the map that depth is drawn in, rows and columns; depth has no fine detail.
SMALL = 48, 64


def depth_of(rng: np.random.Generator, rows: int, columns: int) -> Light:
    """Depth from -1 to 1: rising from the bottom to the top, or falling, with things here and there."""
    slope = rng.normal(0, 0.7)
    ramp = np.linspace(slope, -slope, SMALL[0], dtype=np.float32)[:, None]
    small = np.clip(ramp + 0.5 * cloud_noise(rng, *SMALL, 1.5), -1, 1).astype(np.float32)
    return np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_CUBIC), np.float32)


def by_depth(blurred: Callable[[float], Light], diameter_px: float, depth: Light, varies: float) -> Light:
    """A picture whose circle of confusion changes with depth: between pictures of one each.

    Args:
        blurred: the picture with the same circle of confusion all over, by its diameter [px].
        diameter_px: of the middle depth [px].
        depth: (rows, columns), -1 to 1.
        varies: share of the diameter that the nearest and the furthest have more, or less.
    """
    if varies <= 0:
        return blurred(diameter_px)
    offsets = np.linspace(-1, 1, N_SIZES)
    step = offsets[1] - offsets[0]
    total: Light = np.zeros((*depth.shape, 3), np.float32)
    for offset in offsets:
        share = np.clip(1 - np.abs(np.clip(depth, -1, 1) - np.float32(offset)) / np.float32(step), 0, 1)
        total += blurred(diameter_px * (1 + float(offset) * varies)) * share[:, :, None]
    return total


def variation(rng: np.random.Generator, between: tuple[float, float], diameter_px: float, least_px: float) -> float:
    """By how much circles of confusion differ in a scene, so that none gets smaller than the least [1]."""
    drawn = 0.0 if rng.uniform() < FLAT_SHARE else float(rng.uniform(*between))
    return float(np.clip(1 - least_px / diameter_px, 0, drawn))
