"""How much fine detail a place has beside its coarser detail, by direction: blur takes the fine away first.

Scenes have about as much contrast in every octave of size, whatever they show. So the energy of gradients at full
size over that at a quarter of the size falls with blur, however dense the texture is, where single edges are hard to
tell apart. A smear takes it in one direction only. All sizes are made from the same detailed tiles, so that a place
is compared with itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import Floats, halved
from analytics.pixels.edges import N_BANDS, N_DIRECTIONS, Sizes, noise_energies, smoothed

Numbers = NDArray[np.float64]

#: Sizes that are compared: full, half, quarter.
N_SIZES = 3
#: Pixels along the seams of tiles that are left out, by size.
SEAMS = (6, 5, 4)
#: Noise's energy that is taken away, and the least that is left, as a share of it: what is no more than noise says
#: nothing.
NOISE_TAKEN, LEAST_OVER_NOISE = 1.0, 0.15
#: Energy that every gradient has [(codes/px)²], so that empty places do not divide by nothing.
LEAST_ENERGY = 0.02
#: Energy at a quarter of the size from which a cell tells something [(codes/px)²].
TELLING_ENERGY = 4.0


@dataclass(frozen=True, slots=True)
class Bands:
    """Energies of gradients by size and cell.

    Attributes:
        tensors: (size, rows, columns, 3): across², down², across·down [(codes/px)²], noise taken away.
        floors: (size, rows, columns): energy along one direction that noise may leave [(codes/px)²].
    """

    tensors: Numbers
    floors: Numbers

    @property
    def is_telling(self) -> NDArray[np.bool_]:
        """Cells with detail of any size."""
        return np.asarray(self.tensors[-1, ..., 0] + self.tensors[-1, ..., 1] > TELLING_ENERGY)


def bands_of(sizes: Sizes, flat: Floats, shape: tuple[int, int]) -> Bands:
    """Energies of gradients of a picture's detailed tiles at three sizes.

    Args:
        sizes: of the picture.
        flat: its flat tiles at full size.
        shape: rows and columns of cells.

    Returns:
        Bands.

    Source: natural scenes have equal contrast in equal octaves, Field 1987; structure tensor, Förstner and Gülch 1987.
    """
    # a quarter of the detailed tiles, not of the whole picture: a place is compared with itself
    quarter, tile = halved(sizes.images[1]), sizes.tiles[1]
    images, smooth = (*sizes.images[:2], quarter), (*sizes.smooth[:2], smoothed(quarter))
    energies = (*sizes.energies[:2], noise_energies(halved(halved(flat))))
    tensors, floors = [], []
    for size, side in enumerate((*sizes.tiles[:2], (tile[0] // 2, tile[1] // 2))):
        tensor = _tensor(_by_tile(smooth[size], shape, side), SEAMS[size])
        brightness = _inner(_by_tile(images[size], shape, side), SEAMS[size]).mean(axis=(1, 3))
        noise = energies[size][0][np.clip(brightness / 256 * N_BANDS, 0, N_BANDS - 1).astype(int)]
        tensor[..., :2] -= NOISE_TAKEN * noise[..., None] / 2
        tensors.append(tensor)
        floors.append(LEAST_OVER_NOISE * noise / 2 + LEAST_ENERGY)
    return Bands(np.stack(tensors), np.stack(floors))


def _by_tile(image: Floats, shape: tuple[int, int], tile: tuple[int, int]) -> Floats:
    return image.reshape(shape[0], tile[0], shape[1], tile[1])


def _inner(parts: Floats, seam: int, step: tuple[int, int] = (0, 0)) -> Floats:
    """Every other row of each tile away from the seams, moved by a step of rows and columns."""
    y, x = (max(1, min(seam, side // 4)) for side in (parts.shape[1], parts.shape[3]))
    rows = slice(y + step[0], parts.shape[1] - y + step[0], 2)
    return parts[:, rows, :, x + step[1] : parts.shape[3] - x + step[1]]


def _tensor(parts: Floats, seam: int) -> Numbers:
    """Mean products of gradients in each tile, (rows, columns, 3)."""
    across = _inner(parts, seam, (0, 1)) - _inner(parts, seam, (0, -1))
    down = _inner(parts, seam, (1, 0)) - _inner(parts, seam, (-1, 0))
    # central differences are over two pixels
    count = 4.0 * across.shape[1] * across.shape[3]
    products = [np.einsum("rich,rich->rc", a, b) / count for a, b in ((across, across), (down, down), (across, down))]
    return np.stack(products, axis=-1).astype(np.float64)


def detail_by_direction(bands: Bands, weight: Numbers) -> Numbers:
    """Fine detail over coarse detail along each of 12 directions, of the cells together.

    Args:
        bands: of the picture.
        weight: of each cell, (rows, columns).

    Returns:
        (12,) log2 of the ratio of gradients at full size and at a quarter of it [octaves]; NaN without telling cells.

    Source: energy along n is nᵀJn.
    """
    used = weight * bands.is_telling
    if not used.sum() > 0:
        return np.full(N_DIRECTIONS, np.nan)
    # every cell counts alike, however strong its detail: the weight is divided by the cell's own coarse energy
    share = used / np.maximum(bands.tensors[-1, ..., 0] + bands.tensors[-1, ..., 1], LEAST_ENERGY)
    tensors = np.einsum("rc,srck->sk", share, bands.tensors)
    floors = np.einsum("rc,src->s", share, bands.floors)
    fine, coarse = (_along(tensors[size], floors[size]) for size in (0, N_SIZES - 1))
    return np.asarray(0.5 * np.log2(fine / coarse))


def detail_map(bands: Bands) -> Numbers:
    """Fine over coarse detail of each cell along each of 12 directions.

    Args:
        bands: of the picture.

    Returns:
        (12, rows, columns) [octaves]; NaN where a cell tells nothing.

    Source: energy along n is nᵀJn.
    """
    fine, coarse = (_along(bands.tensors[size], bands.floors[size][..., None]) for size in (0, N_SIZES - 1))
    octaves = np.moveaxis(0.5 * np.log2(fine / coarse), -1, 0)
    return np.where(bands.is_telling, octaves, np.nan)


def directed(detail: Numbers) -> tuple[Numbers, Numbers]:
    """By how much, and which way, a map of detail is directed: cosine and sine part of twice the angle.

    Args:
        detail: (12, rows, columns) [octaves].

    Returns:
        Two maps [octaves]; the direction is the one in which there is least fine detail.

    Source: first harmonic over half a turn.
    """
    angle = np.arange(N_DIRECTIONS) * np.pi / N_DIRECTIONS
    cosine, sine = (-np.tensordot(wave(2 * angle), detail, axes=1) * 2 / N_DIRECTIONS for wave in (np.cos, np.sin))
    return np.asarray(cosine), np.asarray(sine)


def _along(tensor: Numbers, floor: Numbers | float) -> Numbers:
    """Energy along each of 12 directions, at least the floor."""
    angle = np.arange(N_DIRECTIONS) * np.pi / N_DIRECTIONS
    basis = np.stack([np.cos(angle) ** 2, np.sin(angle) ** 2, 2 * np.cos(angle) * np.sin(angle)])
    return np.asarray(np.maximum(tensor @ basis, floor))
