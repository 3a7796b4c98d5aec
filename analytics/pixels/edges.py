"""How far edges are spread, by place and direction.

A step edge blurred by a standard deviation s, smoothed further by σ, has a crest of gradient that falls as 1/√(s² +
σ²). The ratio of the crest at two σ gives s without knowing the edge's contrast. A blur with covariance C seen on an
edge with normal n has s² = nᵀCn + s0², which is a + b·cos 2(θ − φ): a tells how wide the blur is, b how directional,
φ along which way. Negative s² is kept: edges steeper than optics can make were sharpened, and that is information.

It measures at four sizes of the picture, since a wide blur can only be resolved in a smaller one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import Floats, Tiles, halved
from analytics.pixels.noise import calm_up_to

#: Smoothing at which crests are compared [px]. Source: Hu and de Haan 2006; Zhuo and Sim 2011 for the pair.
FINE, COARSE = 1.0, 2.0
#: Variance that central differences add to either smoothing [px²]: a box of width 2. Source: 2² / 12.
DIFFERENCE = 1.0 / 3.0
#: Directions of edge normals, over half a turn.
N_DIRECTIONS = 12
#: Bins of signed spread: lowest, highest [px of the level] and their number.
LOWEST, HIGHEST, N_BINS = -1.6, 4.4, 48
#: Sizes measured: full, half, quarter, eighth.
N_LEVELS = 4
#: A crest counts when its gradient is at least this [codes of 8 bits / px], and this many times the noise's.
FAINTEST, OVER_NOISE = 3.0, 3.5
#: Crests looked at per size of the picture; of more, every second or third is taken and counted double or triple.
MOST_CRESTS = 40_000
#: Contrast of an edge that counts in full: this quantile of the edges of the smallest copy.
USUAL_CONTRAST = 0.6
#: Pixels along the seams of joined tiles that are left out.
SEAM = 6
#: Fixed-point steps of a code in which crests are searched; 255 of them and their difference fit 16 bits.
FIXED = 64
#: Bands of brightness in which noise is known.
N_BANDS = 8

Counts = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EdgeCounts:
    """Crests of edges counted by level, cell, direction of the normal and spread.

    Attributes:
        counts: (level, cell row, cell column, direction, spread bin).
    """

    counts: Counts

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of cells."""
        return self.counts.shape[1], self.counts.shape[2]


def bin_centres() -> NDArray[np.float64]:
    """Signed spread in the middle of each bin [px of the level], (bins,)."""
    width = (HIGHEST - LOWEST) / N_BINS
    return np.asarray(LOWEST + width * (np.arange(N_BINS) + 0.5), np.float64)


@dataclass(frozen=True, slots=True)
class Sizes:
    """A picture's tiles at full, half, quarter and eighth size, prepared once for all that looks at them.

    Attributes:
        images: codes of 8 bits.
        tiles: rows and columns of one tile of each, or of the whole [px of the size].
        smooth: after smoothing by `FINE`.
        smoother: after smoothing by `COARSE`.
        energies: squared gradients of noise, by `noise_energies`.
    """

    images: tuple[Floats, ...]
    tiles: tuple[tuple[int, int], ...]
    smooth: tuple[Floats, ...]
    smoother: tuple[Floats, ...]
    energies: tuple[NDArray[np.float64], ...]


def sizes_of(tiles: Tiles) -> Sizes:
    """The sizes of a picture.

    Args:
        tiles: of one picture.

    Returns:
        Sizes; half is made of the detailed tiles, quarter and eighth are the copies.

    Source: own choice.
    """
    images = (tiles.detailed, halved(tiles.detailed), tiles.quarter, tiles.eighth)
    smooth = tuple(smoothed(image) for image in images)
    smoother = tuple(_smoother(image) for image in smooth)
    calm = [noise_energies(flat) for flat in (tiles.flat, halved(tiles.flat))]
    # the smaller copies are whole, and have flat places of their own
    calm += [_noise_energies(images[level], smooth[level], smoother[level]) for level in (2, 3)]
    half_tile = tiles.detailed_tile[0] // 2, tiles.detailed_tile[1] // 2
    return Sizes(
        images=images,
        tiles=(tiles.detailed_tile, half_tile, tiles.quarter_tile, (tiles.eighth.shape[0], tiles.eighth.shape[1])),
        smooth=smooth,
        smoother=smoother,
        energies=tuple(calm),
    )


