"""One frame from its number: photograph, plan, light, sensor, JPEG, and the record of what it is."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldcamera.development import develop, write_jpeg
from fieldcamera.lens import Floats
from fieldcamera.photographer import Settings
from fieldcamera.photographs import Photograph, load_at_frame_size
from fieldcamera.planning import Plan, draw_faults, draw_plan
from fieldcamera.radiance import change_contrast_of_light, decode_srgb, scene_radiance, tone_curve
from fieldcamera.rendering import LUMINANCE, Subject, find_subject, picture_on_sensor
from fieldcamera.sensor import capture, demosaic

#: Shares of frames in which a camera wrote the key down at all.
KEY_SHARES = {
    "BrightnessValue": 0.6, "SubjectArea": 0.35, "Model": 0.95, "LensModel": 0.85, "ExposureMode": 0.95, "Flash": 0.9,
    "FocalLengthIn35mmFilm": 0.92, "FocalLength": 0.97, "ImageStabilization": 0.6,
}  # fmt: skip


def make_frame(number: int, seed: int, photographs: list[Photograph], folder: Path) -> dict[str, Any]:
    """Make frame `number` of a seed and say what it is; the same number, seed and photographs give the same bytes.

    Returns:
        file, photograph, kind, faults, sizes (exposure in stops, signed; blurs in px at full size; noise as a share
        of the signal), focus_fault, all blurs, and exif.
    """
    rng = np.random.default_rng([seed, number])
    # Photographs take turns in an order of their own each round, so that none is used much more often than another.
    round_number, place = divmod(number, len(photographs))
    order = np.random.default_rng([seed, 10**6 + round_number]).permutation(len(photographs))
    photograph = photographs[int(order[place])]
    encoded = load_at_frame_size(photograph, rng)
    middle = float(np.median(encoded[::8, ::8])) / 255
    unlikely_kind = "high_key" if middle < 0.35 else "low_key" if middle > 0.65 else ""
    plan = draw_plan(photograph.light, unlikely_kind, max(encoded.shape), draw_faults(rng), rng)
    camera = plan.settings.camera
    scene = scene_radiance(encoded, rng.uniform(1.3, 2.4), rng.uniform(1.0, 1.12), rng)
    scene = match_tones(scene, encoded, camera.tone_gain, camera.tone_contrast)
    scene = set_key(scene, plan.kind, rng)
    subject = find_subject(scene, plan.subject_share, rng)
    light = picture_on_sensor(scene, subject, plan.blurs, rng) * np.float32(2**plan.exposure_error_stops)
    finished = develop(demosaic(capture(light, camera, plan.settings.iso, rng)), camera, plan.settings.iso, rng)
    exif = exif_of(plan, scene, subject, rng)
    file = f"frame-{number:04d}.jpg"
    write_jpeg(folder / file, finished, exif, camera, int(rng.integers(85, 98)))
    return {
        "file": file,
        "photograph": photograph.photograph_id,
        "kind": plan.kind,
        "faults": sorted(plan.sizes),
        "sizes": plan.sizes,
        "focus_fault": plan.focus_fault,
        "exposure_error_stops": round(plan.exposure_error_stops, 3),
        "is_meter_misled": plan.is_meter_misled,
        "blurs": {k: round(float(v), 2) for k, v in vars(plan.blurs).items()},
        "subject_box": list(subject.box),
        "exif": exif,
    }


def match_tones(scene: Floats, encoded: NDArray[np.uint8], tone_gain: float, tone_contrast: float) -> Floats:
    """The scene scaled so that this camera's tone curve gives its middle tones the brightness they have in the good
    picture.
    """
    wanted = float(np.median(decode_srgb(encoded[::8, ::8] / np.float32(255)) @ LUMINANCE))
    middle = float(np.median(scene[::8, ::8] @ LUMINANCE))
    low, high = -4.0, 4.0
    for _ in range(30):
        stops = (low + high) / 2
        got = float(tone_curve(np.float32([middle * 2**stops]), tone_gain, tone_contrast)[0])
        low, high = (stops, high) if got < wanted else (low, stops)
    return scene * np.float32(2**stops)


def set_key(scene: Floats, kind: str, rng: np.random.Generator) -> Floats:
    """Low key: harder light, highlights as they are, the rest darker. High key: soft, plentiful light, all bright."""
    if kind not in ("low_key", "high_key"):
        return scene
    bright = float(np.percentile(scene[::8, ::8] @ LUMINANCE, 97))
    if kind == "low_key":
        return change_contrast_of_light(scene, rng.uniform(1.25, 1.6), min(max(bright, 0.25), 0.8))
    filled = change_contrast_of_light(scene, rng.uniform(0.5, 0.7), bright)
    return filled * np.float32(rng.uniform(0.65, 0.9) / bright)


def metered_offset_stops(scene: Floats, tone_gain: float, rng: np.random.Generator) -> float:
    """How much brighter than meant the meter takes the scene to be: half of what a plain mean says, as meters of
    zones correct the rest.
    """
    height, width = scene.shape[:2]
    y, x = np.mgrid[0:height:8, 0:width:8].astype(np.float32)
    weights = np.exp(-(((x / width - 0.5) / 0.35) ** 2 + ((y / height - 0.5) / 0.35) ** 2) / 2)
    mean = float((np.minimum(scene[::8, ::8] @ LUMINANCE, 1.5) * weights).sum() / weights.sum())
    middle_grey = 0.18 * 2 / (1 + tone_gain)
    return float(np.clip(0.5 * math.log2(mean / middle_grey) + rng.normal(0.0, 0.25), -1.5, 1.5))


def exif_of(plan: Plan, scene: Floats, subject: Subject, rng: np.random.Generator) -> dict[str, Any]:
    """What the camera wrote down, some of it missing as it is in the field.

    BrightnessValue is APEX: Bv = EV at ISO 100 that the meter would set, less 5.

    Source: Exif 2.32, annex C (APEX units).
    """
    settings = plan.settings
    meant_ev = settings.exposure_value_100 + plan.exposure_error_stops
    offset = metered_offset_stops(scene, settings.camera.tone_gain, rng)
    if plan.is_meter_misled:
        offset = -plan.exposure_error_stops + float(rng.normal(0.0, 0.2))
    exif: dict[str, Any] = {
        "ExposureTime": settings.exposure_time_s,
        "FNumber": settings.f_number,
        "ISO": round(settings.iso),
        "FocalLength": round(settings.focal_length_mm, 1),
        "FocalLengthIn35mmFilm": round(settings.focal_length_35mm),
        "BrightnessValue": round(meant_ev + offset - 5, 2),
        "ExposureMode": int(settings.is_manual and not plan.is_meter_misled),
        "Flash": flash_tag(settings),
        "SubjectArea": subject_area(subject, rng),
        "Model": settings.camera.model,
        "LensModel": settings.camera.lens_model,
        "ImageStabilization": settings.is_stabilised,
    }
    missing = {key for key, share in KEY_SHARES.items() if rng.random() > share}
    if settings.uses_flash:
        missing.add("BrightnessValue")
    return {key: value for key, value in exif.items() if key not in missing}


def flash_tag(settings: Settings) -> int:
    """9: fired, set to fire; 16: off. Source: Exif 2.32, tag Flash."""
    return 9 if settings.uses_flash else 16


def subject_area(subject: Subject, rng: np.random.Generator) -> list[int]:
    """Centre, or centre with width and height, of the place the camera held for the subject; not quite its box.
    Source: Exif 2.32.
    """
    left, top, width, height = subject.box
    middle_x = int(left + width * rng.uniform(0.35, 0.65))
    middle_y = int(top + height * rng.uniform(0.35, 0.65))
    if rng.random() < 0.3:
        return [middle_x, middle_y]
    return [middle_x, middle_y, int(width * rng.uniform(0.4, 0.9)), int(height * rng.uniform(0.4, 0.9))]
