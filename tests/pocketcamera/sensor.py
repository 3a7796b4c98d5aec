"""Lens and sensor: light to the numbers of a raw file and back to linear colours, above `bodies` and `tones`."""

from __future__ import annotations

import math

import cv2
import numpy as np

from pocketcamera.bodies import Body
from pocketcamera.tones import Floats

#: Colours of the sensor of sRGB light; rows sum to 1. Source: own choice, of the size of published matrices.
SENSOR_OF_SRGB = np.array([[0.74, 0.22, 0.04], [0.15, 0.74, 0.11], [0.05, 0.24, 0.71]], np.float32)
SRGB_OF_SENSOR = np.linalg.inv(SENSOR_OF_SRGB).astype(np.float32)
#: Wavelength that diffraction is reckoned for [mm], and the width of a normal curve like it, in wavelengths times
#: f-number. Source: Zhang, Zerubia & Olivo-Marin, Applied Optics 46 (2007).
WAVELENGTH_MM, DIFFRACTION_WIDTH = 550e-6, 0.42
#: Pixels of a frame for each of the sensor, along one side. Source: own choice.
FRAME_SCALE = 0.5
#: Softness of the lens in the middle, and how much more it has in the corners; spreads at most [px].
#: Source: own choice.
MIDDLE_PX, CORNER_MORE_PX, MOST_MIDDLE_PX, MOST_CORNER_PX = (0.28, 0.42), (0.1, 0.38), 0.6, 0.85
#: Share of lenses that show veiling glare, share of light in it, and its spread [px/16]. Source: own choice.
GLARE_SHARE, GLARE, GLARE_SPREAD = 0.6, (0.003, 0.015), 14
#: Vignetting of a lens at f/5.6 and wider [1]. Source: own choice; a quarter of a stop to one stop in the corner.
VIGNETTING = (0.08, 0.45)
#: Mean electrons below which noise is drawn by Poisson's law and not a normal one. Source: own choice.
FEW_ELECTRONS = 400
#: Unevenness of pixels [1]. Source: own choice, of the size that EMVA 1288 reports give.
UNEVENNESS = 0.006
#: ISO above base from which rows show banding, and its size as a share of read noise. Source: own choice.
BANDING_FROM, BANDING_SHARE = 16, 0.15
#: Gains of red and blue that make a scene's light neutral, least and most. Source: own choice; daylight to lamps.
RED_GAINS, BLUE_GAINS = (1.5, 2.3), (1.3, 2.2)
#: Black level, and largest number of the mosaic as it is given to the demosaicing.
BLACK_LEVEL, LARGEST = 1024.0, 65535


def through_lens(light: Floats, body: Body, f_number: float, rng: np.random.Generator) -> Floats:
    """Light behind a lens: less contrast in fine detail, softer and darker corners, diffraction, sometimes glare."""
    height, width = light.shape[:2]
    diffraction = DIFFRACTION_WIDTH * WAVELENGTH_MM * f_number / body.pixel_pitch_mm * FRAME_SCALE
    middle = min(math.hypot(rng.uniform(*MIDDLE_PX), diffraction), MOST_MIDDLE_PX)
    corner = min(middle + rng.uniform(*CORNER_MORE_PX), MOST_CORNER_PX)
    y, x = np.mgrid[:height, :width].astype(np.float32)
    square = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width * width / 4 + height * height / 4)
    sharper, softer = (cv2.GaussianBlur(light, (0, 0), spread) for spread in (middle, corner))
    result = sharper + (softer - sharper) * square[..., None]
    if rng.random() < GLARE_SHARE:
        small = cv2.resize(result, (width // 16, height // 16), interpolation=cv2.INTER_AREA)
        glare = cv2.resize(cv2.GaussianBlur(small, (0, 0), GLARE_SPREAD), (width, height))
        share = rng.uniform(*GLARE)
        result = result * (1 - share) + glare * share
    vignetting = rng.uniform(*VIGNETTING) * min(1, 5.6 / max(f_number, 1.8))
    return np.asarray(result / (1 + vignetting * square)[..., None] ** 1.5, np.float32)


def electrons_of_white(body: Body, iso: float) -> float:
    """Electrons of a green pixel at diffuse white."""
    return body.full_well_e * body.base_iso / iso / body.headroom


def drawn_white_balance(rng: np.random.Generator) -> Floats:
    """Gains of red, green and blue that this light asks for."""
    return np.array([rng.uniform(*RED_GAINS), 1, rng.uniform(*BLUE_GAINS)], np.float32)


def captured(
    light: Floats, body: Body, iso: float, ev: float, white_balance: Floats, rng: np.random.Generator
) -> Floats:
    """Linear sRGB of a sensor's numbers, with its noise, clipping and interpolated colours.

    Args:
        light: Linear sRGB light, 1 is diffuse white.
        body: Whose sensor.
        iso: Sensitivity [ISO].
        ev: Exposure error [stops].
        white_balance: Gains of red, green and blue.
        rng: Draws the noise.
    """
    colours = (light * np.float32(2.0**ev)) @ SENSOR_OF_SRGB.T / white_balance
    mosaic = np.empty(light.shape[:2], np.float32)
    for row, column, colour in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[row::2, column::2] = colours[row::2, column::2, colour]
    white_e = electrons_of_white(body, iso)
    mosaic *= white_e
    np.clip(mosaic, 0, body.full_well_e * 1.5, out=mosaic)
    clipped_e = body.headroom * white_e
    electrons = np.minimum(_with_noise(mosaic, body, iso, rng), np.float32(clipped_e))
    steps = 2**body.bits - 1
    numbers = np.round(electrons / clipped_e * steps) / steps * (LARGEST - BLACK_LEVEL) + BLACK_LEVEL
    # OpenCV names a pattern by its second row: RGGB is "BG", asked for in the order RGB
    code = cv2.COLOR_BayerBG2RGB if body.is_demosaic_plain else cv2.COLOR_BayerBG2RGB_EA
    linear = cv2.cvtColor(np.clip(numbers, 0, LARGEST).astype(np.uint16), code).astype(np.float32)
    linear = (linear - BLACK_LEVEL) / (LARGEST - BLACK_LEVEL) * body.headroom
    balanced = np.minimum(linear * white_balance, body.headroom)
    return np.asarray(balanced @ SRGB_OF_SENSOR.T, np.float32)


def _with_noise(mean_e: Floats, body: Body, iso: float, rng: np.random.Generator) -> Floats:
    """Electrons with shot noise, uneven pixels, read noise and, at high ISO, faint banding."""
    height, width = mean_e.shape
    if mean_e.mean() < FEW_ELECTRONS:
        electrons = rng.poisson(mean_e).astype(np.float32)
    else:
        electrons = np.asarray(
            mean_e + np.sqrt(mean_e) * rng.standard_normal((height, width), dtype=np.float32), np.float32
        )
    electrons *= 1 + UNEVENNESS * rng.standard_normal((height, width), dtype=np.float32)
    read_noise_e = body.read_noise_e * (body.base_iso / iso) ** 0.12
    electrons += read_noise_e * rng.standard_normal((height, width), dtype=np.float32)
    if iso / body.base_iso >= BANDING_FROM:
        electrons += (read_noise_e * BANDING_SHARE * rng.standard_normal((height, 1))).astype(np.float32)
    return electrons
