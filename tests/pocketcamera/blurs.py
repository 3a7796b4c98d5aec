"""Blur as an aperture, a hand and a moving thing make it: kernels with a sum of 1, sizes in px of the frame.

A low floor: knows light as arrays, nothing of frames.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from pocketcamera.tones import Floats

Path2D = NDArray[np.float64]

#: Discs smaller than this leave a picture as it is [px]. Source: own choice.
LEAST_DISC_PX = 0.3
#: How far the straight sides of an aperture with blades go towards a polygon [1]. Source: own choice.
POLYGON_SHARE = 0.55
#: Share of hands that are pushed down by the button, and spread of that direction [rad]. Source: own choice.
PUSHED_SHARE, PUSHED_SPREAD = 0.35, 0.35
#: A path whose principal deviation is less than this share of its extent lingers in one place and would not show.
#: Source: own choice; an even line has 0.29.
LEAST_DEVIATION = 0.21


def convolved(light: Floats, kernel: Floats) -> Floats:
    """Light spread by a kernel; the picture is mirrored at its edges."""
    return np.asarray(cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REFLECT_101), np.float32)


def disc(diameter_px: float, n_blades: int = 0, turn: float = 0.0, rim: float = 0.0) -> Floats:
    """Image of an aperture.

    Args:
        diameter_px: Its diameter [px].
        n_blades: Blades that it is made of; 0 is round.
        turn: Direction of a corner [rad].
        rim: How much brighter than the middle its edge is [1], from spherical aberration.
    """
    if diameter_px < LEAST_DISC_PX:
        return np.ones((1, 1), np.float32)
    finer = 8 if diameter_px < 8 else 4
    size = math.ceil(diameter_px / 2 + 1.5) * 2 + 1
    middle = size * finer / 2 - 0.5
    y, x = np.mgrid[: size * finer, : size * finer].astype(np.float32) - np.float32(middle)
    distance, radius = np.hypot(x, y), diameter_px / 2 * finer
    limit: float | NDArray[np.floating] = radius
    if n_blades:
        angle, sector = np.arctan2(y, x) + turn, 2 * math.pi / n_blades
        side = math.cos(sector / 2) / np.cos((angle % sector) - sector / 2)
        limit = radius * (POLYGON_SHARE * side + (1 - POLYGON_SHARE)) * 1.02
    fine = ((distance < limit) * (1 + rim * (distance / radius) ** 2)).astype(np.float32)
    kernel = np.asarray(cv2.resize(fine, (size, size), interpolation=cv2.INTER_AREA), np.float32)
    return np.asarray(kernel / kernel.sum(), np.float32)


def path_kernel(path: Path2D) -> Floats:
    """A path of places equal times apart [px], shape (n, 2), drawn around its middle."""
    path = path - (path.max(0) + path.min(0)) / 2
    reach = math.ceil(np.abs(path).max() + 2)
    kernel = np.zeros((reach * 2 + 1, reach * 2 + 1), np.float64)
    x, y = path[:, 0] + reach, path[:, 1] + reach
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    right_share, lower_share = x - left, y - top
    np.add.at(kernel, (top, left), (1 - right_share) * (1 - lower_share))
    np.add.at(kernel, (top, left + 1), right_share * (1 - lower_share))
    np.add.at(kernel, (top + 1, left), (1 - right_share) * lower_share)
    np.add.at(kernel, (top + 1, left + 1), right_share * lower_share)
    return np.asarray(kernel / kernel.sum(), np.float32)


def extent(path: Path2D) -> float:
    """How far a path goes in the direction in which it goes furthest [px]."""
    angles = np.linspace(0, math.pi, 24, endpoint=False)
    along = path @ np.array([np.cos(angles), np.sin(angles)])
    return float((along.max(0) - along.min(0)).max())


def hand_path(extent_px: float, exposure_time_s: float, rng: np.random.Generator) -> Path2D:
    """Path of the picture in an unsteady hand: a drift with tremor; short times see nearly a line, long ones a curl."""
    n_places = 400
    time = np.linspace(0, 1, n_places)
    while True:
        direction = rng.uniform(0, math.pi)
        if rng.random() < PUSHED_SHARE:
            direction = math.pi / 2 + rng.normal(0, PUSHED_SPREAD)
        stops_longer = math.log2(max(exposure_time_s, 1 / 250) * 250)
        curl = np.clip(0.12 + 0.25 * stops_longer / 6, 0.1, 0.6) * rng.uniform(0.4, 1.5)
        path = np.stack([time * math.cos(direction), time * math.sin(direction)], 1)
        for harmonic in range(1, 6):
            size = curl / harmonic**1.5 * rng.normal(0, 0.55, 2)
            path += size * np.sin(2 * math.pi * (harmonic * 0.6 * time + rng.random()))[:, None]
        deviation = math.sqrt(np.linalg.eigvalsh(np.cov((path - path.mean(0)).T))[-1])
        if deviation >= LEAST_DEVIATION * extent(path):
            return np.asarray(path * (extent_px / extent(path)), np.float64)


def moving_path(extent_px: float, direction: float, rng: np.random.Generator) -> Path2D:
    """Path of a thing that crosses the frame: nearly straight, its pace not quite even; direction in rad."""
    along = np.linspace(-0.5, 0.5, 300)
    along = along + rng.normal(0, 0.12) * (along * along - 0.25)
    beside = rng.normal(0, 0.12) * (along * along) * 2
    cosine, sine = math.cos(direction), math.sin(direction)
    path = np.stack([along * cosine - beside * sine, along * sine + beside * cosine], 1)
    return np.asarray(path * (extent_px / extent(path)), np.float64)
