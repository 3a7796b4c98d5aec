"""The noise that light and sensor make at mid-grey: a plain physical model, an estimate and nothing more.

The exposure that an ISO speed asks for fixes how many photons fall on a pixel, and photons scatter by their square
root. What the camera's software does afterwards (mosaic, noise reduction, sharpening) is not in it, so a finished
JPEG usually shows less, and a brightened one more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.explaining.missing import for_the_pixel
from journal.optics.checks import positive

if TYPE_CHECKING:
    from analytics.explaining.facts import FrameFacts

#: Mean focal-plane exposure that a speed of S stands for is 10 / S [lx·s]. Source: ISO 12232, standard output
#: sensitivity and recommended exposure index.
EXPOSURE_TIMES_SPEED_LXS = 10.0
#: Photons per µm² and lx·s at 555 nm: 1 / 683 W/m² over the energy of one photon. Source: SI definition of the candela.
PHOTONS_PER_UM2_LXS = 1e-12 / 683 / (6.626e-34 * 2.998e8 / 555e-9)
#: Electrons per photon in a green pixel. Source: typical of data sheets after EMVA 1288; an assumption for this body.
QUANTUM_EFFICIENCY = 0.5
#: Noise of reading one pixel [electrons]. Source: typical of data sheets after EMVA 1288; an assumption for this body.
READ_NOISE_E = 3.0
#: Noise up to about this much does not show [levels of 255]; our own convention.
INVISIBLE_LEVELS = 3.0
#: Mid-grey as a share of diffuse white. Source: ISO 12232 takes 18 % for the mean of a scene.
MID_GREY = 0.18
#: Levels of an 8-bit picture per unit of relative brightness at mid-grey: 255 dV / d ln L of the sRGB curve.
#: Source: IEC 61966-2-1.
LEVELS_PER_LOG = 255 * 1.055 / 2.4 * MID_GREY ** (1 / 2.4)


@dataclass(frozen=True, slots=True)
class NoiseEstimate:
    """Noise at mid-grey, expected and measured; `basis` says what the expectation stands on."""

    electrons: float | None
    signal_to_noise: float | None
    expected_sigma: float | None
    measured_sigma: float | None
    basis: str


def mid_grey_electrons(iso: float, pixel_pitch_um: float, exposure_error_stops: float = 0.0) -> float:
    """Electrons of a mid-grey pixel: (10 / S) · photons per µm² and lx·s · QE · pitch² · 2^error.

    Args:
        iso: S, the speed that the exposure suits [1].
        pixel_pitch_um: [µm].
        exposure_error_stops: positive is brighter than the speed asks for [stops].

    Returns:
        [electrons]. At ISO 100 and 6 µm about 7,400.

    Raises:
        JournalError: a value is zero or less.

    Source: ISO 12232 for the exposure, the SI definition of the candela for the photons.
    """
    speed = float(positive("iso", iso, "1"))
    pitch = float(positive("pixel_pitch_um", pixel_pitch_um, "µm"))
    per_um2 = EXPOSURE_TIMES_SPEED_LXS / speed * PHOTONS_PER_UM2_LXS * QUANTUM_EFFICIENCY
    return float(per_um2 * pitch**2 * 2.0**exposure_error_stops)


def signal_to_noise(electrons: float) -> float:
    """Signal over noise of one pixel: e / √(e + r²) [1]; 100 electrons with a read noise of 3 give 9.6.

    Raises:
        JournalError: no electrons.

    Source: Poisson statistics of photons with independent read noise (EMVA 1288, linear camera model).
    """
    signal = float(positive("electrons", electrons, "e"))
    return signal / math.sqrt(signal + READ_NOISE_E**2)


def levels_words(sigma: float) -> str:
    """Noise as it is told: 1.4 levels of 255; there is always some, so it is never nought."""
    return f"{'< 0.1' if sigma < 0.05 else f'{sigma:.1f}'} levels of 255"


def noise_estimate(facts: FrameFacts) -> NoiseEstimate:
    """Noise at mid-grey in levels of an 8-bit picture: expected from ISO, exposure and pixel, and as measured."""
    measured = facts.measured.noise_sigma if facts.measured else None
    if facts.iso is None or facts.pixel_pitch_um is None:
        missing = "the ISO is not written down" if facts.iso is None else for_the_pixel(facts)
        return NoiseEstimate(None, None, None, measured, missing)
    error = facts.measured.ev if facts.measured else None
    electrons = mid_grey_electrons(facts.iso, facts.pixel_pitch_um, error or 0.0)
    ratio = signal_to_noise(electrons)
    exposed = "as exposed" if error is not None else "if exposed as the ISO asks"
    basis = f"estimate: photons and a read noise of {READ_NOISE_E:g} electrons, {exposed}, before any noise reduction"
    return NoiseEstimate(electrons, ratio, LEVELS_PER_LOG / ratio, measured, basis)
