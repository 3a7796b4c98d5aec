"""Fits the ways in which blurs look together: against one another, and by both looks at each frame.

A frame whose blur is seen in one look only teaches that look: by expectation and maximisation (Dempster, Laird and
Rubin 1977) each look at a faulty frame counts as showing the fault by as much as it does so far, and a good frame is
good in both. Rivals enter each fit as what they already say, so a curve need not learn from the settings that a smeared
picture is hardly ever out of focus; that would be true of one camera's photographer, and not of the next.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.model import LOOKS, RIVALS, TOLD_FROM_AFAR
from degraded.fitting import Basis, Numbers, logistic

#: How often all looks are fitted anew. Source: log loss on cameras left out is least after two, and much the same after
#: three.
ROUNDS = 2
#: Log-odds by which a look from afar is doubted at first, when only near ones have been fitted. Source: see `ROUNDS`.
DOUBTED_AT_FIRST = 1.5
#: Log-odds of what was not looked at.
NEVER = -50.0
#: The ways in which blurs look.
BLURS = tuple(look for fault in TOLD_FROM_AFAR for look in LOOKS[fault])
#: Those that are told against the others.
WEIGHED = tuple(look for fault in RIVALS for look in LOOKS[fault])


@dataclass(frozen=True)
class Fit:
    """What one look is fitted with.

    Attributes:
        basis: of its curves.
        columns: (2 · frames, columns), first all near ones.
        pull: (columns, columns).
        direction: by column.
        truth: by frame.
    """

    basis: Basis
    columns: Numbers
    pull: Numbers
    direction: NDArray[np.int_]
    truth: Numbers


def fitted_together(
    fits: Mapping[str, Fit], rows: NDArray[np.bool_], is_seen: NDArray[np.bool_], weight: Numbers
) -> dict[str, Numbers]:
    """Coefficients of every look from some of the frames.

    Args:
        fits: by look, of `BLURS`.
        rows: frames to fit with.
        is_seen: frames that are seen from afar as well.
        weight: of each frame.

    Returns:
        Coefficients by look.

    Source: see the module.
    """
    n = len(rows)
    both, heavy = np.concatenate([rows, rows & is_seen]), np.concatenate([weight, weight])
    near = np.concatenate([rows, np.zeros(n, bool)])
    found = {
        look: logistic(fit.columns[near], fit.truth[rows], weight[rows], fit.pull, fit.direction)
        for look, fit in fits.items()
    }
    sums = {look: fit.columns @ found[look] for look, fit in fits.items()}
    for each in sums.values():
        each[n:] -= DOUBTED_AT_FIRST
    for _ in range(ROUNDS):
        for look, fit in fits.items():
            rivals = rivals_of(look, sums)
            shown = _shares(sums[look] + rivals, is_seen) * np.tile(fit.truth, 2)
            given = (fit.columns[both], shown[both], heavy[both], fit.pull, fit.direction)
            found[look] = logistic(*given, offset=rivals[both], start=found[look])
            sums[look] = fit.columns @ found[look]
    return found


def rivals_of(look: str, sums: Mapping[str, Numbers]) -> Numbers:
    """What the others say against a look: log-odds to add to its own; 0 for a look that is told by itself."""
    others = np.stack([np.zeros_like(sums[look]), *(sums[other] for other in sums if other != look)])
    return np.asarray(-np.logaddexp.reduce(others, axis=0)) if look in WEIGHED else np.zeros_like(sums[look])


def _shares(log_odds: Numbers, is_seen: NDArray[np.bool_]) -> Numbers:
    """How likely each look at a frame shows its fault, given that one of them does."""
    near, afar = (1 / (1 + np.exp(-each)) for each in np.split(log_odds, 2))
    afar = np.where(is_seen, afar, 0.0)
    return np.concatenate([near, afar]) / np.tile(1 - (1 - near) * (1 - afar), 2)


def told(sums: Mapping[str, Numbers], fault: str) -> Numbers:
    """Log-odds of a fault by near looks and by those from afar, uncalibrated, as `FaultModel.by_fault` has it."""
    looks = LOOKS[fault]
    if fault not in RIVALS:
        return any_of(np.stack([sums[look] for look in looks]))
    one = np.logaddexp.reduce(np.stack([sums[look] for look in looks]), axis=0)
    none = np.zeros_like(one)
    return np.asarray(one - np.logaddexp.reduce(np.stack([none, *(sums[each] for each in BLURS if each not in looks)])))


def any_of(log_odds: Numbers) -> Numbers:
    """Log-odds that at least one of several is so, (several, frames) -> (frames,), as `model.any_of`."""
    none = np.logaddexp(0, log_odds).sum(axis=0)
    return np.asarray(none + np.log(-np.expm1(-none)))


def by_both_looks(log_odds: Numbers, is_seen: NDArray[np.bool_]) -> Numbers:
    """Log-odds by near looks and by those from afar -> those of the frames."""
    near, afar = np.split(log_odds, 2)
    return any_of(np.stack([near, np.where(is_seen, afar, NEVER)]))
