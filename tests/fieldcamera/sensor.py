"""Cameras and their sensors: light to electrons, electrons to numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from fieldcamera.lens import Floats

ADC_MAXIMUM = 2**14 - 1
#: Above so many electrons at clipping, a normal distribution stands for the Poisson distribution: shadows still hold
#: dozens.
FULL_WELL_FOR_NORMAL_E = 4000.0


@dataclass(frozen=True)
class Camera:
    """A camera as it matters here. The names are invented; the numbers are of the size that published measurements
    give.
    """

    model: str
    lens_model: str
    crop_factor: float
    base_iso: int
    highest_iso: int
    full_well_e: float  # electrons at base ISO that clip
    read_noise_low_e: float  # at high ISO
    read_noise_high_e: float  # at base ISO
    stabilisation_stops: float
    widest_f_number: float
    shortest_35mm: float
    longest_35mm: float
    luma_denoising: float  # strength of noise reduction, 1 is usual
    chroma_denoising: float
    sharpening: float
    tone_gain: float
    tone_contrast: float
    chroma_subsampling: int  # Pillow's number: 0 is 4:4:4, 1 is 4:2:2, 2 is 4:2:0


#: Bodies with one of their lenses; the numbers in the order of `Camera`.
_MERIDIAN_6 = Camera(
    "FC Meridian 6", "FC 24-105mm F4", 1.0, 100, 51200, 60000, 1.8, 5.0, 4.0, 4.0, 24, 105, 1.0, 1.0, 0.7, 1.7, 1.08, 0
)
_D450 = Camera(
    "Harrow D450", "Harrow 18-55mm F3.5-5.6", 1.5, 100, 25600, 32000, 2.4, 4.5, 0.0, 3.5, 27, 83, 0.7, 1.2, 0.5, 2.4,
    1.12, 1,
)  # fmt: skip
_X2 = Camera(
    "Sorrel X2", "Sorrel 16-80mm F4", 1.52, 160, 25600, 30000, 2.0, 3.5, 4.5, 4.0, 24, 122, 1.3, 0.8, 0.9, 2.0, 1.0, 2
)
_G10 = Camera(
    "Pinnace G10", "Pinnace 12-60mm F2.8-4", 2.0, 200, 12800, 25000, 2.2, 3.5, 5.0, 2.8, 24, 120, 1.2, 1.2, 1.0, 2.6,
    1.05, 2,
)  # fmt: skip
_R = Camera(
    "Meridian R", "FC 70-200mm F2.8", 1.0, 64, 25600, 75000, 3.0, 4.5, 3.5, 2.8, 70, 200, 0.4, 0.8, 0.4, 1.4, 1.1, 0
)


def _with_lens(
    body: Camera, lens: str, stabilisation_stops: float, widest: float, shortest: float, longest: float
) -> Camera:
    """The same body with another lens."""
    return replace(
        body, lens_model=lens, stabilisation_stops=stabilisation_stops, widest_f_number=widest, shortest_35mm=shortest,
        longest_35mm=longest,
    )  # fmt: skip


CAMERAS = (
    _MERIDIAN_6,
    _with_lens(_MERIDIAN_6, "FC 50mm F1.8", 0.0, 1.8, 50, 50),
    _D450,
    _with_lens(_D450, "Harrow 35mm F1.8", 0.0, 1.8, 53, 53),
    _with_lens(_D450, "Harrow 70-300mm F4.5-6.3", 3.0, 4.5, 105, 450),
    _X2,
    _with_lens(_X2, "Sorrel 56mm F1.2", 0.0, 1.4, 85, 85),
    _G10,
    _with_lens(_G10, "Pinnace 45mm F1.8", 3.5, 1.8, 90, 90),
    _R,
)

#: Gains of red, green and blue that make daylight neutral, as a camera applies them.
WHITE_BALANCE = np.array([2.0, 1.0, 1.6], np.float32)

#: From the sensor's colours to sRGB: off-diagonal shares of the size that published camera matrices have; rows sum to
#: 1.
SENSOR_TO_SRGB = np.array([[1.55, -0.45, -0.10], [-0.20, 1.50, -0.30], [0.02, -0.42, 1.40]], np.float32)
SRGB_TO_SENSOR = np.linalg.inv(SENSOR_TO_SRGB).astype(np.float32)


def read_noise_e(camera: Camera, iso: float) -> float:
    """Read noise [electrons]: from its value at base ISO down to its floor, halving its excess each stop."""
    excess = camera.read_noise_high_e - camera.read_noise_low_e
    return camera.read_noise_low_e + excess * camera.base_iso / iso


def capture(light: Floats, camera: Camera, iso: float, rng: np.random.Generator) -> NDArray[np.uint16]:
    """Numbers of a raw mosaic (RGGB, 14 bit): Poisson electrons, normal read noise, clipping, rounding.

    Args:
        light: Linear sRGB values, 1.0 at clipping of the green pixels.
        camera: Whose sensor.
        iso: Sensitivity [ISO]; what clips is full well * base ISO / ISO electrons.
        rng: Draws the noise.

    Returns:
        Mosaic with its black level taken off, shape (height, width), 0 to 16383 for 0 to 1.

    Source: EMVA Standard 1288 (linear model of a camera: shot noise, noise in the dark, saturation).
    """
    raw = cv2.transform(light, SRGB_TO_SENSOR / WHITE_BALANCE[:, None])
    mosaic = raw[..., 1].copy()
    mosaic[0::2, 0::2] = raw[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = raw[1::2, 1::2, 2]
    full_e = camera.full_well_e * camera.base_iso / iso
    mean_e = np.clip(mosaic, 0.0, 2.0) * np.float32(full_e)
    if full_e > FULL_WELL_FOR_NORMAL_E:
        variance = mean_e + np.float32(read_noise_e(camera, iso) ** 2)
        electrons = mean_e + rng.standard_normal(mosaic.shape, np.float32) * np.sqrt(variance)
    else:
        electrons = rng.poisson(mean_e).astype(np.float32)
        electrons += rng.standard_normal(mosaic.shape, np.float32) * np.float32(read_noise_e(camera, iso))
    black = 512.0
    numbers = np.clip(np.round(electrons / full_e * (ADC_MAXIMUM - black) + black), 0, ADC_MAXIMUM)
    return ((numbers - black).clip(0) * (ADC_MAXIMUM / (ADC_MAXIMUM - black))).astype(np.uint16)


def demosaic(mosaic: NDArray[np.uint16]) -> Floats:
    """Linear sRGB of a mosaic: edge-aware interpolation, white balance with clipping at white, colour matrix."""
    scaled = np.minimum(mosaic.astype(np.uint32) * 4, 65535).astype(np.uint16)
    # OpenCV names a pattern by its second row's second and third pixel: RGGB is "BG"; asked for RGB order.
    picture = cv2.cvtColor(scaled, cv2.COLOR_BayerBG2RGB_EA).astype(np.float32) / (4 * ADC_MAXIMUM)
    balanced = np.minimum(picture * WHITE_BALANCE, 1.0)
    return np.clip(cv2.transform(balanced, SENSOR_TO_SRGB), 0.0, 1.0)
