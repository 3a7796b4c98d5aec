"""How bright a picture is: clipped shares at both ends and where its tones lie, in stops from mid-grey.

It tells what the picture shows, not whether that was meant; the model, the settings and the session decide on that.
"""

from __future__ import annotations

import math
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
#: Shares at which they are read at full size: deepest black, glints and lamps.
OUTER_SHARES = (0.001, 0.999, 0.9997)
#: Code from which a pixel at full size is as white as can be.
WHITEST_FROM = 254
#: Codes that are nearly white, nearly black, and next to the ends.
NEARLY_WHITE, NEARLY_BLACK = slice(225, 250), slice(0, 21)
BEFORE_WHITE, BEFORE_BLACK = slice(215, 250), slice(6, 25)
#: Shares that are added so that logarithms of a few pixels stay quiet: at the end, and beside it.
FEW_AT_THE_END, FEW_BESIDE = 1e-4, 1e-3
#: Width of the weight around the subject, in shares of the picture's sides.
MIDDLE_WIDTH = 0.22


@dataclass(frozen=True, slots=True)
class Ends:
    """Both ends of the tones at full size, where single pixels count.

    Attributes:
        levels: tone at each of `OUTER_SHARES` of the picture [stops from mid-grey].
        whitest_share: share that is as white as can be [0..1].
        nearly_white_share: share that is nearly white, but not clipped [0..1].
        nearly_black_share: share that is black or nearly so [0..1].
        white_piled: how much more is clipped than nearly so, at the bright end [octaves].
        black_piled: at the dark end [octaves].
    """

    levels: Numbers
    whitest_share: float
    nearly_white_share: float
    nearly_black_share: float
    white_piled: float
    black_piled: float


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
        spread: standard deviation of the tones [stops].
        lean: their skewness, negative where a few are much darker than the rest [1].
        ends: at full size.
    """

    white_share: float
    black_share: float
    levels: Numbers
    mean: float
    middle_mean: float
    middle_white_share: float
    spread: float
    lean: float
    ends: Ends


def tones_of(small: Floats, code_shares: Numbers, middle: tuple[float, float] = (0.5, 0.5)) -> Tones:
    """Tones of a picture.

    Args:
        small: small copy [codes of 8 bits].
        code_shares: share of the full-size picture at each code of 8 bits.
        middle: where the subject is, in shares of the rows and columns.

    Returns:
        Tones; a grey card at mid-grey over the whole picture has mean 0.

    Source: linear light by the sRGB curve, IEC 61966-2-1; cameras bend it, which the model allows for.
    """
    stops = stops_of(small)
    mean, spread = float(stops.mean()), float(stops.std())
    away = stops - mean
    white, black = small >= WHITE_FROM, small <= BLACK_TO
    weight = _around(small.shape, middle)
    return Tones(
        white_share=float(white.mean()),
        black_share=float(black.mean()),
        levels=np.asarray(np.quantile(stops, SHARES), np.float64),
        mean=mean,
        middle_mean=float((stops * weight).sum()),
        middle_white_share=float((white * weight).sum()),
        spread=spread,
        lean=float((away * away * away).mean()) / (spread**3 + FEW_BESIDE),
        ends=ends_of(code_shares),
    )


def ends_of(code_shares: Numbers) -> Ends:
    """Both ends of the tones.

    Args:
        code_shares: share of the full-size picture at each code of 8 bits.

    Returns:
        Ends. What is too bright piles up at white; what is too dark never reaches it.

    Source: own choice.
    """
    below = np.cumsum(code_shares)
    codes = np.minimum(np.searchsorted(below, OUTER_SHARES), len(code_shares) - 1)

    def piled(at_the_end: Numbers, beside: Numbers) -> float:
        return math.log2((float(at_the_end.sum()) + FEW_AT_THE_END) / (float(beside.sum()) + FEW_BESIDE))

    return Ends(
        levels=stops_of(codes.astype(np.float32)),
        whitest_share=float(code_shares[WHITEST_FROM:].sum()),
        nearly_white_share=float(code_shares[NEARLY_WHITE].sum()),
        nearly_black_share=float(code_shares[NEARLY_BLACK].sum()),
        white_piled=piled(code_shares[int(WHITE_FROM) :], code_shares[BEFORE_WHITE]),
        black_piled=piled(code_shares[: int(BLACK_TO) + 1], code_shares[BEFORE_BLACK]),
    )


def stops_of(codes: Floats) -> Numbers:
    """Tones [stops from mid-grey] of codes of 8 bits.

    Args:
        codes: 0..255.

    Returns:
        The same shape.

    Source: see `linear_light`.
    """
    return np.asarray(np.log2(np.maximum(linear_light(codes), DARKEST_LIGHT) / MID_GREY), np.float64)


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
