"""Bodies with one of their lenses: the lowest floor of the package, plain numbers.

The names are invented; the numbers are of the size that published measurements give.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

FULL_FRAME_WIDTH_MM = 36.0
#: Pixels across the sensor of a camera with changeable lenses, and its least pixel pitch [mm]; pitch of a phone [mm].
#: Source: own choice; sensors of about 24 megapixels.
PIXELS_ACROSS, LEAST_PITCH_MM, PHONE_PITCH_MM = 6000, 0.0024, 0.0016
#: Crop factor from which a camera is a phone. Source: own choice; compact cameras end at about 2.7.
PHONE_CROP_FACTOR = 5.0
#: Relative noise of a green pixel at 18 % grey: acceptable up to the first, heavy from the second.
#: Source: own choice; a gap lies between them, so that no frame is doubtful.
ACCEPTABLE_NOISE, HEAVY_NOISE = 0.085, 0.14
MIDDLE_GREY = 0.18


@dataclass(frozen=True)
class Body:
    """A camera with a lens, as it matters here."""

    model: str
    lens_model: str
    share: float  # how often it is used, against the others
    crop_factor: float
    aspect: float  # width by height
    full_well_e: float  # electrons that clip at base ISO
    read_noise_e: float  # at base ISO
    base_iso: int
    highest_iso: int
    headroom: float  # light that clips, in units of diffuse white
    luma_denoising: float
    chroma_denoising: float
    sharpening: float
    sharpening_radius_px: float
    contrast: float
    focal_35mm: tuple[float, float]  # shortest and longest [mm for 35 mm film]
    widest_f_number: tuple[float, float]  # at the shortest and the longest focal length
    narrowest_f_number: float
    stabilisation_stops: float
    n_blades: int = 0  # 0: a round aperture
    is_aperture_fixed: bool = False
    writes_brightness: bool = False
    writes_focal_35mm: bool = False
    writes_subject_area: bool = False
    writes_stabilisation: bool = False
    bits: int = 14
    is_demosaic_plain: bool = False

    @property
    def pixel_pitch_mm(self) -> float:
        """Distance between pixels [mm]."""
        if self.crop_factor >= PHONE_CROP_FACTOR:
            return PHONE_PITCH_MM
        return max(FULL_FRAME_WIDTH_MM / self.crop_factor / PIXELS_ACROSS, LEAST_PITCH_MM)

    def relative_noise(self, iso: float) -> float:
        """Noise of a green pixel at 18 % grey as a share of the signal: shot noise and read noise [1]."""
        signal_e = MIDDLE_GREY / self.headroom * self.full_well_e * self.base_iso / iso
        return math.sqrt(signal_e + self.read_noise_e**2 * (self.base_iso / iso) ** 0.15) / signal_e

    def highest_clean_iso(self) -> float:
        """The highest ISO, in tenths of a stop from 50, whose noise is acceptable."""
        steps = (float(iso) for iso in 50 * 2 ** np.arange(0, 12, 0.1))
        return max((iso for iso in steps if self.relative_noise(iso) <= ACCEPTABLE_NOISE), default=self.base_iso)


BODIES = (
    Body(
        "Wicket 24", "Wicket 24-105mm F4", 0.13, 1.0, 1.5, 52000, 3.2, 100, 51200, 1.9,
        0.55, 1.5, 0.75, 0.8, 0.22, (24, 105), (4, 4), 22, 3.0,
    ),
    Body(
        "Wicket 24", "Wicket 70-300mm F4-5.6", 0.08, 1.0, 1.5, 52000, 3.2, 100, 51200, 1.9,
        0.55, 1.5, 0.75, 0.8, 0.22, (70, 300), (4, 5.6), 32, 3.0, n_blades=8,
    ),
    Body(
        "Thornley 52", "Thornley 18-140mm F3.5-5.6", 0.14, 1.53, 1.5, 33000, 3.6, 100, 25600, 1.7,
        0.75, 1.8, 0.9, 0.9, 0.3, (27, 210), (3.5, 5.6), 22, 2.5, n_blades=7,
        writes_focal_35mm=True, writes_stabilisation=True,
    ),
    Body(
        "Barrow 3", "Barrow 35mm F2", 0.12, 1.53, 1.5, 31000, 2.4, 160, 25600, 2.3,
        0.6, 2.0, 0.5, 0.7, 0.12, (53, 53), (2, 2), 16, 0.0, n_blades=7,
        writes_brightness=True, writes_focal_35mm=True,
    ),
    Body(
        "Sandpiper 7", "Sandpiper 28-200mm F2.8-5.6", 0.14, 1.0, 1.5, 60000, 2.6, 100, 51200, 2.0,
        0.8, 2.2, 0.85, 0.7, 0.25, (28, 200), (2.8, 5.6), 32, 3.5, n_blades=9,
        writes_brightness=True, writes_focal_35mm=True,
    ),
    Body(
        "Gannet 2", "Gannet 12-100mm F4", 0.10, 2.0, 4 / 3, 24000, 2.4, 200, 25600, 1.6,
        0.9, 2.0, 1.0, 0.6, 0.3, (24, 200), (4, 4), 16, 4.0, n_blades=7,
        writes_stabilisation=True,
    ),
    Body(
        "Kite P9", "Kite P9 back camera", 0.12, 5.6, 4 / 3, 7000, 1.9, 50, 3200, 1.5,
        0.95, 2.4, 1.3, 0.8, 0.35, (26, 26), (1.8, 1.8), 1.8, 2.5, is_aperture_fixed=True,
        writes_brightness=True, writes_focal_35mm=True, writes_subject_area=True, bits=12,
    ),
    Body(
        "Rambler 80", "Rambler 9-26mm F1.8-2.8", 0.09, 2.73, 1.5, 12500, 3.0, 125, 6400, 1.6,
        0.9, 2.1, 1.1, 0.9, 0.3, (24, 70), (1.8, 2.8), 11, 2.5, n_blades=7,
        writes_brightness=True, writes_focal_35mm=True, writes_subject_area=True, writes_stabilisation=True, bits=12,
    ),
    Body(
        "Oldham 3", "Oldham 50mm F1.8", 0.08, 1.6, 1.5, 42000, 14.0, 100, 3200, 1.5,
        0.15, 0.5, 0.5, 1.0, 0.15, (80, 80), (1.8, 1.8), 22, 0.0, n_blades=5, bits=12, is_demosaic_plain=True,
    ),
)  # fmt: skip
#: How likely each body is [1].
SHARES = np.array([body.share for body in BODIES]) / sum(body.share for body in BODIES)
