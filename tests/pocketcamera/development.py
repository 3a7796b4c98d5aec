"""Development in the camera: noise reduction, tone curve, contrast, colour, sharpening; above `sensor`."""

from __future__ import annotations

import math

import cv2
import numpy as np

from pocketcamera.bodies import Body
from pocketcamera.sensor import electrons_of_white
from pocketcamera.tones import Codes, Floats, shoulder, srgb_encoded

#: Offset of the root in which shot noise is even [1].
ROOT_OFFSET = 0.002
#: Weights of luma in noise reduction and in sharpening. Source: own choice.
ROOT_LUMA, SHOWN_LUMA = np.array([0.3, 0.55, 0.15], np.float32), np.array([0.3, 0.59, 0.11], np.float32)
#: Shares of noise that each octave of detail, finest first, is freed of: brightness and colour. Source: own choice.
LUMA_SHARES, CHROMA_SHARES = (0.75, 0.36, 0.16), (1.6, 0.9, 0.5)
#: Thresholds below which noise reduction is left out. Source: own choice.
LEAST_LUMA, LEAST_CHROMA = 0.001, 0.003
#: Entries of the tone table.
N_TONES = 16384


def developed(linear: Floats, body: Body, iso: float, rng: np.random.Generator) -> Codes:
    """Finished 8-bit codes of what the sensor captured."""
    return _finished(_less_noisy(linear, body, electrons_of_white(body, iso), rng), body, rng)


def _octaves(values: Floats, n_octaves: int) -> tuple[list[Floats], Floats]:
    """Detail of each octave, finest first, and what is left. Source: a trous transform with a cubic B-spline."""
    details = []
    for octave in range(n_octaves):
        spline = np.zeros(4 * 2**octave + 1, np.float32)
        spline[:: 2**octave] = np.array([1, 4, 6, 4, 1]) / 16
        smooth = cv2.sepFilter2D(values, -1, spline, spline, borderType=cv2.BORDER_REFLECT_101)
        details.append(values - smooth)
        values = np.asarray(smooth, np.float32)
    return details, values


def _shrunk(values: Floats, thresholds: tuple[float, ...]) -> Floats:
    """Values whose detail is made smaller by a threshold in each octave."""
    details, result = _octaves(values, len(thresholds))
    for detail, threshold in zip(details, thresholds, strict=True):
        result = result + np.sign(detail) * np.maximum(np.abs(detail) - np.float32(threshold), 0)
    return result


def _less_noisy(linear: Floats, body: Body, white_e: float, rng: np.random.Generator) -> Floats:
    """Noise reduction in the root of light, where shot noise is even; colour is smoothed more than brightness."""
    noise = 0.5 / math.sqrt(white_e) * math.sqrt(1 + body.read_noise_e**2 / max(0.1 * white_e, 1))
    root = np.sqrt(np.maximum(linear, 0) + ROOT_OFFSET)
    luma = root @ ROOT_LUMA
    chroma = root - luma[..., None]
    strength = body.luma_denoising * rng.uniform(0.7, 1.3) * min(1.25, 0.55 + noise * 22)
    grain = np.float32(rng.uniform(0.35, 0.65))
    if noise * strength > LEAST_LUMA:
        smooth = _shrunk(luma, tuple(1.2 * noise * share * strength for share in LUMA_SHARES))
        luma = smooth + (luma - smooth) * grain
    chroma_noise = body.chroma_denoising * rng.uniform(0.8, 1.2) * noise
    if chroma_noise > LEAST_CHROMA:
        half = np.asarray(cv2.resize(chroma, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.float32)
        smooth = _shrunk(half, tuple(chroma_noise * share for share in CHROMA_SHARES))
        size = (linear.shape[1], linear.shape[0])
        chroma = np.asarray(cv2.resize(smooth, size, interpolation=cv2.INTER_LINEAR), np.float32)
    root = np.maximum(luma[..., None] + chroma, 0)
    return np.asarray(np.maximum(root * root - ROOT_OFFSET, 0), np.float32)


def _finished(linear: Floats, body: Body, rng: np.random.Generator) -> Codes:
    """Tone curve, contrast, colourfulness and sharpening as this camera does them."""
    steps = np.linspace(0, 1, N_TONES, dtype=np.float32)
    table = srgb_encoded(shoulder(steps * steps * body.headroom, body.headroom))
    place = np.sqrt(np.clip(linear, 0, body.headroom) * np.float32(1 / body.headroom)) * np.float32(N_TONES - 1)
    shown = table[(place + np.float32(0.5)).astype(np.uint16)]
    contrast = np.float32(np.clip(body.contrast + rng.normal(0, 0.07), 0, 0.55))
    shown = shown + contrast * shown * (1 - shown) * (2 * shown - 0.92)
    colourfulness = np.float32(1 + rng.normal(0.03, 0.06))
    luma = shown @ SHOWN_LUMA
    shown = luma[..., None] + (shown - luma[..., None]) * colourfulness
    strength = body.sharpening * rng.uniform(0.5, 1.25)
    detail = luma - cv2.GaussianBlur(luma, (0, 0), body.sharpening_radius_px)
    detail = np.sign(detail) * np.maximum(np.abs(detail) - 0.004, 0)
    shown = shown + np.clip(detail * strength, -0.12, 0.12)[..., None]
    return np.asarray(np.clip(shown, 0, 1) * 255 + 0.5).astype(np.uint8)
