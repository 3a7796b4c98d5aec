"""From counted crests to how far edges are spread: over all, by direction, and over the map.

A picture is as sharp as its sharpest edges, since many edges of a scene are soft by themselves. So every group of
crests (all of them, those of a place, those of a direction) is told by a low quantile, taken at the finest size of
the picture that can still resolve it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.edges import HIGHEST, LOWEST, N_BINS, N_DIRECTIONS, N_LEVELS

Numbers = NDArray[np.float64]

#: The share of crests that are steeper than the spread told. Source: own choice, tried on generated frames between
#: 0.1 and 0.5.
SHARP_SHARE = 0.25
#: The same where places are compared: a low quantile would see the sharp neighbours of a smeared subject. Source: as
#: above.
PLACE_SHARE = 0.5
#: Crests that a group needs at one size.
ENOUGH_CRESTS = 12
#: Spread up to which one size of the picture is believed, and from which the next smaller one is [px of the level].
BELIEVED, TOO_WIDE = 1.6, 2.4
#: Crests at which a direction counts for half of what a well-filled one counts.
HALF_WEIGHT = 25.0
#: Steepest spread that octaves tell apart from none [px]; spreads are raised by it, so that over-sharpened edges keep
#: their order.
RAISE = 1.5
#: Pull of the directional part towards none, in directions' worth of evidence.
RIDGE = 0.15


@dataclass(frozen=True, slots=True)
class Blur:
    """Blur of one group of crests, standard deviations [px of the full-size picture]; NaN where there is too little
    to tell.

    Attributes:
        spread: over all directions; negative where edges are steeper than a lens makes them.
        along: in the direction of the widest blur.
        across: in the direction of the narrowest.
        direction: of the widest blur, from the row's direction towards the column's [radians in 0..π].
        n_crests: crests at full size.
    """

    spread: float
    along: float
    across: float
    direction: float
    n_crests: float


@dataclass(frozen=True, slots=True)
class BlurMap:
    """The same for every cell of the map, each (rows, columns); directions are pooled with the neighbours'.

    `spread` is that of sharp edges, `middle` and what has a direction that of middling ones.
    """

    spread: Numbers
    middle: Numbers
    along: Numbers
    across: Numbers
    direction: Numbers
    n_crests: Numbers


def blur_of(counts: Numbers, share: float = SHARP_SHARE) -> Blur:
    """Blur of one group of crests: s² = a + b·cos 2(θ − φ), with along² = a + b and across² = a − b.

    Args:
        counts: (level, direction, bin).
        share: quantile that stands for the group.

    Returns:
        Blur [px].

    Source: covariance of a blur seen across an edge, s² = nᵀCn; least squares over directions.
    """
    spread = float(resolved_spread(counts.sum(axis=1), share))
    mean, cosine, sine = _directional_fit(counts, share)
    strength = float(np.hypot(cosine, sine))
    return Blur(
        spread=spread,
        along=float(signed_root(mean + strength)),
        across=float(signed_root(mean - strength)),
        direction=float(np.mod(np.arctan2(sine, cosine) / 2, np.pi)),
        n_crests=float(counts[0].sum()),
    )


def blur_map(counts: Numbers) -> BlurMap:
    """Blur of every cell.

    Args:
        counts: (level, rows, columns, direction, bin).

    Returns:
        Maps, (rows, columns) [px].

    Source: as `blur_of`.
    """
    by_cell = counts.sum(axis=3)
    spread = resolved_spread(by_cell, SHARP_SHARE)
    mean, cosine, sine = _directional_fit(_pooled(counts), PLACE_SHARE)
    strength = np.hypot(cosine, sine)
    known = np.isfinite(spread)
    return BlurMap(
        spread=spread,
        middle=resolved_spread(by_cell, PLACE_SHARE),
        along=np.where(known, signed_root(mean + strength), np.nan),
        across=np.where(known, signed_root(mean - strength), np.nan),
        direction=np.where(known, np.mod(np.arctan2(sine, cosine) / 2, np.pi), np.nan),
        n_crests=counts[0].sum(axis=(2, 3)),
    )


def spread_along(blur: Blur, direction: float) -> float:
    """Spread of a blur in any direction: s² = (along² + across²)/2 + (along² − across²)/2 · cos 2(θ − φ).

    Args:
        blur: with signed spreads [px].
        direction: [radians].

    Returns:
        Spread, signed as the blur's are [px].

    Source: covariance of a blur seen across an edge, s² = nᵀCn.
    """
    widest, narrowest = (math.copysign(each**2, each) for each in (blur.along, blur.across))
    turn = math.cos(2 * (direction - blur.direction))
    return float(signed_root((widest + narrowest) / 2 + (widest - narrowest) / 2 * turn))


def octaves(spread: float, tolerance: float = 1.0) -> float:
    """Spread in octaves, raised so that negative ones have a place: log2(s / tolerance + 1.5).

    Args:
        spread: standard deviation, negative where over-sharpened [px].
        tolerance: of the picture's size [1].

    Returns:
        Octaves; a spread of half a pixel is 1.

    Source: a definition.
    """
    shrunk = spread / tolerance if spread > 0 else spread
    return math.log2(max(shrunk + RAISE, 0.1)) if math.isfinite(spread) else math.nan


def directed_octaves(blur: Blur, tolerance: float = 1.0) -> float:
    """How much wider a blur is along than across.

    Args:
        blur: of some group of edges.
        tolerance: of the picture's size [1].

    Returns:
        Octaves.

    Source: a definition.
    """
    return octaves(blur.along, tolerance) - octaves(blur.across, tolerance)


def resolved_spread(counts: Numbers, share: float) -> Numbers:
    """Low quantile of the spread, from the finest size of the picture that can resolve it.

    Args:
        counts: (level, ..., bin).
        share: quantile.

    Returns:
        (...) spread [px of the full-size picture], NaN where no size has enough crests.

    Source: own choice; between two sizes the result passes evenly from one to the other.
    """
    quantile, enough = _quantiles(counts, share)
    result = np.full(counts.shape[1:-1], np.nan)
    for level in reversed(range(N_LEVELS)):
        here = full_size_spread(quantile[level], level)
        doubt = np.clip((quantile[level] - BELIEVED) / (TOO_WIDE - BELIEVED), 0, 1)
        coarser = np.where(np.isfinite(result), np.maximum(result, here), here)
        # a smaller picture may only widen what a larger one says: it never makes an edge steeper
        result = np.where(enough[level], (1 - doubt) * here + doubt * coarser, result)
    return result


def full_size_spread(spread: Numbers, level: int) -> Numbers:
    """Spread at full size from the one measured at a smaller size: s = 2ˡ·s_l, less what averaging pixels adds.

    Args:
        spread: [px of the level].
        level: 0 full size, 1 half, ...

    Returns:
        Spread [px of the full-size picture].

    Source: averaging over 2ˡ pixels adds a variance of (4ˡ − 1) / 12 px².
    """
    square = np.sign(spread) * (2**level * spread) ** 2 - (4**level - 1) / 12
    return signed_root(square)


def signed_root(square: Numbers | float) -> Numbers:
    """√ of a magnitude with the sign kept: -4 gives -2.

    Args:
        square: any numbers.

    Returns:
        The same shape.

    Source: a definition.
    """
    return np.asarray(np.sign(square) * np.sqrt(np.abs(square)), np.float64)


def _quantiles(counts: Numbers, share: float) -> tuple[Numbers, NDArray[np.bool_]]:
    """Quantile in the bins' unit, and whether there were crests enough."""
    summed = counts.cumsum(axis=-1)
    total = summed[..., -1]
    wanted = share * total
    at = np.minimum((summed < wanted[..., None]).sum(axis=-1), N_BINS - 1)
    before = np.where(at > 0, np.take_along_axis(summed, np.maximum(at - 1, 0)[..., None], -1)[..., 0], 0)
    inside = np.take_along_axis(counts, at[..., None], -1)[..., 0]
    part = (wanted - before) / np.maximum(inside, 1e-9)
    width = (HIGHEST - LOWEST) / N_BINS
    return LOWEST + width * (at + np.clip(part, 0, 1)), total >= ENOUGH_CRESTS


