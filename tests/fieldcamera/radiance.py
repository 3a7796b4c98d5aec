"""From a finished photograph back to the light of the scene, and the tone curve forward again.

Scene values are linear and relative: 1.0 is what a sensor just clips at when the frame is exposed as meant.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]


def decode_srgb(encoded: Floats) -> Floats:
    """Linear light of encoded values: ((v + 0.055) / 1.055)^2.4, below 0.04045 v / 12.92. Source: IEC 61966-2-1."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4).astype(np.float32)


def encode_srgb(linear: Floats) -> Floats:
    """Encoded values of linear light: 1.055 v^(1/2.4) - 0.055, below 0.0031308 12.92 v. Source: IEC 61966-2-1."""
    safe = np.clip(linear, 0.0, 1.0)
    return np.where(safe <= 0.0031308, 12.92 * safe, 1.055 * safe ** (1 / 2.4) - 0.055).astype(np.float32)


def tone_curve(scene: Floats, gain: float, contrast: float) -> Floats:
    """A camera's tone curve in linear light: g s (1 + s) / (1 + g s), with more contrast about middle grey.

    Shadows are brightened by the gain, highlights roll off, clipping (s = 1) goes to white:
    the whole is normed by 2 g / (1 + g).

    Args:
        scene: Linear values, 1.0 at clipping.
        gain: How much darker than its finished picture the camera exposes to keep highlights [1], 1 to 4.
        contrast: Exponent of the encoded values about 0.46 [1], 1 is none.

    Returns:
        Linear values of the finished picture in [0, 1].
    """
    s = np.clip(scene, 0.0, 1.0)
    finished = gain * s * (1 + s) / (1 + gain * s) * (1 + gain) / (2 * gain)
    encoded = encode_srgb(finished)
    pivot = 0.46
    low = pivot * (np.minimum(encoded, pivot) / pivot) ** contrast
    high = 1 - (1 - pivot) * ((1 - np.maximum(encoded, pivot)) / (1 - pivot)) ** contrast
    return decode_srgb(np.where(encoded < pivot, low, high).astype(np.float32))


def undo_tone_curve(encoded: NDArray[np.uint8], gain: float, contrast: float) -> Floats:
    """Scene values whose `tone_curve` is the given picture of 256 levels, by a table."""
    finished = decode_srgb(np.arange(256, dtype=np.float32) / 255)
    steps = np.linspace(0.0, 1.0, 4096, dtype=np.float32) ** 2
    table = np.interp(finished, tone_curve(steps, gain, contrast), steps).astype(np.float32)
    return table[encoded]


def apply_tone_curve(linear: Floats, gain: float, contrast: float) -> Floats:
    """Encoded picture of linear values in [0, 1] by `tone_curve`, by a table of 65,536 steps."""
    table = encode_srgb(tone_curve(np.linspace(0.0, 1.0, 65536, dtype=np.float32), gain, contrast))
    return table[(np.clip(linear, 0.0, 1.0) * 65535).astype(np.uint16)]


def scene_radiance(encoded: NDArray[np.uint8], gain: float, contrast: float, rng: np.random.Generator) -> Floats:
    """Scene light of a finished photograph, with the highlights that it had clipped extended.

    Where all channels are near white the picture says only "at least this bright": such places get up to three
    more stops, more in the middle of a large white area than at its edge.

    Args:
        encoded: Encoded sRGB, 0 to 255.
        gain, contrast: Tone curve that is taken to have made the picture, see `tone_curve`.
        rng: Draws how far highlights go.

    Returns:
        Linear scene values, 1.0 at clipping when exposed as meant, above 1.0 where the scene is brighter.
    """
    scene = undo_tone_curve(encoded, gain, contrast)
    whiteness = np.clip((encoded.min(axis=2).astype(np.float32) - 237) / 15, 0.0, 1.0)
    small = cv2.resize(whiteness, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    inner = cv2.resize(cv2.GaussianBlur(small, (0, 0), 8), (encoded.shape[1], encoded.shape[0]))
    stops = whiteness * inner * rng.uniform(0.5, 3.0)
    return (scene * np.exp2(stops)[..., None]).astype(np.float32)


def change_contrast_of_light(scene: Floats, power: float, anchor: float) -> Floats:
    """Harder (power > 1) or softer light: luminance goes to a (Y / a)^p, so values at the anchor stay and colours are
    kept.
    """
    luminance = np.maximum(scene @ np.array([0.2126, 0.7152, 0.0722], np.float32), 1e-5)
    return (scene * ((luminance / anchor) ** (power - 1.0))[..., None]).astype(np.float32)
