"""Where the subject may be, and which coherent place differs from the rest of the map. Both stay guesses and are
shown as such.

A subject is near the middle, or where the camera says that it focused. A place that is softer than everything around
it may be a subject that was missed or that moved; a place that is sharper is most often a subject that was meant.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.spread import PLACE_SHARE, Blur, BlurMap, blur_of

Numbers = NDArray[np.float64]

#: Radii of the places that are tried [cells].
RADII = (1.3, 2.0, 2.8)
#: Cells between a place and what it is compared with.
GAP = 0.8
#: Width of the guess around the middle, and around a focus point of the camera, in shares of the sides.
WIDTH_OF_MIDDLE, WIDTH_OF_POINT = 0.22, 0.12
#: Share of the subject's greatest weight below which a cell belongs to the surroundings.
SURROUNDING = 0.4
#: Width within which a differing place is looked for, in shares of the sides.
WIDTH_OF_SEARCH = 0.2
#: Spread below which no difference is made [px].
SHARPEST = 0.5
#: Scatter of a map that is even [octaves].
LEAST_SCATTER = 0.25
#: What a loss of detail across counts against one along.
ACROSS_SHARE = 0.5
#: Crests at which a cell counts for half.
HALF_KNOWN = 20.0
#: Cells' worth of crests that a place needs inside and outside.
ENOUGH_INSIDE, ENOUGH_OUTSIDE = 1.2, 6.0


@dataclass(frozen=True, slots=True)
class Place:
    """A place on the map that differs.

    Attributes:
        inside: (rows, columns), True inside.
        softer: log2 of the spread inside over the spread outside [octaves].
        sureness: the same over the scatter outside [1].
        blur: of the crests inside.
        outside: of the crests outside.
    """

    inside: NDArray[np.bool_]
    softer: float
    sureness: float
    blur: Blur
    outside: Blur


def subject_weights(shape: tuple[int, int], point: tuple[float, float] | None) -> Numbers:
    """How much each cell counts for the subject.

    Args:
        shape: rows and columns of cells.
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        (rows, columns), sum 1.

    Source: own choice; a normal weight around the middle or the point.
    """
    y, x = point or (0.5, 0.5)
    width = WIDTH_OF_POINT if point else WIDTH_OF_MIDDLE
    weight = weight_around(shape, (y, x), width)
    return np.asarray(weight / weight.sum())


def surrounding_weights(weights: Numbers) -> Numbers:
    """How much each cell counts for what surrounds the subject: most where the subject is least likely.

    Args:
        weights: of the subject, (rows, columns).

    Returns:
        (rows, columns), sum 1.

    Source: own choice.
    """
    around = np.clip(1 - weights / (SURROUNDING * weights.max()), 0, 1)
    return np.asarray(around / around.sum())


def differing_place(counts: Numbers, cells: BlurMap, point: tuple[float, float] | None, sign: int) -> Place | None:
    """The coherent place near the subject that is softest (sign 1) or sharpest (sign -1) against the rest.

    Args:
        counts: (level, rows, columns, direction, bin).
        cells: blur by cell.
        point: where the camera focused, or None.
        sign: 1 for softer, -1 for sharper.

    Returns:
        The place, or None where too few cells have edges.

    Source: own choice; difference of means over the scatter, tried at every cell and three radii.
    """
    octaves = _octaves(cells.middle)
    trial = _means(_known(cells), octaves[None], point)
    if trial is None:
        return None
    softer = trial.inside_mean[0] - trial.outside_mean[0]
    sureness = softer / (trial.outside_scatter[0] + LEAST_SCATTER)
    return _place(counts, trial, sign * sureness * trial.worth, softer, sureness)


def streaked_place(counts: Numbers, cells: BlurMap, point: tuple[float, float] | None) -> Place | None:
    """The coherent place near the subject whose edges are spread along one way as those around it are not.

    Args:
        counts: (level, rows, columns, direction, bin).
        cells: blur by cell.
        point: where the camera focused, or None.

    Returns:
        The place with `softer` as how much more one-way it is than the rest [octaves] and `sureness` as how much its
        way differs from the rest's [octaves], or None.

    Source: own choice; directions are compared by twice their angle, as directions without a sign are.
    """
    apart = _octaves(cells.along) - _octaves(cells.across)
    turned = np.stack([apart * np.cos(2 * cells.direction), apart * np.sin(2 * cells.direction)])
    trial = _means(_known(cells), np.nan_to_num(turned), point)
    if trial is None:
        return None
    differs = np.hypot(*(trial.inside_mean - trial.outside_mean))
    softer = np.hypot(*trial.inside_mean) - np.hypot(*trial.outside_mean)
    scatter = np.hypot(*trial.outside_scatter) + LEAST_SCATTER
    return _place(counts, trial, (differs + softer) / scatter * trial.worth, softer, differs)


@dataclass(frozen=True, slots=True)
class DetailPlace:
    """A place whose fine detail differs from the rest's, by `bands`.

    Attributes:
        inside: (rows, columns), True inside.
        outside: True in what it is compared with.
        differs: by how much [octaves].
    """

    inside: NDArray[np.bool_]
    outside: NDArray[np.bool_]
    differs: float


def blurred_place(detail: Numbers, point: tuple[float, float] | None) -> DetailPlace | None:
    """The coherent place near the subject that has least fine detail against the rest.

    Args:
        detail: fine over coarse detail by cell, (rows, columns) [octaves], NaN where it tells nothing.
        point: where the camera focused, or None.

    Returns:
        The place, or None where too few cells tell something.

    Source: own choice; as `differing_place`.
    """
    trial = _means(np.isfinite(detail).astype(float), np.nan_to_num(detail)[None], point)
    if trial is None:
        return None
    differs = trial.outside_mean[0] - trial.inside_mean[0]
    return _detail_place(trial, differs / (trial.outside_scatter[0] + LEAST_SCATTER), differs, detail.shape)


def swept_place(detail: Numbers, point: tuple[float, float] | None) -> DetailPlace | None:
    """The coherent place near the subject that lacks fine detail in one direction, but not across it, as the rest
    does not.

    Args:
        detail: fine over coarse detail by direction and cell, (directions, rows, columns) [octaves], NaN where it
            tells nothing.
        point: where the camera focused, or None.

    Returns:
        The place, or None where too few cells tell something.

    Source: own choice; as `streaked_place`.
    """
    trial = _means(np.isfinite(detail[0]).astype(float), np.nan_to_num(detail), point)
    if trial is None:
        return None
    lost = trial.outside_mean - trial.inside_mean
    one_way = lost - ACROSS_SHARE * np.roll(lost, len(lost) // 2, axis=0)
    scatter = trial.outside_scatter.mean(axis=0) + LEAST_SCATTER
    return _detail_place(trial, one_way.max(axis=0) / scatter, one_way.max(axis=0), detail.shape[1:])


def _detail_place(trial: _Trial, score: Numbers, differs: Numbers, shape: tuple[int, ...]) -> DetailPlace:
    best = int(np.nanargmax(score * trial.worth))
    return DetailPlace(trial.inside[best].reshape(shape), trial.outside[best].reshape(shape), float(differs[best]))


@dataclass(frozen=True, slots=True)
class _Trial:
    """Means inside and outside every trial place, (fields, places), and how much each is worth trying, (places,)."""

    inside: NDArray[np.bool_]
    outside: NDArray[np.bool_]
    inside_mean: Numbers
    outside_mean: Numbers
    outside_scatter: Numbers
    worth: Numbers


def _octaves(spread: Numbers) -> Numbers:
    return np.asarray(np.log2(np.maximum(np.nan_to_num(spread, nan=SHARPEST), SHARPEST)))


def _known(cells: BlurMap) -> Numbers:
    """How much is known of each cell, 0 to 1."""
    return np.where(np.isfinite(cells.spread), cells.n_crests / (cells.n_crests + HALF_KNOWN), 0.0)


def _means(weight: Numbers, fields: Numbers, point: tuple[float, float] | None) -> _Trial | None:
    shape = (weight.shape[0], weight.shape[1])
    inside, outside, centres = trial_places(shape)
    known = weight.ravel()
    values = np.where(known > 0, fields.reshape(len(fields), -1), 0.0)
    n_in, n_out = inside @ known, outside @ known
    usable = (n_in >= ENOUGH_INSIDE) & (n_out >= ENOUGH_OUTSIDE)
    if not usable.any():
        return None
    inside_mean = (known * values) @ inside.T / np.maximum(n_in, 1e-9)
    outside_mean = (known * values) @ outside.T / np.maximum(n_out, 1e-9)
    outside_square = (known * values**2) @ outside.T / np.maximum(n_out, 1e-9)
    prior = weight_around(shape, point or (0.5, 0.5), WIDTH_OF_SEARCH)[centres[:, 0], centres[:, 1]]
    return _Trial(
        inside=inside,
        outside=outside,
        inside_mean=inside_mean,
        outside_mean=outside_mean,
        outside_scatter=np.sqrt(np.maximum(outside_square - outside_mean**2, 0)),
        worth=np.where(usable, prior * np.sqrt(n_in / (n_in + 2)), np.nan),
    )


def _place(counts: Numbers, trial: _Trial, score: Numbers, softer: Numbers, sureness: Numbers) -> Place:
    best = int(np.nanargmax(score))
    shape = counts.shape[1:3]
    within, without = trial.inside[best].reshape(shape), trial.outside[best].reshape(shape)
    return Place(
        inside=within,
        softer=float(softer[best]),
        sureness=float(sureness[best]),
        blur=blur_of(_sum_over(counts, within), PLACE_SHARE),
        outside=blur_of(_sum_over(counts, without), PLACE_SHARE),
    )


def weighted_counts(counts: Numbers, weight: Numbers) -> Numbers:
    """Crests of all cells, each cell with a weight: (level, direction, bin).

    Args:
        counts: (level, rows, columns, direction, bin).
        weight: (rows, columns).

    Returns:
        Summed counts.

    Source: a definition.
    """
    return np.asarray(np.tensordot(weight, counts, axes=((0, 1), (1, 2))))


def _sum_over(counts: Numbers, mask: NDArray[np.bool_]) -> Numbers:
    return np.asarray(counts[:, mask].sum(axis=1))


def weight_around(shape: tuple[int, int], point: tuple[float, float], width: float) -> Numbers:
    """A normal weight of the cells around a point, 1 at the point.

    Args:
        shape: rows and columns of cells.
        point: in shares of the rows and columns.
        width: standard deviation, in shares of the sides.

    Returns:
        (rows, columns).

    Source: a definition.
    """
    y = (np.arange(shape[0]) + 0.5) / shape[0] - point[0]
    x = (np.arange(shape[1]) + 0.5) / shape[1] - point[1]
    return np.asarray(np.exp(-(y[:, None] ** 2 + x[None, :] ** 2) / (2 * width**2)))


@lru_cache(maxsize=4)
def trial_places(shape: tuple[int, int]) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.intp]]:
    """Every place that is tried.

    Args:
        shape: rows and columns of cells.

    Returns:
        Inside and outside of each, (places, cells), and their middles, (places, 2).

    Source: own choice; discs of three radii.
    """
    rows, columns = shape
    y, x = np.mgrid[0:rows, 0:columns]
    middles = [(row, column) for row in range(1, rows - 1) for column in range(1, columns - 1)]
    inside, outside, centres = [], [], []
    for row, column in middles:
        distance = np.hypot(y - row, x - column).ravel()
        for radius in RADII:
            inside.append(distance <= radius)
            outside.append(distance > radius + GAP)
            centres.append((row, column))
    return np.array(inside), np.array(outside), np.array(centres, np.intp)
