"""From light on the sensor to a JPEG: full well, electrons, read noise, mosaic, development as cameras do it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from degraded.scenes import Light

#: How far above white, which lies 2.5 stops above mid-grey, a pixel is full [stops]. Source: ISO 12232 leaves half a
#: stop above the brightest tone that is expected; cameras that expose for the highlights leave more.
HEADROOM_STOPS = (0.3, 1.8)
#: Light from which the shoulder bends the tone curve.
KNEE = 0.55


@dataclass(frozen=True)
class Camera:
    """One body and how it develops.

    Attributes:
        full_well_e: electrons that light of 1 makes in a pixel at ISO 100.
        read_noise_e: [electrons].
        headroom: light at which a pixel is full, 1 for white; a shoulder of the tone curve brings it down to white.
        noise_reduction: 0 none to 1 strong.
        is_edge_keeping: whether it spares edges or only blurs.
        sharpening: amount of the unsharp mask.
        sharpening_radius_px: [px].
        contrast: of the tone curve around mid-grey, 1 is plain.
        quality: of the JPEG.
        edge_aware: how the mosaic is filled in.
        lens_px: standard deviation of the lens's own blur in the middle [px].
        corner_px: the same in the corners [px].
        corner_stops: how much darker the corners are [stops].
    """

    full_well_e: float
    read_noise_e: float
    headroom: float
    noise_reduction: float
    is_edge_keeping: bool
    sharpening: float
    sharpening_radius_px: float
    contrast: float
    quality: int
    edge_aware: bool
    lens_px: float
    corner_px: float
    corner_stops: float


def any_camera(rng: np.random.Generator) -> Camera:
    """A camera of an ordinary kind, from small old compacts to large sensors."""
    lens_px = float(rng.uniform(0.2, 0.75))
    return Camera(
        full_well_e=float(10 ** rng.uniform(4.1, 4.8)),
        read_noise_e=float(rng.uniform(1.5, 9)),
        headroom=float(2 ** rng.uniform(*HEADROOM_STOPS)),
        noise_reduction=float(np.clip(rng.normal(0.4, 0.3), 0, 1)),
        is_edge_keeping=bool(rng.uniform() < 0.75),
        sharpening=float(np.clip(rng.normal(0.6, 0.45), 0, 1.8)),
        sharpening_radius_px=float(rng.uniform(0.6, 1.3)),
        contrast=float(rng.uniform(0.85, 1.35)),
        quality=int(rng.integers(78, 98)),
        edge_aware=bool(rng.uniform() < 0.7),
        lens_px=lens_px,
        corner_px=lens_px + float(rng.uniform(0, 0.7)),
        corner_stops=float(rng.uniform(0, 0.8)),
    )


def develop(light: Light, iso: float, camera: Camera, rng: np.random.Generator) -> tuple[NDArray[np.uint8], float]:
    """The picture a camera makes of the light on its sensor.

    Args:
        light: 1 is white and 0.18 mid-grey of a right exposure, at any ISO.
        iso: gain; the electrons are divided by it.
        camera: body and development.
        rng: for the electrons.

    Returns:
        (rows, columns, 3) blue, green, red codes, and the standard deviation of luma noise [codes of 8 bits].
    """
    light = light[: light.shape[0] // 2 * 2, : light.shape[1] // 2 * 2]
    full = camera.full_well_e * 100 / iso
    mosaic = _mosaic(np.maximum(through_lens(light, camera), 0))
    deviation = np.sqrt(mosaic / full + (camera.read_noise_e / full) ** 2 * max(1.0, 1.0 + 0.05 * np.log2(iso / 100)))
    noisy = np.clip(mosaic + deviation * rng.standard_normal(mosaic.shape, np.float32), 0, camera.headroom)
    shown = _finished(_demosaiced(noisy, camera), camera)
    # a third of the rows is enough to know the noise by
    some = slice(shown.shape[0] // 3 // 2 * 2, shown.shape[0] * 2 // 3 // 2 * 2)
    clean = _finished(_demosaiced(np.minimum(mosaic[some], np.float32(camera.headroom)), camera), camera)
    difference = (shown[some].astype(np.float32) - clean.astype(np.float32)) @ np.float32([0.114, 0.587, 0.299])
    return shown, float(difference.std())


def through_lens(light: Light, camera: Camera) -> Light:
    """Light as the lens draws it: sharpest and brightest in the middle."""
    rows, columns = light.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    from_middle = np.hypot(y - rows / 2, x - columns / 2)[:, :, None] / np.float32(np.hypot(rows, columns) / 2)
    middle, corner = (
        cv2.GaussianBlur(light, (0, 0), sigma_px) if sigma_px > 0.25 else light
        for sigma_px in (camera.lens_px, camera.corner_px)
    )
    drawn = middle + from_middle**3 * (corner - middle)
    return np.asarray(drawn * 2 ** (-np.float32(camera.corner_stops) * from_middle**2), np.float32)


def _mosaic(light: Light) -> Light:
    mosaic = np.empty(light.shape[:2], np.float32)
    mosaic[0::2, 0::2] = light[0::2, 0::2, 0]
    mosaic[0::2, 1::2] = light[0::2, 1::2, 1]
    mosaic[1::2, 0::2] = light[1::2, 0::2, 1]
    mosaic[1::2, 1::2] = light[1::2, 1::2, 2]
    return mosaic


def _demosaiced(mosaic: Light, camera: Camera) -> NDArray[np.uint16]:
    """All colours at every pixel, as the square root of light (of the headroom) in 16 bits: shadows keep their steps,
    edges weigh as they are seen."""
    codes = (np.sqrt(mosaic / np.float32(camera.headroom)) * 65535).astype(np.uint16)
    code = cv2.COLOR_BayerRGGB2BGR_EA if camera.edge_aware else cv2.COLOR_BayerRGGB2BGR
    return np.asarray(cv2.demosaicing(codes, code), np.uint16)


def _finished(roots: NDArray[np.uint16], camera: Camera) -> NDArray[np.uint8]:
    """Tone curve, noise reduction, sharpening: codes of 8 bits."""
    picture = np.asarray(_tone_curve(camera.contrast, camera.headroom)[roots], np.float32)
    if camera.noise_reduction > 0.05:
        brightness = cv2.cvtColor(picture, cv2.COLOR_BGR2YCrCb)
        plain = np.ascontiguousarray(brightness[:, :, 0])
        strength = 8 + 30 * camera.noise_reduction
        smooth = (
            cv2.bilateralFilter(plain, 5, strength, 1.2)
            if camera.is_edge_keeping
            else cv2.GaussianBlur(plain, (0, 0), 0.9)
        )
        brightness[:, :, 0] += camera.noise_reduction * (smooth - brightness[:, :, 0])
        for channel in (1, 2):
            brightness[:, :, channel] = cv2.GaussianBlur(
                brightness[:, :, channel], (0, 0), 0.5 + 2 * camera.noise_reduction
            )
        picture = cv2.cvtColor(brightness, cv2.COLOR_YCrCb2BGR)
    if camera.sharpening > 0.02:
        blurred = cv2.GaussianBlur(picture, (0, 0), camera.sharpening_radius_px)
        picture = picture + camera.sharpening * (picture - blurred)
    return np.asarray(np.clip(picture + 0.5, 0, 255), np.uint8)


@lru_cache(maxsize=4)
def _tone_curve(contrast: float, headroom: float) -> NDArray[np.float32]:
    """Codes from 0 to 255 by the square root of light (of the headroom) in 16 bits: a shoulder, and the sRGB curve
    with more or less contrast around mid-grey."""
    light = shouldered(np.linspace(0, 1, 65536) ** 2 * headroom, headroom)
    codes = np.where(light <= 0.0031308, light * 12.92, 1.055 * np.power(np.maximum(light, 1e-9), 1 / 2.4) - 0.055)
    middle = 0.461  # the code of mid-grey
    straight = middle + (codes - middle) * contrast
    low = middle * (codes / middle) ** contrast
    high = 1 - (1 - middle) * (np.maximum(1 - codes, 0) / (1 - middle)) ** contrast
    curve = 0.3 * straight + 0.7 * np.where(codes < middle, low, high)
    if contrast < 1:  # what is full is white and what is dark is black, however soft the rest
        curve = (curve - curve[0]) / (curve[-1] - curve[0])
    return np.asarray(np.clip(curve, 0, 1) * 255, np.float32)


def shouldered(light: NDArray[np.float64], headroom: float) -> NDArray[np.float64]:
    """Light up to the headroom brought down to 1: as it is below the knee, above it by its logarithm, without a
    kink."""
    if headroom < 1.001:
        return light
    steepness = brentq(lambda a: a / np.log1p(a) - (headroom - KNEE) / (1 - KNEE), 1e-9, 1e4)
    above = np.log1p(steepness * np.maximum(light - KNEE, 0) / (headroom - KNEE)) / np.log1p(steepness)
    return np.asarray(np.where(light < KNEE, light, KNEE + (1 - KNEE) * above))


def plain_grey(light: Light) -> NDArray[np.uint8]:
    """Light as a plain camera would encode it, in grey, with a little noise."""
    grey = np.clip(light @ np.float32([0.299, 0.587, 0.114]), 0, 1)
    noise = np.random.default_rng(3).normal(0, 0.8, grey.shape)
    return np.asarray(np.clip(grey ** (1 / 2.2) * 255 + noise + 0.5, 0, 255), np.uint8)


def jpeg(picture: NDArray[np.uint8], quality: int) -> bytes:
    """The picture as a JPEG file."""
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return bytes(data)
