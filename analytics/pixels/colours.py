"""How the three colours of a picture lie at the bright end: one of them is clipped long before the brightness is.

A red coat that is a stop too bright has all of its red at the end while its brightness is nowhere near it, and lights
lose their colour. It tells what the picture shows, as `analytics.pixels.exposure` does. Of the dark end nothing is
asked: the small copies in which cameras keep colours are too coarse there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import Floats

#: Longer side of the copy that is looked at [px].
LONGER_SIDE = 200
#: Codes of 8 bits from which a colour is nearly clipped, clipped, and as bright as can be.
NEARLY, CLIPPED, FULL = 235, 250, 254
#: Brightnesses between every two of which it is asked how colourful a picture is [codes of 8 bits].
BRIGHTNESSES = (40, 100, 160, 200, 235, 256)
#: Pixels of a brightness by which it can be told.
ENOUGH = 30
#: Least brightest code by which colourfulness is divided: darker pixels have any colour by chance.
LEAST_CODE = 8.0
#: Difference of its colours up to which a picture has none [codes of 8 bits].
NO_COLOUR = 3


@dataclass(frozen=True, slots=True)
class Colours:
    """The three colours of one picture; all are shares of its pixels, but for how colourful it is.

    Attributes:
        any_nearly: in which a colour is nearly clipped [0..1].
        any_clipped: in which one is clipped [0..1].
        any_full: in which one is as bright as can be [0..1].
        all_nearly: in which all are nearly clipped [0..1].
        one_clipped: in which one is clipped and not all are nearly so [0..1].
        colourful: how far the brightest and the dimmest lie apart, in shares of the brightest, on average [0..1]; NaN
            where the picture has no colours.
        colourful_at: the same by brightness, between every two of `BRIGHTNESSES`; NaN where hardly a pixel is.
    """

    any_nearly: float
    any_clipped: float
    any_full: float
    all_nearly: float
    one_clipped: float
    colourful: float
    colourful_at: tuple[float, ...]

    def features(self) -> dict[str, float]:
        """What the model looks at: roots of shares, for a few pixels at an end say much."""
        shares = {
            "colour_any_nearly": self.any_nearly,
            "colour_any_clipped": self.any_clipped,
            "colour_any_full": self.any_full,
            "colour_all_nearly": self.all_nearly,
            "colour_one_clipped": self.one_clipped,
        }
        return {
            **{name: math.sqrt(share) for name, share in shares.items()},
            "colourful": self.colourful,
            **{f"colourful_{low}": at for low, at in zip(BRIGHTNESSES[:-1], self.colourful_at, strict=True)},
        }


def colours_of(copy: NDArray[np.uint8]) -> Colours:
    """Colours of a picture.

    Args:
        copy: small copy, (rows, columns, 3) in any order of the colours, gamma-encoded.

    Returns:
        Colours.

    Source: own choice.
    """
    copy = _shrunk(copy)
    each = [colour.astype(np.float32) for colour in cv2.split(copy)]
    brightest, dimmest, brightness = np.maximum.reduce(each), np.minimum.reduce(each), sum(each) / np.float32(3)
    has_colours = bool((brightest - dimmest).max() > NO_COLOUR)
    colourful = (brightest - dimmest) / np.maximum(brightest, LEAST_CODE)

    def colourful_between(low: float, high: float) -> float:
        inside = (brightness >= low) & (brightness < high)
        return float(colourful[inside].mean()) if has_colours and inside.sum() >= ENOUGH else math.nan

    return Colours(
        any_nearly=float((brightest >= NEARLY).mean()),
        any_clipped=float((brightest >= CLIPPED).mean()),
        any_full=float((brightest >= FULL).mean()),
        all_nearly=float((dimmest >= NEARLY).mean()),
        one_clipped=float(((brightest >= CLIPPED) & (dimmest < NEARLY)).mean()),
        colourful=float(colourful.mean()) if has_colours else math.nan,
        colourful_at=tuple(colourful_between(low, high) for low, high in pairwise(BRIGHTNESSES)),
    )


def without_colour(copy: Floats) -> NDArray[np.uint8]:
    """What `colours_of` takes, of a picture of which only the brightness is known.

    Args:
        copy: small copy [codes of 8 bits].

    Returns:
        (rows, columns, 3), all three alike; no larger than `colours_of` looks at.

    Source: own choice.
    """
    grey = _shrunk(np.asarray(cv2.convertScaleAbs(copy), np.uint8))
    return np.repeat(grey[:, :, None], 3, axis=2)


def _shrunk(copy: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A copy of at most `LONGER_SIDE`."""
    rows, columns = copy.shape[:2]
    shrink = LONGER_SIDE / max(rows, columns)
    if shrink >= 1:
        return copy
    size = (max(1, round(columns * shrink)), max(1, round(rows * shrink)))
    return np.asarray(cv2.resize(copy, size, interpolation=cv2.INTER_AREA), np.uint8)