def edge_counts(sizes: Sizes, shape: tuple[int, int]) -> EdgeCounts:
    """Counts the crests of a picture at four sizes.

    Args:
        sizes: of one picture.
        shape: rows and columns of cells.

    Returns:
        Counts of crests, (4, rows, columns, 12, 48).

    Source: Hu and de Haan 2006, Low cost robust blur estimator; Zhuo and Sim 2011, Defocus map estimation from a
        single image.
    """
    crests = [_level_crests(sizes, level) for level in range(N_LEVELS)]
    # what an edge of this picture is, the smallest copy tells: there neither noise nor blur hides it
    usual = float(np.quantile(crests[-1].contrast, USUAL_CONTRAST)) if len(crests[-1].contrast) else 1.0
    return EdgeCounts(np.stack([_counted(each, shape, max(usual, FAINTEST)) for each in crests]))


def smoothed(image: Floats) -> Floats:
    """An image after smoothing by `FINE`.

    Args:
        image: (rows, columns).

    Returns:
        The same shape.

    Source: Gaussian.
    """
    return np.asarray(cv2.GaussianBlur(image, (7, 7), FINE), np.float32)


def _smoother(smooth: Floats) -> Floats:
    """A smoothed image smoothed further to `COARSE`: variances of Gaussians add up."""
    return np.asarray(cv2.GaussianBlur(smooth, (11, 11), float(np.sqrt(COARSE**2 - FINE**2))), np.float32)


def _energy(image: Floats) -> Floats:
    """Squared gradient by central differences [(codes/px)²]."""
    across, down = _differences(image)
    np.add(np.square(across, out=across), np.square(down, out=down), out=across)
    across *= np.float32(0.25)  # a difference is over two pixels
    return across


