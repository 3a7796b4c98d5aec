"""What an unsteady hand, a moving subject, wrong focus and the lens do to light, as kernels on linear light."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from othercamera.shots import Shot
from othercamera.sources import F32
from othercamera.subjects import Subject

F64 = npt.NDArray[np.float64]

#: Samples of a path per exposure, and how finely a kernel is drawn before it is summed into pixels.
SAMPLES, FINE = 400, 5
#: Seconds after which a hand's drift is forgotten, and the tremor of the muscles. Source: Lakie 2010, Exp. Physiol. 95
#: (physiological tremor of 8 to 12 Hz).
DRIFT_S, TREMOR_HZ, TREMOR_SHARE = 0.25, (8.0, 12.0), 0.4


def hand_path(shot: Shot, rng: np.random.Generator) -> F64:
    """The path (pixels) of a point across the picture while the hand is unsteady: drift and tremor in two axes."""
    step = shot.time_s / SAMPLES
    keep = np.exp(-step / DRIFT_S)
    speed = np.empty((SAMPLES, 2))
    now = rng.standard_normal(2)
    for index in range(SAMPLES):
        now = keep * now + np.sqrt(1 - keep**2) * rng.standard_normal(2)
        speed[index] = now
    times = np.arange(SAMPLES)[:, None] * step
    hertz, phase = rng.uniform(*TREMOR_HZ, 2), rng.uniform(0, 2 * np.pi, 2)
    speed += TREMOR_SHARE * np.sqrt(2) * np.cos(2 * np.pi * hertz * times + phase)
    angle = np.cumsum(speed * step, axis=0) * shot.unsteady_rad_s
    return np.asarray((angle - angle.mean(axis=0)) * shot.focal_mm / shot.pitch_mm)


def streak_path(length_px: float, rng: np.random.Generator) -> F64:
    """The path (pixels) of a subject that crosses the picture: nearly level, a little bent, not quite even."""
    along = np.linspace(0, 1, SAMPLES) ** rng.uniform(0.85, 1.15) - 0.5
    across = rng.normal(0, 0.05) * (along**2 - along.mean() ** 2)
    turn = rng.normal(0, 0.25) if rng.random() < 0.8 else rng.uniform(0, np.pi)
    x, y = along * length_px, across * length_px
    return np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], axis=1)


def extent(path: F64) -> float:
    """The longest extent of a path over all directions, pixels."""
    turns = np.linspace(0, np.pi, 36, endpoint=False)
    shadows = path @ np.stack([np.cos(turns), np.sin(turns)])
    return float((shadows.max(axis=0) - shadows.min(axis=0)).max())


def path_kernel(path: F64) -> F32:
    """Kernel of a path: the time spent in each pixel."""
    reach = int(np.ceil(np.abs(path).max())) + 2
    size = 2 * reach + 1
    edges = np.linspace(-reach - 0.5, reach + 0.5, size * FINE + 1)
    dense = np.stack([np.interp(np.linspace(0, 1, 4000), np.linspace(0, 1, len(path)), axis) for axis in path.T])
    drawn = np.histogram2d(dense[1], dense[0], bins=[edges, edges])[0]
    drawn = cv2.GaussianBlur(drawn, (0, 0), FINE / 3)
    kernel = drawn.reshape(size, FINE, size, FINE).sum(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), np.float32)


def disc_kernel(diameter_px: float, rng: np.random.Generator) -> F32:
    """Kernel of a defocused point: an aperture of blades, brighter at the rim or in the middle as lenses differ."""
    reach = int(np.ceil(diameter_px / 2)) + 1
    size = 2 * reach + 1
    axis = (np.arange(size * FINE) + 0.5) / FINE - size / 2
    x, y = np.meshgrid(axis, axis)
    blades, turned = int(rng.choice([5, 6, 7, 9, 40])), rng.uniform(0, np.pi)
    angle = np.mod(np.arctan2(y, x) + turned, 2 * np.pi / blades) - np.pi / blades
    radius = np.hypot(x, y) * np.cos(angle) / np.cos(np.pi / blades) ** 0.5 / max(diameter_px / 2, 1e-6)
    drawn = (radius <= 1) * (1 + rng.uniform(-0.5, 0.5) * np.clip(radius, 0, 1) ** 2)
    kernel = drawn.reshape(size, FINE, size, FINE).sum(axis=(1, 3))
    if kernel.sum() <= 0:
        kernel[reach, reach] = 1
    return np.asarray(kernel / kernel.sum(), np.float32)


def convolved(light: F32, *kernels: F32) -> F32:
    """Light after some kernels, one after the other; kernels of one pixel cost nothing."""
    for kernel in kernels:
        if kernel.max() < 0.995:
            light = np.asarray(cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REFLECT), np.float32)
    return light


def _behind(light: F32, cover: F32) -> F32:
    """What may be behind the subject: the surroundings, smeared into its place."""
    rows, columns = cover.shape
    small = columns // 8, rows // 8
    open_ = 1 - cv2.resize(cv2.dilate(cover, np.ones((9, 9), np.uint8)), small, interpolation=cv2.INTER_AREA)
    seen = cv2.resize(light, small, interpolation=cv2.INTER_AREA) * open_[:, :, None]
    total, weight = np.zeros_like(seen), np.zeros_like(open_)
    for sigma in (2.0, 6.0, 18.0, 60.0):
        share = 0.02 ** np.log2(sigma)
        total += share * cv2.GaussianBlur(seen, (0, 0), sigma)
        weight += share * cv2.GaussianBlur(open_, (0, 0), sigma)
    filled = cv2.resize(total / (weight[:, :, None] + 1e-12), (columns, rows), interpolation=cv2.INTER_LINEAR)
    return np.asarray(light + cover[:, :, None] * (filled - light), np.float32)


def layered(light: F32, subject: Subject, on_subject: list[F32], on_background: list[F32]) -> F32:
    """Subject and background blurred each in its own way, the subject in front."""
    cover = subject.cover
    front = convolved(light * cover[:, :, None], *on_subject)
    covered = convolved(cover, *on_subject)[:, :, None]
    back = convolved(_behind(light, cover), *on_background)
    return np.asarray(front + (1 - covered) * back, np.float32)


def through_lens(light: F32, f_number: float, pitch_mm: float, rng: np.random.Generator) -> F32:
    """Sharp in the middle, softer in the corners, darker there when wide open, colours not quite of one size."""
    rows, columns = light.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    off_axis = ((x / columns - 0.5) ** 2 + (y / rows - 0.5) ** 2)[:, :, None] * 2
    wide_open = 1.4 / f_number
    diffraction = 0.42 * 0.00055 * f_number / pitch_mm
    middle = float(np.hypot(rng.uniform(0.4, 0.6) + 0.15 * wide_open, diffraction))
    corner = middle + rng.uniform(0.1, 0.6) + 0.3 * wide_open
    sharp, soft = cv2.GaussianBlur(light, (0, 0), middle), cv2.GaussianBlur(light, (0, 0), corner)
    seen = sharp + off_axis**1.5 * (soft - sharp)
    seen *= 1 - off_axis * min(0.6, rng.uniform(0.05, 0.25) + 0.4 * wide_open)
    for channel, scale in ((0, 1 + rng.normal(0, 3e-4)), (2, 1 + rng.normal(0, 4e-4))):
        shift = np.array([[scale, 0, (1 - scale) * columns / 2], [0, scale, (1 - scale) * rows / 2]])
        seen[:, :, channel] = cv2.warpAffine(seen[:, :, channel], shift, (columns, rows), borderMode=cv2.BORDER_REFLECT)
    return np.asarray(np.maximum(seen, 0), np.float32)
