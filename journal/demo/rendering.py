"""Small pictures by a little optical model, with the faults really in the pixels.

Linear light first: a textured scene, blurred by defocus, by the camera's turn or by the subject's path, then exposed,
then counted in electrons with shot and read noise, then through a tone curve into JPEG with true Exif and XMP.
The scale is that of a small export: blur is a few pixels of this picture, not of a full-size one.
"""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from journal.demo.career import DemoFrame

WIDTH, HEIGHT = 360, 240
#: Electrons at white at ISO 100 for a pixel of this size; only ratios matter here.
FULL_WELL = 40_000.0
READ_NOISE = 4.0


def draw_scene(rng: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A scene in linear light (shape HEIGHT x WIDTH, mean about 0.18) and the mask of its subject."""
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
    coarse = rng.normal(size=(12, 18)).repeat(20, 0).repeat(20, 1)
    scene = np.exp(0.25 * coarse + 0.12 * rng.normal(size=(HEIGHT, WIDTH)))
    scene *= 1.4 - 0.8 * rows / HEIGHT
    for _ in range(25):
        x, y = rng.uniform(0, WIDTH), rng.uniform(0, HEIGHT)
        scene[(abs(columns - x) < 2 + rng.uniform(0, 8)) & (abs(rows - y) < rng.uniform(5, 50))] *= rng.uniform(0.3, 2)
    mask = ((columns - WIDTH / 2) / 50) ** 2 + ((rows - HEIGHT / 2) / 70) ** 2 < 1
    stripes = 1 + 0.7 * np.sign(np.sin(columns / 3.0 + rng.uniform(0, 6)) * np.sin(rows / 4.0))
    scene = np.where(mask, 0.9 * stripes, scene)
    return 0.18 * scene / scene.mean(), mask.astype(np.float64)


def render(
    scene: tuple[NDArray[np.float64], NDArray[np.float64]], frame: DemoFrame, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """The picture of a frame, grey, shape HEIGHT x WIDTH, 8 bit."""
    light, mask = scene
    angle = float(rng.uniform(0, math.pi))
    if "missed focus" in frame.faults:
        light = mask * _blurred(light, _disc(4.0)) + (1 - mask) * light
    if "subject motion" in frame.faults:
        streak = _streak(9.0, angle)
        soft = _blurred(mask, streak)
        light = soft * _blurred(light, streak) + (1 - soft) * light
    if "camera shake" in frame.faults:
        light = _blurred(light, _streak(7.0, angle))
    exposure = {"overexposed": 1.8, "underexposed": -1.8}
    stops = sum(exposure.get(fault, 0.0) for fault in frame.faults) or frame.exposure_error_ev * 0.3
    well = FULL_WELL * 100 / frame.iso / (3.0 if "noise" in frame.faults else 1.0)
    electrons = np.clip(light * 2.0**stops, 0, None) * well
    counted = rng.normal(electrons, np.sqrt(electrons + READ_NOISE**2))
    linear = np.clip(counted / well, 0, 1)
    toned = np.where(linear < 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(255 * toned, dtype=np.uint8)


def as_jpeg(pixels: NDArray[np.uint8], exif: Image.Exif, xmp: bytes) -> bytes:
    """The picture as JPEG bytes with this Exif and XMP."""
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=88, exif=exif, xmp=xmp)
    return buffer.getvalue()


def _blurred(picture: NDArray[np.float64], kernel: NDArray[np.float64]) -> NDArray[np.float64]:
    """Circular convolution; the frame's edge wraps, which a small simulated picture can bear."""
    padded = np.zeros_like(picture)
    side = kernel.shape[0]
    padded[:side, :side] = kernel
    padded = np.roll(padded, (-(side // 2), -(side // 2)), (0, 1))
    return np.fft.irfft2(np.fft.rfft2(picture) * np.fft.rfft2(padded), picture.shape)


def _disc(radius: float) -> NDArray[np.float64]:
    reach = math.ceil(radius)
    rows, columns = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = (rows**2 + columns**2 <= radius**2).astype(np.float64)
    return np.asarray(disc / disc.sum(), dtype=np.float64)


def _streak(length: float, angle: float) -> NDArray[np.float64]:
    reach = math.ceil(length / 2)
    streak = np.zeros((2 * reach + 1, 2 * reach + 1))
    for step in np.linspace(-length / 2, length / 2, 8 * reach):
        streak[round(reach + step * math.sin(angle)), round(reach + step * math.cos(angle))] += 1
    return np.asarray(streak / streak.sum(), dtype=np.float64)
