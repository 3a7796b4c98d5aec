"""The picture that falls on the sensor: subject and background at their own depths, moving or not, by a hand or from
a tripod.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fieldcamera.lens import Floats, convolve, disc_kernel, hand_path, motion_path, path_kernel, vignetting

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)  # Rec. ITU-R BT.709


@dataclass(frozen=True)
class Subject:
    """What the photographer meant: its soft outline in [0, 1] and its box (left, top, width, height) in px."""

    matte: Floats
    box: tuple[int, int, int, int]


@dataclass(frozen=True)
class Blurs:
    """Sizes of all blurs in px of the frame; discs are diameters and signed (positive: nearer than the focus)."""

    lens_sigma_px: float
    disc_subject_px: float
    disc_far_px: float
    disc_near_px: float
    shake_px: float
    motion_px: float
    panning_px: float
    corner_stops: float


def find_subject(scene: Floats, size_share: float, rng: np.random.Generator) -> Subject:
    """A likely subject: a place with much detail not far from the middle, its outline drawn along the edges of the
    picture.

    The outline is an ellipse passed through a guided filter, so it follows edges that are near it.

    Args:
        scene: Linear scene values.
        size_share: Share of the frame's area that the box takes [1].
        rng: Draws one of the best places and the shape.

    Source: guided filter; He, Sun & Tang, Guided Image Filtering, IEEE TPAMI 35 (2013).
    """
    height, width = scene.shape[:2]
    scale = 320 / max(height, width)
    small = cv2.resize(
        np.clip(cv2.transform(scene, LUMINANCE[None]), 0, 1) ** 0.45,
        None,
        fx=scale,
        fy=scale,
        interpolation=cv2.INTER_AREA,
    )
    rows, columns = small.shape
    detail = cv2.GaussianBlur(np.abs(cv2.Laplacian(small, cv2.CV_32F)), (0, 0), 14)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    centring = np.exp(-(((x / columns - 0.5) / 0.22) ** 2 + ((y / rows - 0.55) / 0.2) ** 2) / 2)
    chance = (detail + 0.15 * detail.mean()) * centring
    chances = ((chance / chance.max()) ** 3).ravel().astype(np.float64)
    place = int(rng.choice(chances.size, p=chances / chances.sum()))
    middle_y, middle_x = divmod(place, columns)
    aspect = float(np.exp(rng.normal(0.0, 0.35)))
    half_y = math.sqrt(size_share * rows * columns / aspect) / 2
    half_x = half_y * aspect
    ellipse = np.clip(1.5 - np.hypot((x - middle_x) / half_x, (y - middle_y) / half_y) ** 2 * 1.0, 0.0, 1.0).astype(
        np.float32
    )
    ellipse = np.clip((ellipse - 0.25) * 2, 0.0, 1.0)
    matte = np.clip((guided_filter(small, ellipse, 9, 1e-3) - 0.15) / 0.7, 0.0, 1.0)
    full = cv2.resize(matte, (width, height), interpolation=cv2.INTER_CUBIC)
    left, top = max(0.0, middle_x - half_x) / scale, max(0.0, middle_y - half_y) / scale
    right, bottom = min(columns, middle_x + half_x) / scale, min(rows, middle_y + half_y) / scale
    return Subject(np.clip(full, 0.0, 1.0), (int(left), int(top), int(right - left), int(bottom - top)))


def guided_filter(guide: Floats, mask: Floats, radius: int, softness: float) -> Floats:
    """A mask smoothed along the edges of a guide. Source: He, Sun & Tang, IEEE TPAMI 35 (2013), equations 5 to 8."""

    def mean(values: Floats) -> Floats:
        return cv2.blur(values, (2 * radius + 1, 2 * radius + 1))

    mean_guide, mean_mask = mean(guide), mean(mask)
    slope = (mean(guide * mask) - mean_guide * mean_mask) / (mean(guide * guide) - mean_guide**2 + softness)
    return mean(slope) * guide + mean(mean_mask - slope * mean_guide)


def fill_behind(scene: Floats, matte: Floats) -> Floats:
    """The background with the subject taken out: its place is filled with what is around it, smoothly."""
    size = (scene.shape[1], scene.shape[0])
    open_share = cv2.resize(1.0 - matte, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    around = cv2.resize(scene * (1.0 - matte)[..., None], None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    filled = cv2.GaussianBlur(around, (0, 0), 8) / np.maximum(cv2.GaussianBlur(open_share, (0, 0), 8), 0.02)[..., None]
    return scene * (1.0 - matte)[..., None] + cv2.resize(filled, size) * matte[..., None]


def defocus(picture: Floats, diameter_px: float) -> Floats:
    """Picture out of focus by a disc; large discs are laid over a picture of half or quarter size, which shows no
    difference.
    """
    diameter_px = abs(diameter_px)
    if diameter_px < 0.4:
        return picture
    factor = 1 if diameter_px < 14 else 2 if diameter_px < 28 else 4
    if factor == 1:
        return convolve(picture, disc_kernel(diameter_px))
    small = cv2.resize(picture, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    size = (picture.shape[1], picture.shape[0])
    return cv2.resize(convolve(small, disc_kernel(diameter_px / factor)), size, interpolation=cv2.INTER_CUBIC)


def defocus_by_depth(picture: Floats, disc_far_px: float, disc_near_px: float, horizon: float) -> Floats:
    """Background out of focus by its depth: reciprocal distance is even above the horizon and grows evenly down a
    ground plane.

    Args:
        picture: Linear values.
        disc_far_px: Signed disc at and above the horizon [px].
        disc_near_px: Signed disc at the lower edge [px].
        horizon: Height of the horizon from the top [share of the height].
    """
    height = picture.shape[0]
    down = np.clip((np.arange(height) / height - horizon) / (1 - horizon), 0.0, 1.0)
    discs = np.abs(disc_far_px + (disc_near_px - disc_far_px) * down)
    low, high = float(discs.min()), float(discs.max())
    if high - low < 1.0:
        return defocus(picture, (low + high) / 2)
    n_levels = 3 if high - low < 8 else 4 if high - low < 20 else 5
    levels = np.linspace(math.sqrt(low), math.sqrt(high), n_levels) ** 2
    blurred = [defocus(picture, level) for level in levels]
    result = np.zeros_like(picture)
    position = np.interp(discs, levels, np.arange(n_levels))
    for index, layer in enumerate(blurred):
        share = np.clip(1.0 - np.abs(position - index), 0.0, 1.0).astype(np.float32)
        result += layer * share[:, None, None]
    return result


def picture_on_sensor(scene: Floats, subject: Subject, blurs: Blurs, rng: np.random.Generator) -> Floats:
    """All blurs in linear light, in the order that light meets them: depth and motion, lens, hand.

    Args:
        scene: Linear scene values, shape (height, width, 3).
        subject: What is in front.
        blurs: Sizes.
        rng: Draws directions, bends and the horizon.

    Returns:
        Linear values on the sensor, darkened towards the corners.
    """
    matte = subject.matte
    horizon = rng.uniform(0.35, 0.6)
    is_split = blurs.motion_px > 0.3 or blurs.panning_px > 0 or abs(blurs.disc_far_px - blurs.disc_subject_px) > 1.0
    if not is_split:
        picture = defocus_by_depth(scene, blurs.disc_far_px, blurs.disc_near_px, horizon)
    else:
        background = fill_behind(scene, matte)
        background = defocus_by_depth(background, blurs.disc_far_px, blurs.disc_near_px, horizon)
        if blurs.panning_px > 0:
            background = convolve(background, straight_streak(blurs.panning_px, rng))
        layer = cv2.merge([*cv2.split(scene * matte[..., None]), matte])
        layer = defocus(layer, blurs.disc_subject_px)
        if blurs.motion_px > 0.3:
            angle = rng.normal(0.0, 0.3) if rng.random() < 0.7 else rng.uniform(0.0, math.pi)
            layer = convolve(layer, path_kernel(*motion_path(blurs.motion_px, angle, rng)))
        cover = np.clip(layer[..., 3:], 0.0, 1.0)
        picture = layer[..., :3] + background * (1.0 - cover)
    picture = cv2.GaussianBlur(picture, (0, 0), blurs.lens_sigma_px)
    if blurs.shake_px > 0.3:
        path = hand_path(blurs.shake_px, rng)
        picture = convolve(picture, path_kernel(path, np.ones(len(path))))
    return np.maximum(picture, 0.0) * vignetting(*picture.shape[:2], blurs.corner_stops)[..., None]


def straight_streak(length_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """The streak that a panned background draws: straight, near level."""
    angle = rng.normal(0.0, 0.06)
    along = np.linspace(0.0, length_px, 2 * int(length_px) + 2)
    return path_kernel(np.outer(along, [math.cos(angle), math.sin(angle)]), np.ones(len(along)))
