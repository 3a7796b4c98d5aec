"""Tones and light: sRGB values, the shoulder of a camera's tone curve, and light as it was before both.

Light is RGB float32; 1 is diffuse white. The lowest floor beside `bodies`.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Codes = NDArray[np.uint8]
Mask = NDArray[np.bool_]

#: Range that highlights of a photograph are given back, in units of diffuse white. Source: own choice; 1.6 stops.
OPENED_HEADROOM = 3.0
#: Part of a scene that may be at full scale in all colours before it counts as burnt [1]. Source: own choice.
BURNT_SHARE = 0.0005
#: Value from which a pixel is at full scale, and how far into a burnt area light still grows [px]. Source: own choice.
BURNT_FROM, BURNT_DEPTH_PX = 0.9, 80
#: Rec. 709 weights of luminance, two digits. Source: ITU-R BT.709-6.
LUMINANCE = np.array([0.21, 0.72, 0.07], np.float32)
#: Weights of the colours in how far a highlight was compressed, beside that of the fullest one. Source: own choice.
COMPRESSED_WEIGHTS, FULLEST_SHARE = np.array([0.25, 0.6, 0.15], np.float32), 0.4


def _steepness(length: float) -> float:
    """Steepness of a shoulder of this length that joins the straight part without a kink."""
    steepness = 1 - 1e-3
    for _ in range(60):
        steepness = 1 - math.exp(-steepness * length)
    return steepness


def shoulder(light: Floats, headroom: float) -> Floats:
    """Light in [0, headroom] as linear display values in [0, 1]: straight below a half, bent above."""
    length = 2 * headroom - 1
    steepness = _steepness(length) if length > 1.05 else 0.1
    kept = np.clip(light, 0, headroom)
    beyond = 2 * kept - 1
    bent = (1 - np.exp(-steepness * np.maximum(beyond, 0))) / (1 - math.exp(-steepness * length))
    return np.where(beyond < 0, kept, 0.5 + 0.5 * bent).astype(np.float32)


def without_shoulder(values: Floats) -> Floats:
    """Light of linear display values in [0, 1], as if a shoulder had bent it from `OPENED_HEADROOM`."""
    length = 2 * OPENED_HEADROOM - 1
    steepness = _steepness(length)
    bent = np.clip(2 * values - 1, 0, 1)
    beyond = -np.log(1 - bent * (1 - math.exp(-steepness * length))) / steepness
    return np.where(values < 0.5, values, 0.5 + 0.5 * beyond).astype(np.float32)


def srgb_decoded(values: NDArray[np.floating]) -> Floats:
    """Linear values of sRGB values in [0, 1]. Source: IEC 61966-2-1."""
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4).astype(np.float32)


def srgb_encoded(values: Floats) -> Floats:
    """sRGB values in [0, 1] of linear values. Source: IEC 61966-2-1."""
    kept = np.clip(values, 0, 1)
    return np.where(kept <= 0.0031308, 12.92 * kept, 1.055 * np.power(kept, 1 / 2.4) - 0.055).astype(np.float32)


#: Linear value of each 8-bit code.
LINEAR_OF_CODE = srgb_decoded(np.arange(256, dtype=np.float32) / 255)


def grey(codes: Codes) -> Floats:
    """Luma of 8-bit codes, 0 to 255. Source: ITU-R BT.601."""
    luma = 0.299 * codes[..., 0] + 0.587 * codes[..., 1] + 0.114 * codes[..., 2]
    return np.asarray(luma, np.float32)


def key_of(codes: Codes) -> float:
    """Geometric mean of luminance [1]: about 0.1 to 0.2 for most pictures."""
    luminance = LINEAR_OF_CODE[codes] @ LUMINANCE
    return float(np.exp(np.log(luminance[::4, ::4] + 0.003).mean()))


def opened(codes: Codes) -> Floats:
    """Light of a photograph: highlights are given back their range, burnt areas grow brighter towards their middle."""
    linear = LINEAR_OF_CODE[codes]
    # a colour with one full channel is not burnt
    fullest = FULLEST_SHARE * linear.max(-1)
    compressed = np.minimum(fullest + (1 - FULLEST_SHARE) * (linear @ COMPRESSED_WEIGHTS), 0.985)
    gain = without_shoulder(compressed) / np.maximum(compressed, 1e-4)
    burnt = (linear.min(-1) > BURNT_FROM).astype(np.uint8)
    if burnt.mean() > BURNT_SHARE:
        inside = np.minimum(cv2.distanceTransform(burnt, cv2.DIST_L2, 3), BURNT_DEPTH_PX)
        gain = gain * (1 + (cv2.GaussianBlur(inside, (0, 0), 4) / BURNT_DEPTH_PX) ** 1.3)
    return np.asarray(linear * gain[..., None], np.float32)
