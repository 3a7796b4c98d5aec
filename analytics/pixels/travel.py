"""Which place moved while the shutter was open, which way and how far: dips of the cepstrum.

What moves evenly by a length L along one way is averaged over that length. Its slope along the way is then the picture
less the same picture moved by L, and its spectrum is zero at every multiple of 1/L. In the cepstrum (the transform of
the spectrum's logarithm) that is a narrow dip at L along the way, however much or little contrast the place has.
Soft things have none, and a disc of confusion has one in all directions alike (`rings`), so it tells motion from a
missed focus, and it tells how far.

Objects of equal width have such dips too; so a place is compared with the rest of the picture, and one way with the
others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import Floats
from analytics.pixels.subject import trial_places, weight_around

Numbers = NDArray[np.float64]

#: Ways that are tried, over half a turn.
N_WAYS = 24
#: Distances at which the cepstrum is read, shortest and longest [px], and how many of them at either end only serve as
#: neighbours.
SHORTEST, LONGEST, BEFORE, AFTER = 2, 32, 2, 3
#: Smoothing of the cepstrum [px]: a way of L px ends between two pixels, and is not quite straight.
SMOOTHING = 0.8
#: Tiles that are smaller than this say nothing [px]; the smallest picture that is measured has larger ones.
SMALLEST_TILE = 64
#: Frequency from which a spectrum is noise [1/px]; how many times its noise is added to a spectrum so that it does not
#: count, and the least that is added, as a variance [codes²].
NOISE_FROM, NOISE_ADDED, LEAST_ADDED = 0.45, 1.5, 0.08
#: Depth beyond which a dip of one tile counts no more [1]: a railing has deeper ones than any motion.
DEEPEST = 0.2
#: Scatter of the dips that is added, so that an even picture does not divide by nothing [1].
LEAST_SCATTER = 0.01
#: Width within which a moved place is looked for, in shares of the sides: so far from the middle it has to be
#: surer by half a standard deviation.
WIDTH_OF_SEARCH = 0.14
#: The same where it is asked whether anything moved at all, and the camera does not say where it focused.
WIDER_SEARCH = 0.32
#: Distances that are told apart [px].
SPANS = {"short": (4, 6), "middle": (6, 10), "long": (10, 17), "longest": (17, LONGEST)}


@dataclass(frozen=True, slots=True)
class Travel:
    """Dips of the cepstrum.

    Attributes:
        dips: how much deeper than its neighbours in distance, (rows, columns, ways, distances) [1].
    """

    dips: Floats


@dataclass(frozen=True, slots=True)
class PlaceDips:
    """Mean dips of every place that is tried, and of what surrounds it.

    Attributes:
        inside: cells inside, (places, cells).
        outside: cells that a place is compared with, (places, cells).
        centres: middles of the places, (places, 2).
        within: dips inside, (places, ways, distances) [1].
        without: dips outside, (places, ways, distances) [1].
    """

    inside: NDArray[np.bool_]
    outside: NDArray[np.bool_]
    centres: NDArray[np.intp]
    within: Floats
    without: Floats


@dataclass(frozen=True, slots=True)
class Moved:
    """The place that most likely moved.

    Attributes:
        inside: (rows, columns), True inside.
        outside: True in what it is compared with.
        way: number of the way it moved along, of `N_WAYS` over half a turn from the row's direction towards the
            column's.
        far: how far it moved [px of the tiles].
        sureness: depth against the scatter of dips, other ways taken away [1].
        sureness_wider: that of the surest place in a wider part of the picture, which may be another place.
        depth: mean depth inside [1].
        depth_outside: the same outside, at the same way and distance.
        by_span: greatest sureness within each of `SPANS`.
        whole_same: sureness over the whole picture at the same way and distance.
        whole: greatest sureness over the whole picture.
        whole_far: where that is [px of the tiles].
    """

    inside: NDArray[np.bool_]
    outside: NDArray[np.bool_]
    way: int
    far: float
    sureness: float
    sureness_wider: float
    depth: float
    depth_outside: float
    by_span: dict[str, float]
    whole_same: float
    whole: float
    whole_far: float

    @property
    def direction(self) -> float:
        """The way [radians in 0..π]."""
        return self.way * math.pi / N_WAYS

    def along(self, by_direction: Numbers, turned: int = 0) -> float:
        """What a measure by 12 directions is along the way, or turned from it by so many of them."""
        n = len(by_direction)
        ways = self.way * n / N_WAYS + turned
        return float(by_direction[math.floor(ways) % n] + by_direction[math.ceil(ways) % n]) / 2


def distances() -> NDArray[np.intp]:
    """Distances at which dips are told [px of the tiles], (distances,)."""
    return np.arange(SHORTEST + BEFORE, LONGEST - AFTER + 1)


def travel_of(joined: Floats, tile: tuple[int, int], shape: tuple[int, int]) -> Travel:
    """Dips of the cepstrum in a tile of every cell.

    Args:
        joined: the tiles, in the order of the cells.
        tile: rows and columns of one of them [px], at least `SMALLEST_TILE`.
        shape: rows and columns of cells.

    Returns:
        Travel.

    Source: cepstrum of a smear, Rom 1975, On the cepstrum of two-dimensional functions.
    """
    rows, columns = tile
    window = np.outer(np.hanning(rows), np.hanning(columns)).astype(np.float32)
    whole, least = float(window.sum()), LEAST_ADDED * float((window**2).sum())
    down, across = np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(columns)[None, :]
    is_noise = np.flatnonzero(np.hypot(down, across) > NOISE_FROM)[::3]
    smoothing = np.exp(-2 * (np.pi * SMOOTHING) ** 2 * (down**2 + across**2)).astype(np.float32)
    places = _places_by_way()
    read = np.empty((*shape, N_WAYS, LONGEST - SHORTEST + 1), np.float32)
    # tile by tile: what is small stays in the processor's cache
    for row in range(shape[0]):
        for column in range(shape[1]):
            part = joined[row * rows : (row + 1) * rows, column * columns : (column + 1) * columns]
            seen = part * window
            power = _power(seen - (float(seen.sum()) / whole) * window)
            noise = float(np.partition(power.take(is_noise), len(is_noise) // 2)[len(is_noise) // 2])
            cepstrum = _cepstrum(cv2.log(power + np.float32(NOISE_ADDED * noise + least)) * smoothing)
            read[row, column] = cv2.remap(cepstrum, *places, cv2.INTER_LINEAR)
    return Travel(_dips(read))


def _power(part: Floats) -> Floats:
    """Squared spectrum, (rows, columns / 2 + 1), of a part with an even number of rows and columns."""
    rows = len(part)
    # what is real and what is imaginary lie side by side; in the first and the last column one below the other
    packed = np.square(np.asarray(cv2.dft(part), np.float32))
    power = np.empty((rows, part.shape[1] // 2 + 1), np.float32)
    np.add(packed[:, 1:-1:2], packed[:, 2:-1:2], out=power[:, 1:-1])
    for column in (0, -1):
        ends, each = packed[:, column], power[:, column]
        each[0], each[rows // 2] = ends[0], ends[-1]
        np.add(ends[1:-1:2], ends[2:-1:2], out=each[1 : rows // 2])
        each[rows // 2 + 1 :] = each[rows // 2 - 1 : 0 : -1]
    return power


def _cepstrum(logarithm: Floats) -> Floats:
    """Cepstrum of half a spectrum, from `LONGEST` + 1 px above to as many below, and from 0 to as many to the right."""
    rows, columns = logarithm.shape
    packed = np.zeros((rows, 2 * (columns - 1)), np.float32)
    packed[:, 1:-1:2] = logarithm[:, 1:-1]
    for column in (0, -1):
        packed[1:-1:2, column] = logarithm[1 : rows // 2, column]
        packed[0, column], packed[-1, column] = logarithm[0, column], logarithm[rows // 2, column]
    whole = cv2.dft(packed, flags=cv2.DFT_INVERSE | cv2.DFT_REAL_OUTPUT | cv2.DFT_SCALE)
    reach = LONGEST + 1
    return np.asarray(np.concatenate([whole[-reach:, : reach + 1], whole[: reach + 1, : reach + 1]]), np.float32)


def _places_by_way() -> tuple[Floats, Floats]:
    """Columns and rows of a cepstrum at which each way and distance is read, (ways, distances)."""
    angle = np.arange(N_WAYS)[:, None] * np.pi / N_WAYS
    far = np.arange(SHORTEST, LONGEST + 1)[None, :]
    across, down = far * np.cos(angle), far * np.sin(angle)
    # what lies left of a tile's middle is the same as what lies right of it, upside down
    down = np.where(across < 0, -down, down) + LONGEST + 1
    return np.abs(across).astype(np.float32), down.astype(np.float32)


def _dips(read: Floats) -> Floats:
    """How much deeper the cepstrum is at each distance than two and three pixels nearer and farther."""
    pairs = (read[..., :-1] + read[..., 1:]) / 2
    middle = read[..., BEFORE : read.shape[-1] - AFTER]
    # the shortest distance has only one neighbour that is two pixels nearer
    nearer = np.concatenate([read[..., :1], pairs[..., : middle.shape[-1] - 1]], axis=-1)
    dips = (nearer + pairs[..., BEFORE + 2 :]) / 2 - middle
    return np.asarray(np.clip(dips, -DEEPEST, DEEPEST), np.float32)


def dips_by_place(travel: Travel) -> PlaceDips:
    """Dips of every place that is tried.

    Args:
        travel: of the picture.

    Returns:
        Means over the cells of each.

    Source: see `trial_places`.
    """
    inside, outside, centres = trial_places((travel.dips.shape[0], travel.dips.shape[1]))
    dips = travel.dips.reshape(inside.shape[1], -1)
    means = [_sums(each, dips) / each.sum(axis=1, keepdims=True).astype(np.float32) for each in (inside, outside)]
    within, without = (each.reshape(len(inside), N_WAYS, -1) for each in means)
    return PlaceDips(inside, outside, centres, within, without)


def moved_place(travel: Travel, places: PlaceDips, point: tuple[float, float] | None) -> Moved:
    """The coherent place near the subject that most likely moved.

    Args:
        travel: of the picture.
        places: its dips by place.
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        The place.

    Source: own choice; mean depth over its scatter, tried at every cell, way and distance.
    """
    shape = (travel.dips.shape[0], travel.dips.shape[1])
    inside, outside, centres = places.inside, places.outside, places.centres
    dips = travel.dips.reshape(shape[0] * shape[1], -1)
    n_inside = inside.sum(axis=1, keepdims=True).astype(np.float32)
    within, without = (each.reshape(len(inside), -1) for each in (places.within, places.without))
    scatter = dips.std(axis=0) + np.float32(LEAST_SCATTER)
    anywhere = _unlike_other_ways((within - np.maximum(without, 0)) * np.sqrt(n_inside) / scatter)
    sureness = anywhere + _nearness(shape, centres, point, WIDTH_OF_SEARCH)
    wider = anywhere + _nearness(shape, centres, None, WIDER_SEARCH) if point is None else sureness
    place, way, far = (int(each) for each in np.unravel_index(int(np.argmax(sureness)), sureness.shape))
    whole = _unlike_other_ways((dips.mean(axis=0) / scatter)[None] * math.sqrt(len(dips)))[0]
    px, at = distances(), way * whole.shape[1] + far
    best = sureness.max(axis=(0, 1))
    return Moved(
        inside=inside[place].reshape(shape),
        outside=outside[place].reshape(shape),
        way=way,
        far=float(px[far]),
        sureness=float(sureness[place, way, far]),
        sureness_wider=float(wider.max()),
        depth=float(within[place, at]),
        depth_outside=float(without[place, at]),
        by_span={name: float(best[(px >= low) & (px < high)].max()) for name, (low, high) in SPANS.items()},
        whole_same=float(whole[way, far]),
        whole=float(whole.max()),
        whole_far=float(px[int(np.argmax(whole)) % whole.shape[1]]),
    )


def _nearness(
    shape: tuple[int, int], centres: NDArray[np.intp], point: tuple[float, float] | None, width: float
) -> Floats:
    """The logarithm of a normal weight around the point, else the middle, at every place: (places, 1, 1)."""
    near = weight_around(shape, point or (0.5, 0.5), width)[centres[:, 0], centres[:, 1]]
    return np.asarray(np.log(near), np.float32)[:, None, None]


def _sums(places: NDArray[np.bool_], dips: Floats) -> Floats:
    """Sums over the cells of each place, (places, ways · distances); in one thread, as all measuring is."""
    return np.asarray(np.einsum("pc,cd->pd", places.astype(np.float32), dips), np.float32)


def _unlike_other_ways(sureness: Floats) -> Floats:
    """(places, ways, distances) less the middle of all ways at the same distance."""
    by_way = sureness.reshape(len(sureness), N_WAYS, -1)
    ordered = np.sort(by_way.swapaxes(1, 2), axis=-1)
    return np.asarray(by_way - ordered[..., N_WAYS // 2 - 1 : N_WAYS // 2 + 1].mean(axis=-1)[:, None, :], np.float32)
