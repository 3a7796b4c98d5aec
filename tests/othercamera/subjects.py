"""Where the subject of a frame is, and what the light of the scene is like: fog, a dark hall, bright surroundings.

The subject is a patch of much detail near the middle whose outline follows the edges of the picture, so that a blur of
the subject alone has a believable border.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from othercamera.sources import F32, luminance

#: Subjects are found on a picture this much smaller.
SMALLER = 4
#: Difference of tones (1 is white) that makes an edge.
EDGE = 0.08
LOOKS = {"as it is": 0.68, "fog": 0.08, "low key": 0.09, "high key": 0.07, "night": 0.08}


@dataclass(frozen=True)
class Subject:
    """A subject: how much of each pixel it covers, its centre and its half axes in pixels."""

    cover: F32
    centre: tuple[int, int]
    axes: tuple[int, int]


def _softened(picture: F32, sigma: float) -> F32:
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), np.float32)


def _along_edges(mask: F32, guide: F32, radius: int, smoothness: float) -> F32:
    """A mask whose border follows the edges of the guide. Source: He, Sun & Tang 2013, IEEE TPAMI 35."""
    size = 2 * radius + 1, 2 * radius + 1
    mean_guide, mean_mask = cv2.blur(guide, size), cv2.blur(mask, size)
    variance = cv2.blur(guide * guide, size) - mean_guide**2
    slope = (cv2.blur(guide * mask, size) - mean_guide * mean_mask) / (variance + smoothness)
    offset = mean_mask - slope * mean_guide
    return np.asarray(cv2.blur(slope, size) * guide + cv2.blur(offset, size), np.float32)


def find_subject(light: F32, rng: np.random.Generator) -> Subject:
    """A subject at one of the places near the middle where most detail is."""
    rows, columns = light.shape[:2]
    small = cv2.resize(light, (columns // SMALLER, rows // SMALLER), interpolation=cv2.INTER_AREA)
    tone = np.log2(luminance(np.asarray(small, np.float32)) + 0.01).astype(np.float32)
    high, wide = tone.shape
    detail = _softened(np.abs(tone - _softened(tone, 1.5)), 0.05 * wide)
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    middle = np.exp(-0.5 * (((x / wide - 0.5) / 0.22) ** 2 + ((y / high - 0.5) / 0.22) ** 2))
    worth = detail * middle
    best = np.flatnonzero(worth >= np.quantile(worth, 0.96))
    row, column = divmod(int(rng.choice(best)), wide)
    half = rng.uniform(0.13, 0.28) * high
    axes = int(half * rng.uniform(0.7, 1.5)), int(half)
    ellipse = np.zeros((high, wide), np.float32)
    cv2.ellipse(ellipse, (column, row), axes, rng.uniform(-20, 20), 0, 360, 1.0, -1)
    followed = _along_edges(ellipse, tone / 4, max(2, int(0.03 * wide)), 0.002)
    cover = np.clip((followed - 0.35) / 0.3, 0, 1) * (_softened(ellipse, 0.02 * wide) > 0.02)
    full = cv2.resize(np.asarray(cover, np.float32), (columns, rows), interpolation=cv2.INTER_LINEAR)
    return Subject(
        np.asarray(full, np.float32), (column * SMALLER, row * SMALLER), (axes[0] * SMALLER, axes[1] * SMALLER)
    )


def edges_of(light: F32, cover: F32) -> tuple[float, float]:
    """How wide the steepest edges of the subject are (pixels, about 0.9 at best) and the share of it that has edges.

    The width is the range of tones nearby over the steepest slope there, which for a step blurred by a normal law is
    2.5 standard deviations; NaN where there are hardly any edges.
    """
    tone = np.clip(luminance(light), 0, 1) ** np.float32(1 / 2.2)
    nearby = np.ones((11, 11), np.uint8)
    tones = cv2.dilate(tone, nearby) - cv2.erode(tone, nearby)
    slope = np.array([[-0.5, 0, 0.5]], np.float32)
    steep = np.hypot(cv2.filter2D(tone, -1, slope), cv2.filter2D(tone, -1, slope.T))
    inside = cover > 0.5
    telling = inside & (tones > EDGE)
    share = float(telling.sum() / max(1, inside.sum()))
    if telling.sum() < 50:
        return float("nan"), share
    steepest = telling & (steep >= np.quantile(steep[telling], 0.9))
    return float(np.quantile(tones[steepest] / (2.5 * steep[steepest]), 0.3)), share


def lit(light: F32, subject: Subject, look: str, rng: np.random.Generator) -> F32:
    """The scene in another light. All of these are as a photographer may have wanted them: none is a fault."""
    rows, columns = light.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    reach = max(subject.axes) * rng.uniform(1.0, 1.8)
    far = 1 - np.exp(-0.5 * (((x - subject.centre[0]) / reach) ** 2 + ((y - subject.centre[1]) / reach) ** 2))
    far = np.asarray(far, np.float32)[:, :, None]
    if look == "fog":
        nearer = _softened(subject.cover, 0.02 * columns)
        distance = (0.35 + 0.65 * (1 - y / rows) * (1 - 0.3 * nearer))[:, :, None]
        through = np.exp(-rng.uniform(0.6, 1.8) * distance)
        changed = light * through + rng.uniform(0.45, 0.75) * (1 - through)
    elif look == "low key":
        changed = light * (1 - far * rng.uniform(0.8, 0.96))
    elif look == "high key":
        changed = light + (rng.uniform(0.9, 1.3) - np.minimum(light, 0.9)) * far * rng.uniform(0.6, 0.9)
    elif look == "night":
        bright = np.clip(luminance(light)[:, :, None] - 0.5, 0, None)
        changed = light * rng.uniform(0.25, 0.55) + light * bright * rng.uniform(0.5, 1.5)
    else:
        changed = light
    return np.asarray(changed, np.float32)
