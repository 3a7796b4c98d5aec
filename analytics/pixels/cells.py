"""Where a picture is measured: a map of 12 × 8 cells, and in each cell one detailed and one flat tile at full
resolution.

Blur of two or three pixels and noise are gone from a reduced picture, and measuring all of a large one costs more
than decoding it. So a quarter-size copy says where to look, and only the tile with most detail (for edges) and the
one with least (for noise) are read at full size.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.decoding import Picture

#: Cells along the longer and the shorter side. Source: measured choice; small enough for a face in a group, large
#: enough for edges of all directions.
LONG, SHORT = 12, 8
#: Side of the detailed and of the flat tile [px at full size].
DETAILED_TILE, FLAT_TILE = 160, 64
#: The quarter-size copy: full-size pixels per pixel of it.
QUARTER = 4
#: Codes of 8 bits outside which a tile is clipped, so that its noise says nothing.
DARKEST, BRIGHTEST = 8.0, 246.0

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Tiles:
    """What is measured of one picture, all in codes of 8 bits as floats.

    Attributes:
        shape: rows and columns of cells.
        detailed: the most detailed tile of each cell, joined in the order of the map.
        detailed_tile: rows and columns of one detailed tile [px].
        flat: the flattest tile of each cell, joined.
        quarter: the whole picture at a quarter of its size.
    """

    shape: tuple[int, int]
    detailed: Floats
    detailed_tile: tuple[int, int]
    flat: Floats
    quarter: Floats


def map_shape(rows: int, columns: int) -> tuple[int, int]:
    """Rows and columns of cells for a picture: 8 × 12, or 12 × 8 where it stands upright."""
    return (SHORT, LONG) if columns >= rows else (LONG, SHORT)


def tiles_of(picture: Picture) -> Tiles:
    """The tiles to measure and a quarter-size copy of a picture.

    Args:
        picture: at least 96 px on its shorter side.

    Returns:
        Tiles; their sides are multiples of 4 px so that they halve evenly.

    Source: own choice; see the module.
    """
    grey = picture.grey
    rows, columns = grey.shape
    shape = map_shape(rows, columns)
    quarter = cv2.resize(grey, (max(1, columns // QUARTER), max(1, rows // QUARTER)), interpolation=cv2.INTER_AREA)
    quarter_float = np.asarray(quarter, np.float32) * np.float32(255.0 / picture.white)
    detail = _detail(quarter_float)
    cell = (rows // shape[0], columns // shape[1])
    side = tuple(min(DETAILED_TILE, each) // 4 * 4 for each in cell)
    flat_side = tuple(min(FLAT_TILE, each) // 4 * 4 for each in cell)
    clipped = ((quarter_float < DARKEST) | (quarter_float > BRIGHTEST)).astype(np.float32)
    detailed = _joined(picture, shape, (side[0], side[1]), detail)
    flat = _joined(picture, shape, (flat_side[0], flat_side[1]), -detail - 1000 * clipped)
    return Tiles(shape, detailed, (side[0], side[1]), flat, quarter_float)


def _detail(quarter: Floats) -> Floats:
    across = cv2.Sobel(quarter, cv2.CV_32F, 1, 0, ksize=3)
    down = cv2.Sobel(quarter, cv2.CV_32F, 0, 1, ksize=3)
    return np.asarray(cv2.magnitude(across, down), np.float32)


def _joined(picture: Picture, shape: tuple[int, int], side: tuple[int, int], worth: Floats) -> Floats:
    """The tile of each cell whose mean worth is highest, all joined into one array in the order of the map."""
    rows, columns = picture.grey.shape
    window = (max(1, side[0] // QUARTER), max(1, side[1] // QUARTER))
    # anchor (0, 0): the mean over the window that starts at a pixel
    mean = cv2.boxFilter(worth, cv2.CV_32F, (window[1], window[0]), anchor=(0, 0), borderType=cv2.BORDER_REPLICATE)
    joined = np.empty((shape[0] * side[0], shape[1] * side[1]), picture.grey.dtype)
    for row in range(shape[0]):
        top, bottom = rows * row // shape[0], rows * (row + 1) // shape[0]
        for column in range(shape[1]):
            left, right = columns * column // shape[1], columns * (column + 1) // shape[1]
            y = _start(top, bottom, side[0])
            x = _start(left, right, side[1])
            found = mean[y.start // QUARTER : y.stop // QUARTER + 1, x.start // QUARTER : x.stop // QUARTER + 1]
            at = np.unravel_index(int(np.argmax(found)), found.shape)
            first_y = min(y.start + int(at[0]) * QUARTER, y.stop)
            first_x = min(x.start + int(at[1]) * QUARTER, x.stop)
            joined[row * side[0] : (row + 1) * side[0], column * side[1] : (column + 1) * side[1]] = picture.grey[
                first_y : first_y + side[0], first_x : first_x + side[1]
            ]
    return np.asarray(joined, np.float32) * np.float32(255.0 / picture.white)


def _start(low: int, high: int, side: int) -> slice:
    """First and last row (or column) where a tile of that side may begin inside a cell."""
    return slice(low, max(low, high - side))
