"""Blur in linear light: hands, focus, moving subjects, following a subject."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from degraded.scenes import Light

Kernel = NDArray[np.float32]


def disc(diameter_px: float, blades: int = 0, turn: float = 0.0) -> Kernel:
    """Circle of confusion: an even disc, or a polygon with as many sides as the aperture has blades."""
    fine = 5
    side = int(np.ceil(diameter_px)) + 2
    side += 1 - side % 2
    y, x = (np.mgrid[0 : side * fine, 0 : side * fine] + 0.5) / fine - side / 2
    radius, angle = np.hypot(y, x), np.arctan2(y, x)
    edge = np.full_like(radius, diameter_px / 2)
    if blades >= 5:
        wedge = 2 * np.pi / blades
        edge = edge * np.cos(wedge / 2) / np.cos(np.mod(angle + turn, wedge) - wedge / 2)
    inside = (radius <= edge).astype(np.float32)
    return _normal(inside.reshape(side, fine, side, fine).mean(axis=(1, 3)))


def path_kernel(points: NDArray[np.float64]) -> Kernel:
    """Smear along a path of (x, y) offsets in px, each point the same time."""
    points = points - points.mean(axis=0)
    reach = int(np.ceil(np.abs(points).max())) + 2
    side = 2 * reach + 1
    kernel = np.zeros((side, side), np.float64)
    x, y = points[:, 0] + reach, points[:, 1] + reach
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    for dy in (0, 1):
        for dx in (0, 1):
            weight = np.abs(1 - dx - (x - left)) * np.abs(1 - dy - (y - top))
            np.add.at(kernel, (top + dy, left + dx), weight)
    return _normal(kernel)


def line(length_px: float, direction: float) -> Kernel:
    """Even motion of a length along a direction [radians]."""
    along = np.linspace(-length_px / 2, length_px / 2, 201)
    return path_kernel(np.stack([along * np.cos(direction), along * np.sin(direction)], axis=1))


def shaky_path(rng: np.random.Generator, extent_px: float) -> NDArray[np.float64]:
    """The way a picture takes over the sensor in unsteady hands: a drift with slow tremor, scaled to its greatest
    extent."""
    time = np.linspace(0, 1, 240)
    drift = rng.normal(size=2) * rng.uniform(0.6, 1.6)
    path = time[:, None] * drift[None, :]
    for cycles in (0.6, 1.1, 1.9, 3.1):
        sway = rng.normal(size=2) * rng.uniform(0.1, 0.5) / cycles
        path = path + np.sin(2 * np.pi * cycles * time + rng.uniform(0, 6.3))[:, None] * sway[None, :]
    some = path[::12]
    greatest = np.max(np.linalg.norm(some[:, None] - some[None, :], axis=2))
    return np.asarray(path * extent_px / max(greatest, 1e-9))


def _normal(kernel: NDArray[np.floating]) -> Kernel:
    return np.asarray(kernel / kernel.sum(), np.float32)


def spread(light: Light, kernel: Kernel) -> Light:
    """Every point of the scene becomes the kernel."""
    return np.asarray(cv2.filter2D(light, cv2.CV_32F, cv2.flip(kernel, -1), borderType=cv2.BORDER_REFLECT), np.float32)


def over(front: Light, back: Light, mask: Light) -> Light:
    """One layer over another where the mask says."""
    return np.asarray(front * mask[:, :, None] + back * (1 - mask[:, :, None]), np.float32)


def blurred_inside(light: Light, mask: Light, kernel: Kernel) -> Light:
    """Only the subject is blurred: its light and its outline spread together over a sharp background."""
    front = spread(light * mask[:, :, None], kernel)
    cover = np.clip(spread(mask, kernel), 0, 1)
    behind = light * (1 - mask[:, :, None]) + _softened(light) * mask[:, :, None]
    return np.asarray(front + behind * (1 - cover[:, :, None]), np.float32)


def _softened(light: Light) -> Light:
    """What may lie behind a subject: its surroundings without detail."""
    size = (light.shape[1], light.shape[0])
    small = cv2.resize(light, (size[0] // 8, size[1] // 8), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(cv2.GaussianBlur(small, (0, 0), 1.5), size), np.float32)


def blurred_outside(light: Light, mask: Light, kernel: Kernel) -> Light:
    """Only the background is blurred; the subject's outline stays sharp."""
    weight = 1 - 0.97 * mask
    behind = spread(light * weight[:, :, None], kernel) / spread(weight, kernel)[:, :, None]
    return over(light, behind, mask)
