"""How much tones differ from their neighbours, by how bright they are.

What is clipped is flat, what lies under the shoulder of a tone curve is nearly so, and what is far too dark sinks into
black: the same scene shows its contrast in other tones when it is too bright or too dark. It tells what the picture
shows, as `analytics.pixels.exposure` does.
"""

from __future__ import annotations

import math
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import Floats
from analytics.pixels.exposure import stops_of

Numbers = NDArray[np.float64]

#: Longer side of the copy that is looked at [px].
LONGER_SIDE = 200
#: Tones between every two of which contrast is asked [stops from mid-grey], and what the tones between them are called.
TONES = (-9.0, -4.0, -2.5, -1.2, 0.0, 0.9, 1.7, 3.0)
NAMES = ("black", "deep", "dark", "middle", "light", "bright", "white")
#: Pixels of such tones by which their contrast can be told.
ENOUGH = 50
#: Contrast that is added so that logarithms of flat tones stay quiet [stops/px].
FLAT = 0.005


def contrasts_of(copy: Floats) -> Numbers:
    """Contrast by tone.

    Args:
        copy: small copy, (rows, columns) [codes of 8 bits].

    Returns:
        (7,) for each of `NAMES`: the median slope of such tones, at a copy of `LONGER_SIDE` [stops/px]; NaN where
        hardly a pixel is.

    Source: Sobel's derivative of the logarithm of light, a quantity that exposure alone does not change.
    """
    rows, columns = copy.shape
    shrink = min(1.0, LONGER_SIDE / max(rows, columns))
    size = (max(1, round(columns * shrink)), max(1, round(rows * shrink)))
    small = np.asarray(cv2.resize(copy, size, interpolation=cv2.INTER_AREA), np.float32)
    stops = stops_of(small).astype(np.float32)
    across, down = (cv2.Sobel(stops, cv2.CV_32F, x, 1 - x, ksize=3, scale=1 / 8) for x in (1, 0))
    slope = cv2.magnitude(across, down)

    def between(low: float, high: float) -> float:
        inside = (stops >= low) & (stops < high)
        return float(np.median(slope[inside])) if inside.sum() > ENOUGH else math.nan

    return np.array([between(low, high) for low, high in pairwise(TONES)])


def contrast_features(contrasts: Numbers) -> dict[str, float]:
    """What the model looks at: octaves of contrast by tone."""
    return {f"contrast_{name}": math.log2(each + FLAT) for name, each in zip(NAMES, contrasts, strict=True)}
