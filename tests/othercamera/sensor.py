"""From light on the sensor to a JPEG: electrons, mosaic, demosaic, noise reduction, tone, sharpening, compression."""

from __future__ import annotations

import cv2
import numpy as np

from othercamera.shots import Body
from othercamera.sources import F32, luminance

#: Share of each colour's light that each filter of the mosaic lets through (rows: the filters red, green, blue).
FILTERS = np.array([[0.78, 0.18, 0.04], [0.14, 0.76, 0.10], [0.03, 0.20, 0.77]], np.float32)
#: How much less the red and blue pixels of a sensor collect in daylight than green ones.
BALANCE = np.array([0.52, 1.0, 0.65], np.float32)
BLACK_SHARE = 1 / 32
#: Steps of a tone curve, even in the square root of light.
CURVE_STEPS = 8192

# Malvar, He & Cutler 2004 (ICASSP): linear interpolation corrected by the gradient of the colour that was measured.
_GREEN = (
    np.array([[0, 0, -1, 0, 0], [0, 0, 2, 0, 0], [-1, 2, 4, 2, -1], [0, 0, 2, 0, 0], [0, 0, -1, 0, 0]], np.float32) / 8
)
_ROW = (
    np.array(
        [[0, 0, 0.5, 0, 0], [0, -1, 0, -1, 0], [-1, 4, 5, 4, -1], [0, -1, 0, -1, 0], [0, 0, 0.5, 0, 0]], np.float32
    )
    / 8
)
_CROSS = (
    np.array(
        [[0, 0, -1.5, 0, 0], [0, 2, 0, 2, 0], [-1.5, 0, 6, 0, -1.5], [0, 2, 0, 2, 0], [0, 0, -1.5, 0, 0]], np.float32
    )
    / 8
)


def electrons_per_unit(body: Body, iso: int) -> float:
    """Electrons of a green pixel where the light is diffuse white and the exposure right."""
    return body.full_well * body.base_iso / iso / body.headroom


def mosaic(light: F32, body: Body, iso: int, rng: np.random.Generator | None) -> F32:
    """What each pixel recorded, 1 = saturated, black taken off; without a generator there is no noise."""
    seen = (light @ FILTERS.T) * BALANCE * electrons_per_unit(body, iso)
    raw = np.array(seen[:, :, 1])
    raw[0::2, 0::2], raw[1::2, 1::2] = seen[0::2, 0::2, 0], seen[1::2, 1::2, 2]
    full = body.full_well * body.base_iso / iso
    if rng is not None:
        photons = raw + np.sqrt(np.maximum(raw, 0)) * rng.standard_normal(raw.shape, dtype=np.float32)
        dim = raw < 60
        photons[dim] = rng.poisson(raw[dim])
        raw = photons + body.read_noise * rng.standard_normal(raw.shape, dtype=np.float32)
        raw *= 1 + 0.004 * np.random.default_rng(5).standard_normal(raw.shape, dtype=np.float32)
    levels = (2.0**body.bits - 1) * (1 - BLACK_SHARE)
    floor = -BLACK_SHARE / (1 - BLACK_SHARE)
    share = np.clip(raw / full, floor, 1)
    return np.asarray(np.round(share * levels) / levels if rng is not None else share, np.float32)


def demosaiced(raw: F32) -> F32:
    """Three colours in each pixel from one."""
    green, cross = cv2.filter2D(raw, -1, _GREEN), cv2.filter2D(raw, -1, _CROSS)
    row, column = cv2.filter2D(raw, -1, _ROW), cv2.filter2D(raw, -1, np.ascontiguousarray(_ROW.T))
    full = np.empty((*raw.shape, 3), np.float32)
    red, blue, on_red_row, on_blue_row = np.s_[0::2, 0::2], np.s_[1::2, 1::2], np.s_[0::2, 1::2], np.s_[1::2, 0::2]
    full[:, :, 1] = raw
    full[:, :, 1][red], full[:, :, 1][blue] = green[red], green[blue]
    for channel, own, other, level, upright in (
        (0, red, blue, on_red_row, on_blue_row),
        (2, blue, red, on_blue_row, on_red_row),
    ):
        plane = full[:, :, channel]
        plane[own], plane[other], plane[level], plane[upright] = raw[own], cross[other], row[level], column[upright]
    return full


