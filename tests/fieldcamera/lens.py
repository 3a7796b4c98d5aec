"""Blur as a lens, a hand and a moving thing make it: kernels, blur discs, vignetting. Lengths on the sensor in mm, on
frames in px.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

FULL_FRAME_WIDTH_MM = 36.0


def blur_disc_mm(focal_length_mm: float, f_number: float, focused_per_m: float, at_per_m: float) -> float:
    """Diameter of the blur disc of a thin lens: c = f² / (N (1 - f d)) |d - d'|, d = 1 / distance.

    Args:
        focal_length_mm: Focal length [mm].
        f_number: f-number [1].
        focused_per_m: Reciprocal of the distance in focus [1/m].
        at_per_m: Reciprocal of the distance of the object [1/m].

    Returns:
        Diameter on the sensor [mm].

    Source: thin lens formula; Ray, Applied Photographic Optics, 3rd ed. 2002, chapter on depth of field.

    Example:
        50 mm, f/2, focused at 2 m, object at infinity: 2500 / (2 * 0.975) * 0.0005 = 0.64 mm.
    """
    focal_m = focal_length_mm / 1000
    return 1000 * focal_m**2 / (f_number * (1 - focal_m * focused_per_m)) * abs(at_per_m - focused_per_m)


def disc_kernel(diameter_px: float) -> Floats:
    """A uniform disc with an antialiased edge, sum 1."""
    radius = diameter_px / 2
    reach = max(1, math.ceil(radius + 0.5))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0).astype(np.float32)
    return disc / disc.sum()


def path_kernel(points: NDArray[np.float64], weights: NDArray[np.float64]) -> Floats:
    """A path drawn between pixels by bilinear shares, sum 1; its middle is the middle of the kernel.

    Args:
        points: Places [px], shape (n, 2).
        weights: Time spent at each [any unit], shape (n,).
    """
    centred = points - (points.min(axis=0) + points.max(axis=0)) / 2
    reach = math.ceil(float(np.abs(centred).max())) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1))
    whole = np.floor(centred).astype(int)
    part = centred - whole
    for dx in (0, 1):
        for dy in (0, 1):
            share = weights * np.abs(1 - dx - part[:, 0]) * np.abs(1 - dy - part[:, 1])
            np.add.at(kernel, (whole[:, 1] + dy + reach, whole[:, 0] + dx + reach), share)
    return (kernel / kernel.sum()).astype(np.float32)


def extent(points: NDArray[np.float64]) -> float:
    """Greatest distance between two places of a path [px]."""
    return float(np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)).max())


def hand_path(extent_px: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Path of the picture while a hand shakes: a drift with two slow waves on it, scaled to an extent.

    During one exposure a hand mostly drifts; tremor of 8 to 12 Hz bends the path when the time is long enough. The
    share of the waves is drawn, so some paths are straight, some are hooks.

    Args:
        extent_px: Greatest distance on the path [px].
        rng: Draws direction and bends.

    Returns:
        Places [px], shape (96, 2), equal times apart.
    """
    t = np.linspace(0.0, 1.0, 96)
    angle = rng.uniform(0.0, math.pi)
    path = np.outer(t, [math.cos(angle), math.sin(angle)])
    bend = rng.choice([0.05, 0.2, 0.5], p=[0.35, 0.4, 0.25])
    for cycles in (rng.uniform(0.4, 0.9), rng.uniform(0.9, 1.8)):
        wave = np.sin(2 * math.pi * (cycles * t + rng.random()))
        path += np.outer(wave, rng.normal(0.0, bend / 2, 2)) / cycles
    return path * (extent_px / extent(path))


def motion_path(
    extent_px: float, angle: float, rng: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Path of a thing that crosses the frame: nearly straight, its pace not quite even.

    Args:
        extent_px: Length [px].
        angle: Direction [rad].
        rng: Draws the bend and the change of pace (up to about 40 % over the exposure).

    Returns:
        Places [px], shape (96, 2), and the time spent at each.
    """
    t = np.linspace(-0.5, 0.5, 96)
    bend = rng.normal(0.0, 0.08)
    path = np.stack([t, bend * (4 * t**2 - 0.5)], axis=1)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    path = path @ turn
    weights = 1.0 + rng.uniform(-0.4, 0.4) * 2 * t
    return path * (extent_px / extent(path)), weights


def convolve(picture: Floats, kernel: Floats) -> Floats:
    """Picture blurred by a kernel; edges are mirrored."""
    return cv2.filter2D(picture, -1, kernel, borderType=cv2.BORDER_REFLECT)


def vignetting(height: int, width: int, corner_stops: float) -> Floats:
    """Fall of light towards the corners as cos⁴ of the field angle, the angle chosen for the stops lost in the corner.

    Source: natural vignetting (cos⁴ law); Ray, Applied Photographic Optics, 3rd ed. 2002.
    """
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    radius_square = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / ((width / 2) ** 2 + (height / 2) ** 2)
    tangent_square = 2 ** (corner_stops / 2) - 1  # cos⁴ = (1 + tan²)^-2
    return (1.0 / (1.0 + tangent_square * radius_square) ** 2).astype(np.float32)
