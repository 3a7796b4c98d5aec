"""One frame: what is to go wrong is drawn, settings that make it so are found, and the labels are read from the result.

Sizes between "none" and "a fault" are drawn again: a benchmark of what nobody could call would measure nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from othercamera.blurs import (
    F64,
    convolved,
    disc_kernel,
    extent,
    hand_path,
    layered,
    path_kernel,
    streak_path,
    through_lens,
)
from othercamera.sensor import as_jpeg, developed
from othercamera.shots import (
    BLUR_FAULT_PX,
    BLUR_NONE_PX,
    BODIES,
    FAULTS,
    Body,
    Shot,
    draw_shot,
    nominal_iso,
    nominal_time,
)
from othercamera.sources import F32, luminance
from othercamera.subjects import LOOKS, Subject, edges_of, find_subject, lit

GOOD_SHARE, TWO_FAULTS_SHARE = 0.45, 0.15
#: Styles of good frames and of frames with a fault that allows them.
STYLES = {"plain": 0.55, "shallow": 0.22, "panning": 0.1, "long": 0.13}
#: Noise on brightness, 8-bit standard deviation in tones that are neither black nor white: a fault from the first on,
#: none up to the second.
NOISE_FAULT, NOISE_NONE = 5.0, 3.0
#: A blur that changes the subject (or the frame) by less than this, 8-bit mean, cannot be seen by anybody.
VISIBLE = 0.6
#: Edges of a sharp photograph are no wider than this (pixels), and fill so much of a subject that matters.
SHARP_EDGE_PX, TELLING_SHARE = 1.4, 0.12
MEANT_SUBJECT = {"panning", "shallow", "missed"}
TRIES = 300


@dataclass(frozen=True)
class Frame:
    """A JPEG, what the camera wrote into it, and the truth about it."""

    jpeg: bytes
    exif: dict[str, Any]
    truth: dict[str, Any]


@dataclass(frozen=True)
class Motion:
    """What moved and what was out of focus, as it reached the sensor: paths and discs in pixels."""

    hand: F64
    streak: F64 | None
    subject_disc: float
    background_disc: float

    def sizes(self, panning: bool) -> dict[str, float]:
        """Extent in pixels by fault; a panned streak is the background's and meant."""
        streak = 0.0 if self.streak is None or panning else extent(self.streak)
        return {"focus": self.subject_disc, "shake": extent(self.hand), "subject_motion": streak}


Taken = tuple[Body, Shot, Motion]


def draw_faults(rng: np.random.Generator) -> frozenset[str]:
    """No fault, one, or two of different kinds."""
    if rng.random() < GOOD_SHARE:
        return frozenset()
    n_faults = 2 if rng.random() < TWO_FAULTS_SHARE else 1
    return frozenset(str(fault) for fault in rng.choice(FAULTS, n_faults, replace=False))


def draw_style(faults: frozenset[str], rng: np.random.Generator) -> str:
    """How the frame was meant; a long exposure or a pan goes with no blur that is a fault."""
    style = str(rng.choice(list(STYLES), p=list(STYLES.values())))
    if "focus" in faults:
        return str(rng.choice(["plain", "shallow", "missed"], p=[0.35, 0.25, 0.4]))
    if style in ("panning", "long") and faults & {"shake", "subject_motion"}:
        return "plain"
    return style


def _moved(shot: Shot, rng: np.random.Generator) -> Motion:
    streak = streak_path(shot.streak_px(), rng) if shot.speed_m_s else None
    return Motion(hand_path(shot, rng), streak, shot.disc_px(shot.subject_m), shot.disc_px(shot.background_m))


def _is_clear(sizes: dict[str, float], faults: frozenset[str]) -> bool:
    return all(
        BLUR_FAULT_PX <= size <= 30 if fault in faults else size <= BLUR_NONE_PX for fault, size in sizes.items()
    )