def _guided(plane: F32, radius: int, smoothness: float) -> F32:
    size = 2 * radius + 1, 2 * radius + 1
    mean = cv2.blur(plane, size)
    variance = np.maximum(cv2.blur(plane * plane, size) - mean**2, 0)
    slope = variance / (variance + smoothness)
    return np.asarray(cv2.blur(slope, size) * plane + cv2.blur(mean * (1 - slope), size), np.float32)


def less_noise(light: F32, body: Body, iso: int) -> F32:
    """In-camera noise reduction on square roots, where photon noise is even: little on brightness, more on colour."""
    root = np.sqrt(np.maximum(light, 0))
    spread = 0.5 / np.sqrt(electrons_per_unit(body, iso))
    bright = np.asarray(luminance(root), np.float32)
    colour = np.asarray(root - bright[:, :, None], np.float32)
    strength = body.reduction_strength * spread
    if body.reduction == "guided":
        bright = _guided(bright, 2, float((1.2 * strength) ** 2))
    elif body.reduction == "bilateral":
        bright = np.asarray(cv2.bilateralFilter(bright, 5, float(2.0 * strength), 1.6), np.float32)
    blur = float(np.clip(60 * spread * (0.5 + body.reduction_strength), 0, 4))
    if blur > 0.4:
        colour = np.asarray(cv2.GaussianBlur(colour, (0, 0), blur), np.float32)
    return np.asarray(np.maximum(bright[:, :, None] + colour, 0) ** 2, np.float32)


def tone_curve(body: Body) -> F32:
    """Rendered value of the square of each step: a shoulder from a knee to full pixels, sRGB, contrast about grey."""
    light = (np.linspace(0, 1, CURVE_STEPS) ** 2 * body.headroom).astype(np.float64)
    knee, white = 0.72 - 0.4 * body.contrast, 0.99 * body.headroom
    above = np.clip(light - knee, 0, None)
    share = (white - knee) / (1 - knee)
    linear = np.clip(np.where(light > knee, knee + above / (1 + above * (share - 1) / (white - knee)), light), 0, 1)
    value = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    middle, steep = 0.461, 1 + body.contrast
    lower, upper = middle * (value / middle) ** steep, 1 - (1 - middle) * ((1 - value) / (1 - middle)) ** steep
    return np.where(value < middle, lower, upper).astype(np.float32)


def toned(light: F32, body: Body) -> F32:
    """Rendered values 0..1: more or less saturation, then the tone curve on each colour."""
    grey = luminance(light)[:, :, None]
    share = np.clip((grey + body.saturation * (light - grey)) / body.headroom, 0, 1)
    steps = (np.sqrt(share) * (CURVE_STEPS - 1) + 0.5).astype(np.int32)
    return np.asarray(tone_curve(body)[steps], np.float32)


def sharpened(value: F32, body: Body) -> F32:
    """Unsharp mask on brightness, weak where nothing is."""
    radius, amount = body.sharpening
    bright = luminance(value)
    detail = bright - cv2.GaussianBlur(bright, (0, 0), radius)
    detail *= np.minimum(np.abs(detail) / 0.01, 1)
    return np.asarray(np.clip(value + amount * detail[:, :, None], 0, 1), np.float32)


def developed(light: F32, body: Body, iso: int, rng: np.random.Generator | None) -> F32:
    """Light on the sensor to rendered values 0..1."""
    raw = mosaic(light, body, iso, rng)
    camera = np.clip(demosaiced(raw) * body.headroom / BALANCE, 0, body.headroom)
    colours = camera @ np.linalg.inv(FILTERS).T.astype(np.float32)
    return sharpened(toned(less_noise(np.asarray(colours, np.float32), body, iso), body), body)


def as_jpeg(value: F32, quality: int, fine_colour: bool) -> bytes:
    """A JPEG of rendered values."""
    pixels = np.round(value[:, :, ::-1] * 255).astype(np.uint8)
    sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444 if fine_colour else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420
    options = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    return cv2.imencode(".jpg", pixels, options)[1].tobytes()
