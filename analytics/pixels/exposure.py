"""How bright a picture is: clipped shares at both ends and where its tones lie, in stops from mid-grey.

It tells what the picture shows, not whether that was meant; the model, the settings and the session decide on that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import Floats

Numbers = NDArray[np.float64]

#: Reflectance of mid-grey. Source: ISO 12232, 18 %.
MID_GREY = 0.18
#: Linear light below which tones are not told apart [1].
DARKEST_LIGHT = 0.0005
#: Codes of 8 bits from which a picture is white, and up to which it is black.
WHITE_FROM, BLACK_TO = 250.0, 5.0
#: Shares of the picture at which tones are read.
SHARES = (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99)
#: Width of the weight around the subject, in shares of the picture's sides.
MIDDLE_WIDTH = 0.22


@dataclass(frozen=True, slots=True)
class Tones:
    """Brightness of one picture.

    Attributes:
        white_share: share that is clipped at the bright end [0..1].
        black_share: at the dark end [0..1].
        levels: tone at each of `SHARES` of the picture, darkest first [stops from mid-grey].
        mean: mean tone [stops from mid-grey].
        middle_mean: mean tone around the subject [stops from mid-grey].
        middle_white_share: clipped share around the subject [0..1].
    """

    white_share: float
    black_share: float
    levels: Numbers
    mean: float
    middle_mean: float
    middle_white_share: float


def tones_of(small: Floats, middle: tuple[float, float] = (0.5, 0.5)) -> Tones:
    """Tones of a picture.

    Args:
        small: small copy [codes of 8 bits].
        middle: where the subject is, in shares of the rows and columns.

    Returns:
        Tones; a grey card at mid-grey over the whole picture has mean 0.

    Source: linear light by the sRGB curve, IEC 61966-2-1; cameras bend it, which the model allows for.
    """
    stops = np.log2(np.maximum(linear_light(small), DARKEST_LIGHT) / MID_GREY)
    white, black = small >= WHITE_FROM, small <= BLACK_TO
    weight = _around(small.shape, middle)
    return Tones(
        white_share=float(white.mean()),
        black_share=float(black.mean()),
        levels=np.asarray(np.quantile(stops, SHARES), np.float64),
        mean=float(stops.mean()),
        middle_mean=float((stops * weight).sum()),
        middle_white_share=float((white * weight).sum()),
    )


def linear_light(codes: Floats) -> Numbers:
    """Linear light, 1 for white, from gamma-encoded codes.

    Args:
        codes: 0..255.

    Returns:
        The same shape.

    Source: IEC 61966-2-1.
    """
    value = np.clip(np.asarray(codes, np.float64) / 255, 0, 1)
    return np.asarray(np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4))


def _around(shape: tuple[int, ...], middle: tuple[float, float]) -> Numbers:
    """Weights that sum to 1, greatest at the subject."""
    y = (np.arange(shape[0]) + 0.5) / shape[0] - middle[0]
    x = (np.arange(shape[1]) + 0.5) / shape[1] - middle[1]
    weight = np.exp(-(y[:, None] ** 2 + x[None, :] ** 2) / (2 * MIDDLE_WIDTH**2))
    return np.asarray(weight / weight.sum())