def _differences(image: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Next pixel less the one before, along the rows and along the columns; 0 at the ends."""
    across, down = np.empty_like(image), np.empty_like(image)
    np.subtract(image[:, 2:], image[:, :-2], out=across[:, 1:-1])
    np.subtract(image[2:], image[:-2], out=down[1:-1])
    across[:, [0, -1]] = 0
    down[[0, -1]] = 0
    return across, down


def noise_energies(flat: Floats) -> NDArray[np.float64]:
    """Squared gradient that noise alone makes, at both smoothings, by brightness.

    Args:
        flat: flat places of one size of the picture [codes of 8 bits].

    Returns:
        (2, 8): fine and coarse, by band of brightness from black to white [(codes/px)²]; bands not seen take the
        nearest seen.

    Source: the blocks with the least coarse gradient show noise and nothing else.
    """
    smooth = smoothed(flat)
    return _noise_energies(flat, smooth, _smoother(smooth))


def _noise_energies(flat: Floats, smooth: Floats, smoother: Floats) -> NDArray[np.float64]:
    """As `noise_energies`, of what is smoothed already."""
    fine, coarse, codes = (_by_block(each) for each in (_energy(smooth), _energy(smoother), flat))
    bands = np.clip(codes / 256 * N_BANDS, 0, N_BANDS - 1).astype(int)
    energies = np.full((2, N_BANDS), np.nan)
    for band in range(N_BANDS):
        inside = bands == band
        if inside.sum() >= 12:
            calm = inside & (coarse <= calm_up_to(coarse[inside], 0.3))
            energies[:, band] = fine[calm].mean(), coarse[calm].mean()
    return _filled(energies)


def _by_block(image: Floats) -> Floats:
    """Means of all whole blocks of 8 × 8 pixels, (blocks,)."""
    return np.ravel(halved(halved(halved(image))))


def _filled(energies: NDArray[np.float64]) -> NDArray[np.float64]:
    seen = np.flatnonzero(np.isfinite(energies[0]))
    if not len(seen):
        return np.zeros_like(energies)
    nearest = seen[np.abs(np.arange(N_BANDS)[:, None] - seen[None, :]).argmin(axis=1)]
    return energies[:, nearest]


@dataclass(frozen=True, slots=True)
class _Crests:
    """Crests of one size of the picture: places in it, direction of the normal, spread [px of the level], contrast
    [codes]."""

    y: NDArray[np.float64]
    x: NDArray[np.float64]
    turn: NDArray[np.intp]
    spread: NDArray[np.float64]
    contrast: NDArray[np.float64]
    stands_for: int


def _level_crests(sizes: Sizes, level: int) -> _Crests:
    image, energies = sizes.images[level], sizes.energies[level]
    rows, columns = image.shape
    crests, gx, gy, step = _crests(sizes.smooth[level], max(FAINTEST, OVER_NOISE * float(np.sqrt(energies[0].min()))))
    keep = _inside(crests, (rows, columns), sizes.tiles[level])
    crests, gx, gy = crests[keep], gx[keep], gy[keep]
    band = np.clip(image.ravel()[crests] / 256 * N_BANDS, 0, N_BANDS - 1).astype(int)
    energy = gx * gx + gy * gy
    strong = energy > OVER_NOISE**2 * energies[0][band]
    crests, gx, gy, band, energy = (each[strong] for each in (crests, gx, gy, band, energy))
    wide = sizes.smoother[level].ravel()
    across, down = wide[crests + 1] - wide[crests - 1], wide[crests + columns] - wide[crests - columns]
    coarse = np.maximum((across.astype(float) ** 2 + down.astype(float) ** 2) / 4 - energies[1][band], 1e-3)
    turn = np.floor(np.mod(np.arctan2(gy, gx) / np.pi * N_DIRECTIONS + 0.5, N_DIRECTIONS)).astype(int) % N_DIRECTIONS
    spread = signed_spread(energy - energies[0][band], coarse)
    contrast = np.sqrt(coarse * 2 * np.pi * (np.clip(spread, 0, HIGHEST) ** 2 + COARSE**2))
    y = crests // columns
    x = crests - y * columns
    return _Crests(y / rows, x / columns, turn, spread, contrast, step)


def _counted(crests: _Crests, shape: tuple[int, int], usual: float) -> Counts:
    """Crests by cell, direction and spread; a fainter one than usual counts for less (by the square), since it may be
    noise."""
    bins = np.clip((crests.spread - LOWEST) / (HIGHEST - LOWEST) * N_BINS, 0, N_BINS - 1).astype(int)
    cell = (crests.y * shape[0]).astype(int) * shape[1] + (crests.x * shape[1]).astype(int)
    weight = np.minimum(crests.contrast / usual, 1.0) ** 2 * crests.stands_for
    where = (cell * N_DIRECTIONS + crests.turn) * N_BINS + bins
    total = np.bincount(where, weight, minlength=shape[0] * shape[1] * N_DIRECTIONS * N_BINS)
    return np.asarray(total.reshape(*shape, N_DIRECTIONS, N_BINS), np.float64)


def _crests(smooth: Floats, limit: float) -> tuple[NDArray[np.intp], Counts, Counts, int]:
    """Places of crests in reading order, their gradients [codes/px], and how many crests each stands for."""
    fixed = np.asarray(smooth * FIXED, np.int16)
    across, down = _differences(fixed)
    edges = cv2.Canny(across, down, 2 * FIXED * limit, 2 * FIXED * limit, L2gradient=True)
    found = np.flatnonzero(edges.view(np.bool_))
    step = max(1, len(found) // MOST_CRESTS)
    found = found[::step]
    gx, gy = (np.asarray(each.ravel()[found] / (2.0 * FIXED), np.float64) for each in (across, down))
    return found, gx, gy, step


def _inside(crests: NDArray[np.intp], size: tuple[int, int], tile: tuple[int, int]) -> NDArray[np.bool_]:
    """Crests away from the picture's border and, in joined tiles, from the seams."""
    row_is_in, column_is_in = (_away(*each) for each in zip(size, tile, strict=True))
    y = crests // size[1]
    return np.asarray(row_is_in[y] & column_is_in[crests - y * size[1]])


def _away(length: int, tile: int) -> NDArray[np.bool_]:
    """Rows (or columns) of joined tiles that are away from the seams."""
    place, margin = np.arange(length) % tile, min(SEAM, tile // 6)
    return np.asarray((place >= margin) & (place < tile - margin))


def signed_spread(fine: NDArray[np.float64], coarse: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard deviation of an edge's blur from its squared gradient at two smoothings, with the sign of its square.

    s² = (σ2² − R²σ1²) / (R² − 1), with R² = fine / coarse.

    Args:
        fine: squared gradient at the crest after smoothing by 1 px.
        coarse: the same after smoothing by 2 px.

    Returns:
        Spread [px], negative where the edge is steeper than a pixel can show; 9 px where it cannot be resolved.

    Source: Zhuo and Sim 2011, with both smoothings widened by the central difference.
    """
    ratio = fine / coarse
    fine_variance, coarse_variance = FINE**2 + DIFFERENCE, COARSE**2 + DIFFERENCE
    over = np.maximum(ratio - 1, 0.02)
    square = (coarse_variance - ratio * fine_variance) / over
    return np.asarray(np.clip(np.sign(square) * np.sqrt(np.abs(square)), LOWEST, 9.0), np.float64)