def find_shot(faults: frozenset[str], style: str, width_px: int, rng: np.random.Generator) -> Taken | None:
    """Settings, and the motion that came of them, with these faults and no other; None if many tries found none."""
    for _ in range(TRIES):
        body = BODIES[int(rng.integers(len(BODIES)))]
        shot = draw_shot(faults, style, body, width_px, rng)
        if shot is None:
            continue
        motion = _moved(shot, rng)
        if _is_clear(motion.sizes(shot.panning), faults) and (style != "shallow" or motion.background_disc > 3):
            return body, shot, motion
    return None


def on_sensor(light: F32, subject: Subject, shot: Shot, motion: Motion, rng: np.random.Generator) -> F32:
    """The blurred image on the sensor, before its exposure error."""
    still, panned = [disc_kernel(motion.subject_disc, rng)], [disc_kernel(motion.background_disc, rng)]
    if motion.streak is not None:
        (panned if shot.panning else still).append(path_kernel(motion.streak))
    same = motion.streak is None and abs(motion.subject_disc - motion.background_disc) < 0.2
    image = convolved(light, *still) if same else layered(light, subject, still, panned)
    return convolved(image, path_kernel(motion.hand))


def brightness_value(light: F32, shot: Shot, rng: np.random.Generator) -> float:
    """What the meter saw, APEX: the scene's own mean against middle grey, as dark halls and snow mislead any meter.

    Source: CIPA DC-008 (Exif), BrightnessValue; at ISO 100 the exposure value is the brightness value plus five.
    """
    small = cv2.resize(luminance(light), (32, 24), interpolation=cv2.INTER_AREA)
    y, x = np.mgrid[0:24, 0:32]
    weight = 0.3 + np.exp(-0.5 * (((x - 15.5) / 8) ** 2 + ((y - 11.5) / 6) ** 2))
    mean = float((np.minimum(small, 3) * weight).sum() / weight.sum())
    return round(shot.light_ev100 - 5 + rng.uniform(0.5, 1.0) * math.log2(mean / 0.18) + rng.normal(0, 0.2), 2)


def written(body: Body, shot: Shot, subject: Subject, brightness: float, rng: np.random.Generator) -> dict[str, Any]:
    """What the body writes down; old lenses tell no aperture, and much is left out at random, as bodies differ."""
    exif: dict[str, Any] = {"ExposureTime": nominal_time(shot.time_s), "FNumber": shot.f_number}
    exif["ISO"] = nominal_iso(shot.iso)
    exif |= {
        "FocalLength": round(shot.focal_mm, 1),
        "Model": body.name,
        "LensModel": f"Lens {int(shot.focal_mm // 30)}",
    }
    exif |= {"ExposureMode": int(rng.random() < 0.65), "Flash": 0 if rng.random() < 0.5 else 16}
    if body.writes_35mm:
        exif["FocalLengthIn35mmFilm"] = round(shot.focal_mm * 36 / body.sensor_mm)
    if body.writes_brightness:
        exif["BrightnessValue"] = brightness
    if body.stabilises:
        exif["ImageStabilization"] = int(shot.stabilised)
    if rng.random() < 0.25:
        (x, y), (half_x, half_y) = subject.centre, subject.axes
        exif["SubjectArea"] = [x, y, 2 * half_x, 2 * half_y]
    if rng.random() < 0.04:
        del exif["FNumber"], exif["FocalLength"]
        exif.pop("FocalLengthIn35mmFilm", None)
    lost = {"ISO": 0.02, "Model": 0.1, "LensModel": 0.4, "ExposureMode": 0.25, "Flash": 0.3, "BrightnessValue": 0.05}
    return {key: value for key, value in exif.items() if rng.random() >= lost.get(key, 0.0)}


