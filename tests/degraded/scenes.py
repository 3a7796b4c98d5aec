"""Rendered scenes in linear light: shapes that hide one another, textures, sky, windows, leaves, lamps."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Light = NDArray[np.float32]


@dataclass(frozen=True)
class Scene:
    """Linear light of a scene, 0.18 is mid-grey; values above 1 are brighter than white paper.

    Attributes:
        light: (rows, columns, 3), red, green, blue.
        subject: (rows, columns), 1 inside the subject, soft edge.
        name: what it was made from; frames of one name belong together.
    """

    light: Light
    subject: Light
    name: str


def rendered(seed: int, rows: int = 1200, columns: int = 1600) -> Scene:
    """A scene of one of five kinds, the same for the same seed."""
    rng = np.random.default_rng([4711, seed])
    kind = ("shapes", "leaves", "street", "shore", "hall")[seed % 5]
    light = {"shapes": _shapes, "leaves": _leaves, "street": _street, "shore": _shore, "hall": _hall}[kind](
        rng, rows, columns
    )
    light = np.clip(light, 0.002, 12).astype(np.float32)
    light *= np.float32(0.18 / np.exp(np.mean(np.log(np.clip(light, 0.01, 2)))) * 2 ** rng.normal(-0.1, 0.35))
    return Scene(light, subject_mask(rng, light), f"rendered-{kind}-{seed}")


def subject_mask(rng: np.random.Generator, light: Light) -> Light:
    """A lump somewhere near the middle, a quarter to a half of the frame high, with an edge of a few pixels.

    Of three, the one with most detail inside is taken: a subject is seldom the empty sky.
    """
    small = cv2.resize(light, (light.shape[1] // 8, light.shape[0] // 8), interpolation=cv2.INTER_AREA).mean(axis=2)
    detail = np.abs(cv2.Laplacian(np.log(small + 0.01).astype(np.float32), cv2.CV_32F))
    lumps = [_lump(rng, *small.shape) for _ in range(3)]
    best = max(lumps, key=lambda each: float(detail[each].mean()))
    mask = cv2.resize(best.astype(np.float32), (light.shape[1], light.shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(cv2.GaussianBlur((mask > 0.5).astype(np.float32), (0, 0), 1.5))


def _lump(rng: np.random.Generator, rows: int, columns: int) -> NDArray[np.bool_]:
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    middle_y, middle_x = rows * rng.uniform(0.38, 0.65), columns * rng.uniform(0.3, 0.7)
    high, wide = rows * rng.uniform(0.14, 0.38), rows * rng.uniform(0.12, 0.38)
    angle = np.arctan2(y - middle_y, x - middle_x)
    radius = np.hypot((y - middle_y) / high, (x - middle_x) / wide)
    outline = sum(rng.normal(0, 0.14 / k) * np.cos(k * angle + rng.uniform(0, 6.3)) for k in range(2, 7)) + 1
    return np.asarray(radius < outline)


def cloud_noise(rng: np.random.Generator, rows: int, columns: int, slope: float) -> Light:
    """Noise whose amplitude falls as frequency to the power of -slope, mean 0, standard deviation 1."""
    frequency = np.hypot(np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(columns)[None, :])
    frequency[0, 0] = 1
    spectrum = np.fft.rfft2(rng.normal(size=(rows, columns))) / frequency**slope
    spectrum[0, 0] = 0
    field = np.fft.irfft2(spectrum, s=(rows, columns))
    return np.asarray(field / field.std(), np.float32)


def _colour(rng: np.random.Generator) -> NDArray[np.float64]:
    return np.exp(rng.normal(np.log(0.18), 0.8)) * np.exp(rng.normal(0, 0.25, 3))


def _shapes(rng: np.random.Generator, rows: int, columns: int) -> Light:
    """Discs and polygons of all sizes that hide one another (sizes by an inverse cube law, as in nature)."""
    light = np.ones((rows, columns, 3), np.float32) * _colour(rng).astype(np.float32)
    for _ in range(1500):
        size = min(6 * rng.uniform() ** -0.55, rows / 3)
        centre = rng.uniform(0, columns), rng.uniform(0, rows)
        corners = int(rng.integers(3, 7))
        turn = np.sort(rng.uniform(0, 2 * np.pi, corners))
        points = np.stack([centre[0] + size * np.cos(turn), centre[1] + size * np.sin(turn)], axis=1)
        colour = [float(c) for c in _colour(rng)]
        if rng.uniform() < 0.5:
            cv2.circle(light, (int(centre[0]), int(centre[1])), int(size), colour, -1, cv2.LINE_8)
        else:
            cv2.fillPoly(light, [points.astype(np.int32)], colour, cv2.LINE_8)
    return _textured(rng, light, 0.25)


def _textured(rng: np.random.Generator, light: Light, strength: float) -> Light:
    texture = cloud_noise(rng, light.shape[0], light.shape[1], rng.uniform(0.6, 1.1))
    where = np.clip(cloud_noise(rng, light.shape[0], light.shape[1], 1.6) + 0.3, 0, 1.5)
    return np.asarray(light * np.exp(strength * texture * where)[:, :, None], np.float32)


def _leaves(rng: np.random.Generator, rows: int, columns: int) -> Light:
    light = np.ones((rows, columns, 3), np.float32) * np.float32([0.02, 0.03, 0.02])
    for layer in range(4):
        brightness = 0.04 * 2.2**layer
        for _ in range(700):
            long = rng.uniform(8, 60)
            centre = int(rng.uniform(0, columns)), int(rng.uniform(0, rows))
            shade = brightness * np.exp(rng.normal(0, 0.5))
            colour = (float(shade * rng.uniform(0.5, 1)), float(shade), float(shade * rng.uniform(0.2, 0.6)))
            axes = (int(long), max(2, int(long * rng.uniform(0.15, 0.4))))
            cv2.ellipse(light, centre, axes, float(rng.uniform(0, 180)), 0, 360, colour, -1)
    return _textured(rng, light, 0.15)


def _street(rng: np.random.Generator, rows: int, columns: int) -> Light:
    """Walls with windows, and lettering, under a plain sky."""
    light = np.ones((rows, columns, 3), np.float32) * np.float32([0.45, 0.6, 0.9])
    x = 0
    while x < columns:
        wide, top = int(rng.uniform(120, 360)), int(rng.uniform(0.05, 0.5) * rows)
        wall = _colour(rng)
        light[top:, x : x + wide] = wall
        step_x, step_y = int(rng.uniform(24, 60)), int(rng.uniform(30, 80))
        for y in range(top + 12, rows - step_y, step_y):
            for left in range(x + 8, min(x + wide, columns) - step_x, step_x):
                light[y : y + step_y // 2, left : left + step_x // 2] = _colour(rng) * rng.choice([0.3, 1.0])
        x += wide
    for _ in range(6):
        words = "".join(rng.choice(list("AEHKMNORSTX"), 8))
        place = int(rng.uniform(0, columns * 0.7)), int(rng.uniform(0.5, 0.95) * rows)
        letters = np.zeros((rows, columns), np.uint8)
        cv2.putText(letters, words, place, cv2.FONT_HERSHEY_SIMPLEX, float(rng.uniform(0.6, 2)), 255, 2)
        light[letters > 127] = (0.8, 0.8, 0.75)
    return _textured(rng, light, 0.12)


def _shore(rng: np.random.Generator, rows: int, columns: int) -> Light:
    """Sky, water with waves, posts, wading birds as small dark shapes."""
    horizon = int(rows * rng.uniform(0.3, 0.6))
    light = np.empty((rows, columns, 3), np.float32)
    fade = np.linspace(1.0, 0.55, horizon, dtype=np.float32)[:, None, None]
    light[:horizon] = (
        fade * np.float32([0.55, 0.65, 0.8]) * np.exp(0.15 * cloud_noise(rng, horizon, columns, 1.5))[:, :, None]
    )
    deep = rows - horizon
    waves = cv2.resize(cloud_noise(rng, deep, columns // 4, 0.8), (columns, deep), interpolation=cv2.INTER_CUBIC)
    light[horizon:] = np.float32([0.12, 0.17, 0.2]) * np.exp(0.4 * waves)[:, :, None]
    for _ in range(40):
        x, foot = int(rng.uniform(0, columns)), int(rng.uniform(horizon, rows))
        tall = int(rng.uniform(20, 260))
        cv2.line(
            light, (x, foot), (x + int(rng.normal(0, 6)), foot - tall), (0.04, 0.035, 0.03), int(rng.integers(2, 9))
        )
        body = int(rng.uniform(4, 26))
        cv2.ellipse(
            light,
            (x, max(0, foot - tall)),
            (body, body // 2 + 1),
            float(rng.uniform(-40, 40)),
            0,
            360,
            (0.5, 0.5, 0.48),
            -1,
        )
    return _textured(rng, light, 0.1)


def _hall(rng: np.random.Generator, rows: int, columns: int) -> Light:
    """A dim room: people-like shapes with stripes, lamps far brighter than white, deep shadow."""
    light = np.ones((rows, columns, 3), np.float32) * np.float32([0.05, 0.035, 0.025])
    light *= np.exp(0.6 * cloud_noise(rng, rows, columns, 1.8))[:, :, None]
    for _ in range(60):
        x, y, tall = int(rng.uniform(0, columns)), int(rng.uniform(0.3, 1.0) * rows), int(rng.uniform(60, 300))
        colour = [float(c) for c in _colour(rng)]
        cv2.ellipse(light, (x, y), (tall // 4, tall // 2), float(rng.normal(0, 12)), 0, 360, colour, -1)
        for stripe in range(-3, 4):
            cv2.line(
                light,
                (x - tall // 5, y + stripe * tall // 10),
                (x + tall // 5, y + stripe * tall // 10),
                [c * 0.4 for c in colour],
                2,
            )
        cv2.circle(light, (x, y - int(tall * 0.6)), max(3, tall // 9), (0.32, 0.22, 0.16), -1)
    for _ in range(14):
        cv2.circle(
            light,
            (int(rng.uniform(0, columns)), int(rng.uniform(0, 0.4) * rows)),
            int(rng.uniform(2, 9)),
            (9.0, 7.0, 4.5),
            -1,
        )
    return _textured(rng, light, 0.2)