def _directional_fit(counts: Numbers, share: float) -> tuple[Numbers, Numbers, Numbers]:
    """Mean, cosine and sine part of s² over directions, for counts of (level, ..., direction, bin); NaN where none
    can be told."""
    spread = resolved_spread(counts, share)
    known = np.isfinite(spread)
    seen = counts.sum(axis=-1).max(axis=0)
    weight = np.where(known, seen / (seen + HALF_WEIGHT), 0.0)
    square = np.where(known, np.sign(spread) * spread**2, 0.0)
    angle = np.arange(N_DIRECTIONS) * np.pi / N_DIRECTIONS
    basis = np.stack([np.ones(N_DIRECTIONS), np.cos(2 * angle), np.sin(2 * angle)], axis=-1)
    normal = np.einsum("...d,di,dj->...ij", weight, basis, basis) + np.diag([1e-9, RIDGE, RIDGE])
    right = np.einsum("...d,di->...i", weight * square, basis)
    found = np.linalg.solve(normal, right[..., None])[..., 0]
    found = np.where((known.sum(axis=-1) >= 3)[..., None], found, np.nan)
    return found[..., 0], found[..., 1], found[..., 2]


def _pooled(counts: Numbers) -> Numbers:
    """Each cell's crests with those of its eight neighbours."""
    padded = np.pad(counts, ((0, 0), (1, 1), (0, 0), (0, 0), (0, 0)))
    down = padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]
    padded = np.pad(down, ((0, 0), (0, 0), (1, 1), (0, 0), (0, 0)))
    return np.asarray(padded[:, :, :-2] + padded[:, :, 1:-1] + padded[:, :, 2:])