def _noise_sigma(image: F32, body: Body, iso: int, rng: np.random.Generator) -> float:
    """Standard deviation of brightness, 8 bits, against the same development without noise, mid-frame."""
    rows, columns = (size // 10 * 2 for size in image.shape[:2])
    part = np.ascontiguousarray(image[3 * rows // 2 : 7 * rows // 2, 3 * columns // 2 : 7 * columns // 2])
    noisy, clean = (luminance(developed(part, body, iso, draw))[16:-16, 16:-16] for draw in (rng, None))
    seen = (clean > 16 / 255) & (clean < 240 / 255)
    return float(255 * (noisy - clean)[seen].std()) if seen.mean() > 0.02 else float(255 * (noisy - clean).std())


def _is_noisy(sigma: float) -> bool | None:
    """Whether noise is a fault, None where opinions would differ."""
    return None if NOISE_NONE < sigma < NOISE_FAULT else sigma >= NOISE_FAULT


def _change(sharp: F32, blurred: F32, cover: F32) -> float:
    """Mean change that a blur made, 8-bit tones, where it matters."""
    tones = [255 * np.clip(luminance(light), 0, 1) ** (1 / 2.2) for light in (sharp, blurred)]
    return float((np.abs(tones[0] - tones[1]) * cover).sum() / cover.sum())


def _is_sharp_subject(light: F32, subject: Subject, must_tell: bool) -> bool:
    """Whether the photograph itself is sharp at the subject, and has edges there if the subject is what matters."""
    width, share = edges_of(light, subject.cover)
    return share >= TELLING_SHARE and width <= SHARP_EDGE_PX if must_tell else not width > SHARP_EDGE_PX


def make_frame(light: F32, source: str, seed: int, faults: frozenset[str] | None = None) -> Frame | None:
    """One frame of a scene, or None where this draw came to nothing that could be called.

    Args:
        light: Scene-linear light, an even number of rows and columns.
        source: What the scene is called in the truth.
        seed: Everything that is drawn follows from it.
        faults: The faults to have, drawn unless told.
    """
    rng = np.random.default_rng([77003, seed])
    wanted = draw_faults(rng) if faults is None else faults
    style, look = draw_style(wanted, rng), str(rng.choice(list(LOOKS), p=list(LOOKS.values())))
    subject = find_subject(light, rng)
    if not _is_sharp_subject(light, subject, bool(wanted & {"focus", "subject_motion"}) or style in MEANT_SUBJECT):
        return None
    scene = lit(light, subject, look, rng)
    found = find_shot(wanted, style, light.shape[1], rng)
    if found is None:
        return None
    body, shot, motion = found
    if _is_noisy(_noise_sigma(scene * 2.0**shot.ev, body, shot.iso, rng)) is not ("noise" in wanted):
        return None
    image = on_sensor(scene, subject, shot, motion, rng)
    blurry = bool(wanted & {"focus", "shake", "subject_motion"})
    everywhere = "shake" in wanted or ("focus" in wanted and motion.background_disc > BLUR_FAULT_PX)
    cover = np.ones_like(subject.cover) if everywhere else subject.cover
    change = _change(scene, image, cover)
    seen = through_lens(image, shot.f_number, shot.pitch_mm, rng) * 2.0**shot.ev
    value = developed(seen, body, shot.iso, rng)
    noise = _noise_sigma(seen, body, shot.iso, rng)
    if (blurry and change < VISIBLE) or _is_noisy(noise) is not ("noise" in wanted):
        return None
    sizes = motion.sizes(shot.panning)
    truth = {
        "labels": {fault: int(fault in wanted) for fault in FAULTS},
        "kind": "+".join(sorted(wanted)) or "good",
        "style": style, "look": look, "source": source, "seed": seed, "ev": round(shot.ev, 3),
        "blur_px": round(max((sizes[fault] for fault in wanted if fault in sizes), default=max(sizes.values())), 2),
        "sizes_px": {fault: round(size, 2) for fault, size in sizes.items()},
        "background_px": round(motion.background_disc, 2), "everywhere": everywhere, "change": round(change, 2),
        "noise_sigma": round(noise, 2), "support": shot.support, "pace": shot.pace,
        "subject": [*subject.centre, *subject.axes],
    }  # fmt: skip
    exif = written(body, shot, subject, brightness_value(scene, shot, rng), rng)
    return Frame(as_jpeg(value, body.quality, bool(rng.random() < 0.4)), exif, truth)
