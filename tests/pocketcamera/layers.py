"""A scene taken apart into a background without its subject and a subject without its background, above `tones`."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pocketcamera.tones import Floats, Mask

#: How far texture is carried into a hole before it becomes smooth: behind a subject, and past its outline [px].
#: Source: own choice.
REACH_BEHIND_PX, REACH_PAST_PX = 64, 24
#: Spread that keeps mirrored texture from being smeared in rays [px]. Source: own choice.
SMOOTHING_PX = 5.0
#: Scale at which a hole is filled smoothly, spreads of the steps [px at that scale], and how much each next one counts.
#: Source: own choice.
FILL_SCALE, FILL_SPREADS_PX, FILL_FALL = 1 / 8, (1.5, 4, 12, 36), 0.03


def taken_apart(scene: Floats, matte: Floats) -> tuple[Floats, Floats]:
    """Background without the subject, and the scene with the subject's own colours carried past its outline."""
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (17, 17))
    background = filled(scene, cv2.dilate((matte > 0.05).astype(np.uint8), around) > 0, REACH_BEHIND_PX)
    core = cv2.erode((matte > 0.9).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    if not core.any():
        return background, scene
    rows, columns = np.where(matte > 0)
    box = np.s_[max(0, rows.min() - 8) : rows.max() + 9, max(0, columns.min() - 8) : columns.max() + 9]
    front = scene.copy()
    front[box] = filled(scene[box], ~core[box], REACH_PAST_PX)
    return background, front


def filled(scene: Floats, hole: Mask, reach_px: int) -> Floats:
    """A scene whose hole is filled by the texture around it, mirrored at its outline, smoother the deeper inside."""
    rows, columns = np.where(hole)
    margin = reach_px + 8
    box = np.s_[
        max(0, rows.min() - margin) : rows.max() + margin, max(0, columns.min() - margin) : columns.max() + margin
    ]
    part, part_hole = scene[box], hole[box]
    if part_hole.all():
        return scene.copy()
    depth, mirrored, is_unknown = _mirrored(part, part_hole)
    smoothness = np.clip((depth - reach_px * 0.5) / (reach_px * 0.5), 0, 1)
    smoothness = np.where(is_unknown, 1, smoothness).astype(np.float32)
    smoothness = np.asarray(cv2.GaussianBlur(smoothness, (0, 0), 2.0), np.float32)[..., None]
    inside = np.maximum(mirrored * (1 - smoothness) + _smooth(part, part_hole) * smoothness, 0)
    result = scene.copy()
    result[box] = np.where(part_hole[..., None], inside, part)
    return result


def _mirrored(part: Floats, hole: Mask) -> tuple[Floats, Floats, Mask]:
    """Depth inside the hole [px], the scene mirrored at the outline, and where the mirror shows the hole itself."""
    depth, labels = cv2.distanceTransformWithLabels(
        hole.astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    height, width = hole.shape
    y, x = np.mgrid[:height, :width]
    label_y, label_x = (np.zeros(labels.max() + 1, np.float32) for _ in range(2))
    label_y[labels[~hole]], label_x[labels[~hole]] = y[~hole], x[~hole]
    mirror_y, mirror_x = (
        _mirrored_place(nearest[labels], here, hole, last)
        for nearest, here, last in ((label_y, y, height - 1), (label_x, x, width - 1))
    )
    is_unknown = hole & (cv2.remap(hole.astype(np.uint8), mirror_x, mirror_y, cv2.INTER_NEAREST) > 0)
    mirrored = np.asarray(cv2.remap(part, mirror_x, mirror_y, cv2.INTER_LINEAR), np.float32)
    return np.asarray(depth, np.float32), mirrored, is_unknown


def _mirrored_place(nearest: Floats, here: NDArray[np.int_], hole: Mask, last: int) -> Floats:
    """Where, along one axis, a pixel's mirror image lies [px]."""
    smoothed = np.where(hole, cv2.GaussianBlur(nearest, (0, 0), SMOOTHING_PX), here).astype(np.float32)
    return np.clip(np.where(hole, 2 * smoothed - here, here), 0, last).astype(np.float32)


def _smooth(part: Floats, hole: Mask) -> Floats:
    """The colours around, spread into the hole in steps that reach ever further."""
    height, width = hole.shape
    known = (~hole).astype(np.float32)
    light, weight = (
        np.asarray(cv2.resize(whole, None, fx=FILL_SCALE, fy=FILL_SCALE, interpolation=cv2.INTER_AREA), np.float32)
        for whole in (part * known[..., None], known)
    )
    light_sum, weight_sum, counts = np.zeros_like(light), np.zeros_like(weight), 1.0
    for spread in FILL_SPREADS_PX:
        light_sum += counts * cv2.GaussianBlur(light, (0, 0), spread)
        weight_sum += counts * cv2.GaussianBlur(weight, (0, 0), spread)
        counts *= FILL_FALL
    mean = light_sum / (weight_sum[..., None] + 1e-8)
    return np.asarray(cv2.resize(mean, (width, height), interpolation=cv2.INTER_CUBIC), np.float32)
