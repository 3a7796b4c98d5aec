"""One degraded frame with its truth, from a scene and a case."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from degraded.blurs import Kernel, blurred_inside, blurred_outside, disc, line, path_kernel, shaky_path, spread
from degraded.camera import any_camera, develop, jpeg
from degraded.cases import FAULTS, SMEARED, Case, any_case, exif_of
from degraded.depth import SCENE_VARIES, SUBJECT_VARIES, by_depth, depth_of, variation
from degraded.scenes import Light, Scene, cloud_noise
from degraded.sources import scene_of

#: Luma noise above which it is a fault, and below which it is none [codes of 8 bits]. Source: own choice, about 5 and
#: 4 % of mid-grey.
NOISY, NOT_NOISY = 5.5, 4.3
#: Weights of red, green and blue in luminance. Source: ITU-R BT.709-6.
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)


@dataclass(frozen=True)
class Frame:
    """A degraded frame.

    Attributes:
        data: the JPEG file.
        exif: what the camera wrote down.
        labels: 1 where the frame has the fault, in the order of `FAULTS`.
        kind: what was drawn.
        source: the scene; frames of one source belong together.
        ev: error of exposure [stops].
        blur_px: extent of the greatest blur that is a fault or would be one [px].
        noise_sigma: of luma [codes of 8 bits].
    """

    data: bytes
    exif: dict[str, object]
    labels: tuple[int, ...]
    kind: str
    source: str
    ev: float
    blur_px: float
    noise_sigma: float


def frame(index: int, seed: int = 1, further: dict[str, Path] | None = None) -> Frame:
    """Degraded frame number `index` of a series; the same for the same index, seed and sources (`further`: only these
    photographs, by name)."""
    return clear_frame(scene_of(index, seed * 100_000 + index, further), np.random.default_rng([99, seed, index]))


def clear_frame(scene: Scene, rng: np.random.Generator) -> Frame:
    """A degraded frame; one whose noise lies between what is a fault and what is none is drawn again."""
    for _ in range(4):
        case = any_case(rng, max(scene.light.shape[:2]))
        made = degraded(scene, case, rng)
        if made.noise_sigma > NOISY or ("noise" not in case.faults and made.noise_sigma < NOT_NOISY):
            break
    return made


def degraded(scene: Scene, case: Case, rng: np.random.Generator) -> Frame:
    """The frame that a case makes of a scene."""
    seen = _smeared(_meant(scene.light, scene.subject, case, rng), scene.subject, case, rng)
    light = _exposed(seen, case)
    camera = any_camera(rng)
    picture, noise_sigma = develop(light, case.iso, camera, rng)
    if noise_sigma > NOISY:
        case.faults.add("noise")
    rows, columns = picture.shape[:2]
    weight = scene.subject[:rows, :columns]
    y, x = np.mgrid[0:rows, 0:columns]
    middle = (float((x * weight).sum() / weight.sum() / columns), float((y * weight).sum() / weight.sum() / rows))
    return Frame(
        data=jpeg(picture, camera.quality),
        exif=exif_of(rng, case, middle, (columns, rows), _key(seen)),
        labels=tuple(int(each in case.faults) for each in FAULTS),
        kind=case.kind,
        source=scene.name,
        ev=case.ev,
        blur_px=max(case.shake_px, case.defocus_px, case.motion_px),
        noise_sigma=noise_sigma,
    )


def _meant(light: Light, subject: Light, case: Case, rng: np.random.Generator) -> Light:
    """The scene as it was meant: in fog, in a pool of light, before a bright wall."""
    if case.kind not in {"fog", "low key", "high key"}:
        return light
    wide = _widened(subject)[:, :, None]
    if case.kind == "fog":
        veil = np.float32(rng.uniform(0.2, 0.45))
        depth = np.float32(rng.uniform(0.4, 0.8)) * (1 - 0.5 * wide)
        return np.asarray(light * (1 - depth) + veil * depth, np.float32)
    if case.kind == "low key":
        return np.asarray(light * (wide + (1 - wide) * np.float32(2 ** rng.uniform(-6, -3.5))), np.float32)
    wall = np.float32(rng.uniform(0.7, 0.95)) * np.exp(0.02 * cloud_noise(rng, *subject.shape, 1.8))[:, :, None]
    keep = 0.15 + 0.85 * wide
    return np.asarray(np.minimum(light * 1.5, 1.0) * keep + wall * (1 - keep), np.float32)


def _widened(subject: Light) -> Light:
    """The subject with a very soft outline."""
    rows, columns = subject.shape
    small = cv2.resize(subject, (columns // 8, rows // 8), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(cv2.GaussianBlur(small, (0, 0), rows / 112), (columns, rows)), np.float32)


def _smeared(light: Light, subject: Light, case: Case, rng: np.random.Generator) -> Light:
    """All blur of a case: what lies behind, focus, the subject's way, the hands'."""
    blades, turn, direction = int(rng.choice([0, 5, 6, 7, 9])), float(rng.uniform(0, 6)), float(rng.uniform(0, np.pi))
    if case.kind in {"panning", "streaks meant"}:
        flat = direction if case.kind == "streaks meant" else float(rng.normal(0, 0.12))
        return blurred_outside(light, subject, line(case.background_px, flat))
    light = _defocused(light, subject, case, lambda px: disc(px, blades, turn), rng.spawn(1)[0])
    if case.motion_px > 0.6:
        light = blurred_inside(light, subject, line(case.motion_px, direction))
    if case.shake_px > 0.6:
        light = spread(light, path_kernel(shaky_path(rng, case.shake_px)))
    return light


def _defocused(
    light: Light, subject: Light, case: Case, disc_of: Callable[[float], Kernel], rng: np.random.Generator
) -> Light:
    """What lies behind, and focus; both change with depth."""
    depth, sharp = depth_of(rng, *subject.shape), light
    if case.background_px > 1:
        varies = variation(rng, SCENE_VARIES, case.background_px, SMEARED if case.kind == "focus" else 0.0)
        light = by_depth(lambda px: blurred_outside(sharp, subject, disc_of(px)), case.background_px, depth, varies)
    before = light
    if case.kind == "missed focus" or (case.kind == "focus" and case.background_px > 1):
        varies = variation(rng, SUBJECT_VARIES, case.defocus_px, SMEARED)
        return by_depth(lambda px: blurred_inside(before, subject, disc_of(px)), case.defocus_px, depth, varies)
    if case.kind == "focus":
        varies = variation(rng, SCENE_VARIES, case.defocus_px, SMEARED)
        return by_depth(lambda px: spread(before, disc_of(px)), case.defocus_px, depth, varies)
    return spread(before, disc_of(case.defocus_px)) if case.defocus_px > 0.6 else before


def _key(light: Light) -> float:
    """How much brighter than mid-grey light is as a whole, the middle counting more [stops]."""
    rows, columns = 24, 32
    small = cv2.resize(np.minimum(light, 3), (columns, rows), interpolation=cv2.INTER_AREA) @ LUMINANCE
    y, x = np.mgrid[0:rows, 0:columns]
    weight = 0.4 + np.exp(-(((y / rows - 0.5) / 0.35) ** 2) - ((x / columns - 0.5) / 0.35) ** 2)
    return float(np.log2(max(np.average(small, weights=weight), 1e-4) / 0.18))


def _exposed(light: Light, case: Case) -> Light:
    return np.asarray(light * np.float32(2**case.ev), np.float32)
