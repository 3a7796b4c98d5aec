"""Where a picture is measured: a map of 12 × 8 cells, and in each cell one detailed and one flat tile at full
resolution.

Blur of two or three pixels and noise are gone from a reduced picture, and measuring all of a large one costs more
than decoding it. So a quarter-size copy says where to look, and only the tile with most detail (for edges) and the
one with least (for noise) are read at full size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.decoding import Grey, Picture

#: Cells along the longer and the shorter side. Source: measured choice; small enough for a face in a group, large
#: enough for edges of all directions.
LONG, SHORT = 12, 8
#: Side of the detailed and of the flat tile [px at full size].
DETAILED_TILE, FLAT_TILE = 128, 64
#: Side of the detailed tile of a large picture [px]: it has detail enough in less.
LARGE_TILE = 112
#: Side of the detailed tile of the quarter-size copy [px of the copy]: wide blur needs a wider look.
QUARTER_TILE = 64
#: Largest quarter-size copy that is looked at as a whole [px].
MOST_WHOLE = 700_000
#: Longer side of the small copy by which tones are told [px].
SMALL_SIDE = 256
#: Codes of 8 bits outside which a tile is clipped, so that its noise says nothing.
DARKEST, BRIGHTEST = 8.0, 246.0
#: Pixels by which the codes of a picture are counted, about [px].
COUNTED_PIXELS = 1_000_000

Floats = NDArray[np.float32]
Some = TypeVar("Some", bound=NDArray[Any])


@dataclass(frozen=True, slots=True)
class Tiles:
    """What is measured of one picture, all in codes of 8 bits as floats.

    Attributes:
        shape: rows and columns of cells.
        detailed: the most detailed tile of each cell, joined in the order of the map.
        detailed_tile: rows and columns of one detailed tile [px].
        spectral: the tile of each cell whose spectrum is taken, joined; where cells are small it reaches over them.
        spectral_tile: rows and columns of one of these [px].
        flat: the flattest tile of each cell, joined.
        quarter: at a quarter of the size, the whole of a small picture, of a large one a detailed tile of each cell.
        quarter_tile: rows and columns of one of these, or of the whole [px of the quarter size].
        eighth: the whole at an eighth of the size.
        side: longer side of the picture [px].
        small: the whole picture, small.
        code_shares: share of the full-size picture at each code of 8 bits; a lamp or a glint is gone from `small`.
        colours: small copy with its colours, (rows, columns, 3); `None` where only the brightness is known.
    """

    shape: tuple[int, int]
    detailed: Floats
    detailed_tile: tuple[int, int]
    spectral: Floats
    spectral_tile: tuple[int, int]
    flat: Floats
    quarter: Floats
    quarter_tile: tuple[int, int]
    eighth: Floats
    side: int
    small: Floats
    code_shares: NDArray[np.float64]
    colours: NDArray[np.uint8] | None


def map_shape(rows: int, columns: int) -> tuple[int, int]:
    """Rows and columns of cells for a picture: 8 × 12, or 12 × 8 where it stands upright."""
    return (SHORT, LONG) if columns >= rows else (LONG, SHORT)


def tiles_of(picture: Picture) -> Tiles:
    """The tiles to measure and small copies of a picture.

    Args:
        picture: at least `SHORTEST_SIDE` px on its shorter side.

    Returns:
        Tiles; their sides are multiples of 4 px so that they halve evenly.

    Source: own choice; see the module.
    """
    grey = picture.grey
    rows, columns = grey.shape
    shape = map_shape(rows, columns)
    half = halved(grey)
    is_large = half.size > 4 * MOST_WHOLE
    # of a large picture both halves are rounded to whole codes, which is quicker
    quarter = _as_codes(halved(half), picture) if is_large else halved(_as_codes(half, picture))
    detail = _detail(quarter)
    flatness = np.negative(detail)
    np.subtract(flatness, 1000, out=flatness, where=cv2.inRange(quarter, DARKEST, BRIGHTEST) == 0)
    # a large picture is looked over in steps of 8 px instead of 4
    worths = [halved(each) if is_large else each for each in (detail, flatness)]
    side, flat_side = _tile(grey, shape, LARGE_TILE if is_large else DETAILED_TILE), _tile(grey, shape, FLAT_TILE)
    quarter_side = _tile(quarter, shape, QUARTER_TILE) if is_large else (quarter.shape[0], quarter.shape[1])
    detailed = _as_codes(_joined(grey, shape, side, worths[0]), picture)
    # as large whatever the cells are: only the whole picture limits it
    spectral_side = side if is_large else _tile(grey, (1, 1), DETAILED_TILE)
    is_same = side == spectral_side
    eighth = halved(quarter)
    copy = eighth if is_large else quarter
    shrink = min(1.0, SMALL_SIDE / max(copy.shape))
    return Tiles(
        shape=shape,
        detailed=detailed,
        detailed_tile=side,
        spectral=detailed if is_same else _as_codes(_joined(grey, shape, spectral_side, worths[0]), picture),
        spectral_tile=spectral_side,
        flat=_as_codes(_joined(grey, shape, flat_side, worths[1]), picture),
        quarter=np.asarray(_joined(quarter, shape, quarter_side, worths[0]) if is_large else quarter, np.float32),
        quarter_tile=quarter_side,
        eighth=eighth,
        side=max(rows, columns),
        small=np.asarray(cv2.resize(copy, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.float32),
        code_shares=code_shares(picture),
        colours=picture.colours,
    )


def code_shares(picture: Picture) -> NDArray[np.float64]:
    """Share of a picture at each of 256 codes, by every so many pixels of every so many rows.

    Args:
        picture: of 8 bits, or of 16.

    Returns:
        (256,), sum 1.

    Source: own choice.
    """
    # an odd step, so that no row or column of the blocks of a JPEG is preferred
    step = int(np.sqrt(picture.grey.size / COUNTED_PIXELS)) // 2 * 2 + 1
    some = picture.grey[::step, ::step]
    if some.dtype == np.uint8:
        counted: NDArray[Any] = np.ascontiguousarray(some)
    else:  # half a code, so that what lies between two codes of 8 bits goes to the nearer one
        counted = _as_codes(some, picture) + np.float32(0.5)
    counts = cv2.calcHist([counted], [0], None, [256], [0, 256])
    return np.asarray(np.ravel(counts), np.float64) / some.size


def halved(image: Some) -> Some:
    """An image at half its size, an odd last row or column left out.

    Args:
        image: (rows, columns).

    Returns:
        (rows / 2, columns / 2), of the same kind.

    Source: mean over 2 × 2 pixels; twice of these take a third of the time of a mean over 4 × 4.
    """
    rows, columns = (side // 2 for side in image.shape)
    whole = image[: rows * 2, : columns * 2]
    return cast("Some", cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA))


def _tile(image: Floats | Grey, shape: tuple[int, int], side: int) -> tuple[int, int]:
    """Rows and columns of a tile that fits into the cells and halves evenly."""
    rows, columns = (max(4, min(side, image.shape[i] // shape[i]) // 4 * 4) for i in (0, 1))
    return rows, columns


def _as_codes(image: NDArray[Any], picture: Picture) -> Floats:
    codes = np.asarray(image, np.float32)
    return codes if picture.white == 255 else codes * np.float32(255.0 / picture.white)


def _detail(quarter: Floats) -> Floats:
    across = cv2.Sobel(quarter, cv2.CV_32F, 1, 0, ksize=3)
    down = cv2.Sobel(quarter, cv2.CV_32F, 0, 1, ksize=3)
    return np.asarray(cv2.magnitude(across, down), np.float32)


def _joined(image: Floats | Grey, shape: tuple[int, int], side: tuple[int, int], worth: Floats) -> Floats | Grey:
    """The tile of each cell whose mean worth is highest, all joined in the order of the map; worth may be smaller."""
    rows, columns = image.shape
    step = max(1, round(rows / worth.shape[0]))
    window = (max(1, side[0] // step), max(1, side[1] // step))
    # anchor (0, 0): the mean over the window that starts at a pixel
    mean = cv2.boxFilter(worth, cv2.CV_32F, (window[1], window[0]), anchor=(0, 0), borderType=cv2.BORDER_REPLICATE)
    joined = np.empty((shape[0] * side[0], shape[1] * side[1]), image.dtype)
    for row in range(shape[0]):
        y = _start(rows * row // shape[0], rows * (row + 1) // shape[0], side[0], rows)
        for column in range(shape[1]):
            x = _start(columns * column // shape[1], columns * (column + 1) // shape[1], side[1], columns)
            found = mean[y.start // step : y.stop // step + 1, x.start // step : x.stop // step + 1]
            at = np.unravel_index(int(np.argmax(found)), found.shape)
            top, left = min(y.start + int(at[0]) * step, y.stop), min(x.start + int(at[1]) * step, x.stop)
            joined[row * side[0] : (row + 1) * side[0], column * side[1] : (column + 1) * side[1]] = image[
                top : top + side[0], left : left + side[1]
            ]
    return joined


def _start(low: int, high: int, side: int, end: int) -> slice:
    """First and last row (or column) where a tile of that side may begin: inside a cell, or around its middle where
    the cell is smaller, but inside the picture."""
    if high - low >= side:
        return slice(low, high - side)
    start = min(max((low + high - side) // 2, 0), end - side)
    return slice(start, start)
