"""What a camera does after the sensor: noise reduction, tone curve, sharpening, JPEG with its settings."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from fieldcamera.lens import Floats
from fieldcamera.radiance import apply_tone_curve
from fieldcamera.sensor import Camera

_EXIF_IFD = 0x8769
_TAGS = {
    "ExposureTime": 33434,
    "FNumber": 33437,
    "ISO": 34855,
    "BrightnessValue": 37379,
    "Flash": 37385,
    "FocalLength": 37386,
    "SubjectArea": 37396,
    "ExposureMode": 41986,
    "FocalLengthIn35mmFilm": 41989,
    "LensModel": 42036,
}


def reduce_noise(encoded: Floats, camera: Camera, iso: float) -> Floats:
    """Noise reduction in encoded values: a bilateral filter on luma, a Gaussian on chroma, stronger with each stop of
    ISO.

    Source: bilateral filter; Tomasi & Manduchi, Bilateral filtering for gray and color images, ICCV 1998.
    """
    stops = max(0.0, math.log2(iso * camera.crop_factor / 200))
    luma_chroma = cv2.cvtColor(encoded, cv2.COLOR_RGB2YCrCb)
    luma = luma_chroma[..., 0]
    if stops > 0:
        spread = 0.012 * camera.luma_denoising * 1.32**stops
        smoothed = cv2.bilateralFilter(luma, 5, spread, 1.3)
        luma_chroma[..., 0] = luma + (smoothed - luma) * min(0.8, 0.3 + 0.08 * stops)
        sigma = 0.6 + 0.35 * camera.chroma_denoising * stops
        luma_chroma[..., 1:] = cv2.GaussianBlur(luma_chroma[..., 1:], (0, 0), sigma)
    return cv2.cvtColor(luma_chroma, cv2.COLOR_YCrCb2RGB)


def sharpen(encoded: Floats, amount: float, sigma_px: float) -> Floats:
    """Unsharp mask on luma: y + amount (y - blurred y), held to ±0.08 so that edges get no glaring fringes."""
    luma = cv2.transform(encoded, np.array([[0.299, 0.587, 0.114]], np.float32))
    mask = np.clip(amount * (luma - cv2.GaussianBlur(luma, (0, 0), sigma_px)), -0.08, 0.08)
    return encoded + mask[..., None]


def develop(linear: Floats, camera: Camera, iso: float, rng: np.random.Generator) -> Floats:
    """Finished picture in encoded values [0, 1] of demosaiced linear values."""
    encoded = apply_tone_curve(linear, camera.tone_gain, camera.tone_contrast)
    encoded = reduce_noise(encoded, camera, iso)
    stops = max(0.0, math.log2(iso / 400))
    amount = camera.sharpening * rng.uniform(0.8, 1.2) * 0.93**stops
    return np.clip(sharpen(encoded, amount, rng.uniform(0.8, 1.2)), 0.0, 1.0)


def write_jpeg(path: Path, encoded: Floats, exif: dict[str, Any], camera: Camera, quality: int) -> None:
    """The frame as a JPEG with its settings, written beside and then put in place, so a frame is whole or not there."""
    block = Image.Exif()
    block[271] = camera.model.split()[0]
    if "Model" in exif:
        block[272] = exif["Model"]
    block.get_ifd(_EXIF_IFD).update({tag: exif[name] for name, tag in _TAGS.items() if name in exif})
    picture = Image.fromarray(np.round(encoded * 255).astype(np.uint8))
    part = path.with_suffix(".part")
    picture.save(part, "JPEG", quality=quality, subsampling=camera.chroma_subsampling, exif=block)
    part.replace(path)
