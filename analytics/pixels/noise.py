"""How much noise a picture shows, by brightness.

Noise is what remains in a flat block after a plane has been taken away. In-camera noise reduction makes it coarse, so
that it hides from its neighbours: the same blocks are measured at half size too. Texture that fills the picture
cannot be told from coarse noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import BRIGHTEST, DARKEST, Floats, halved

#: Side of a block [px].
BLOCK = 16
#: Share of the blocks of a band that count as flat. Source: own choice; low enough to leave texture out, high enough
#: to be stable.
FLAT_SHARE = 0.25
#: Blocks that a band needs.
ENOUGH_BLOCKS = 6
#: The Laplacian is read at one pixel of so many; an odd number, so that no column of a tile is preferred.
EVERY = 5
#: Bands of brightness: shadows, mid-tones, highlights [codes of 8 bits].
BANDS = ((DARKEST, 64.0), (64.0, 160.0), (160.0, BRIGHTEST))

#: Texture raises the deviation of blocks much more than the Laplacian's, noise both: shown noise is at most so many
#: times the latter.
#: Source: own choice, on generated frames whose noise is known.
LAPLACIAN_BOUND, LAPLACIAN_FLOOR = 4.5, 0.5


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of one picture [codes of 8 bits], NaN where there is no flat place.

    Attributes:
        sigma: over all bands at full size.
        sigma_half: the same at half size.
        by_band: (3,) shadows, mid-tones, highlights at full size.
        immerkaer: estimate from the Laplacian over all flat tiles.
        n_blocks: blocks that were measured.
    """

    sigma: float
    sigma_half: float
    by_band: NDArray[np.float64]
    immerkaer: float
    n_blocks: int

    @property
    def shown(self) -> float:
        """Noise as it shows [codes of 8 bits]: that of flat places, less where it is texture's rather than noise's."""
        bound = LAPLACIAN_BOUND * self.immerkaer + LAPLACIAN_FLOOR
        return min(self.sigma, bound) if math.isfinite(self.sigma) else self.sigma


def noise_of(flat: Floats) -> Noise:
    """Noise of the flat places of a picture.

    Args:
        flat: joined flat tiles [codes of 8 bits].

    Returns:
        Standard deviations [codes of 8 bits].

    Source: Immerkær 1996, Fast noise variance estimation, for the Laplacian; blocks after a fitted plane are common
    practice.
    """
    deviations, means = block_deviations(flat)
    half_deviations, half_means = block_deviations(halved(flat))
    open_blocks = (means > DARKEST) & (means < BRIGHTEST)
    half_open = (half_means > DARKEST) & (half_means < BRIGHTEST)
    by_band = np.array([_low(deviations[(means >= low) & (means < high)]) for low, high in BANDS])
    return Noise(
        sigma=_low(deviations[open_blocks]),
        sigma_half=_low(half_deviations[half_open]),
        by_band=by_band,
        immerkaer=_immerkaer(flat),
        n_blocks=int(open_blocks.sum()),
    )


def block_deviations(image: Floats) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Standard deviation of each 16 × 16 block around its own plane, and its mean.

    Args:
        image: (rows, columns) [codes of 8 bits].

    Returns:
        Deviations and means [codes of 8 bits], each (blocks,).

    Source: least squares; the three terms of a plane are orthogonal on a centred square.
    """
    rows, columns = image.shape[0] // BLOCK, image.shape[1] // BLOCK
    blocks = (
        image[: rows * BLOCK, : columns * BLOCK]
        .reshape(rows, BLOCK, columns, BLOCK)
        .swapaxes(1, 2)
        .reshape(-1, BLOCK**2)
    )
    axis = np.arange(BLOCK, dtype=np.float32) - (BLOCK - 1) / 2
    down, across = np.repeat(axis, BLOCK), np.tile(axis, BLOCK)
    means = blocks.mean(axis=1, dtype=np.float64)
    centred = blocks - means[:, None].astype(np.float32)
    squares = np.einsum("ij,ij->i", centred, centred, dtype=np.float64)
    steepness = float((down**2).sum())
    along = [np.einsum("ij,j->i", centred, way).astype(float) for way in (down, across)]  # in one thread, unlike @
    slopes = (along[0] ** 2 + along[1] ** 2) / steepness
    return np.sqrt(np.maximum(squares - slopes, 0) / (BLOCK**2 - 3)), means


def calm_up_to(values: NDArray[Any], share: float) -> Any:
    """The value up to which such a share of the values lies.

    Args:
        values: (n,), at least one.
        share: in 0..1.

    Returns:
        One of the values: the last that is not above their quantile.

    Source: a definition.
    """
    place = int(share * (len(values) - 1))
    return np.partition(values, place)[place]


def _low(deviations: NDArray[np.float64]) -> float:
    """The flattest share's root mean square; NaN where there are too few blocks."""
    if len(deviations) < ENOUGH_BLOCKS:
        return float("nan")
    calm = deviations[deviations <= calm_up_to(deviations, FLAT_SHARE)]
    return float(np.sqrt(np.mean(calm**2)))


def _immerkaer(image: Floats) -> float:
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    response = np.abs(cv2.filter2D(image, cv2.CV_32F, mask).ravel()[::EVERY])
    return float(np.median(response)) / 0.6745 / 6
