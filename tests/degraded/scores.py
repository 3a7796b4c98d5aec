"""How good probabilities are: who is told from whom, how often a suggestion is right, and whether a probability means
what it says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.model import FAULTS

Numbers = NDArray[np.float64]
Truth = NDArray[np.bool_]

#: Probability from which a fault is suggested.
SUGGEST_FROM = 0.5
#: Bins of the calibration.
N_BINS = 10


@dataclass(frozen=True)
class Scores:
    """Scores of many frames.

    Attributes:
        auc: by fault; NaN where there is only one kind.
        calibration_error: by fault, expected.
        precision: share of the first suggestions that are right.
        first_right: share of faulty frames whose first suggestion is right.
        false_alarms: share of good frames with a suggestion.
        suggested: share of faulty frames with a suggestion.
        n_frames: all.
        n_good: without a fault.
    """

    auc: dict[str, float]
    calibration_error: dict[str, float]
    precision: float
    first_right: float
    false_alarms: float
    suggested: float
    n_frames: int
    n_good: int


def scores(probabilities: Numbers, truth: Truth, suggest_from: float = SUGGEST_FROM) -> Scores:
    """Scores of probabilities, (frames, faults), against the truth, in the order of `FAULTS`."""
    first = probabilities.argmax(axis=1)
    is_suggested = probabilities.max(axis=1) >= suggest_from
    is_right = truth[np.arange(len(truth)), first]
    is_faulty = truth.any(axis=1)
    return Scores(
        auc={fault: auc(probabilities[:, i], truth[:, i]) for i, fault in enumerate(FAULTS)},
        calibration_error={
            fault: calibration_error(probabilities[:, i], truth[:, i]) for i, fault in enumerate(FAULTS)
        },
        precision=share(is_right[is_suggested]),
        first_right=share((is_right & is_suggested)[is_faulty]),
        false_alarms=share(is_suggested[~is_faulty]),
        suggested=share(is_suggested[is_faulty]),
        n_frames=len(truth),
        n_good=int((~is_faulty).sum()),
    )


def right_among(probabilities: Numbers, truth: Truth, n_likeliest: int) -> float:
    """Share of the faulty frames of which a fault is among the likeliest, whatever its probability."""
    likeliest = np.argsort(-probabilities, axis=1)[:, :n_likeliest]
    return share(np.take_along_axis(truth, likeliest, axis=1).any(axis=1)[truth.any(axis=1)])


def share(true: Truth) -> float:
    """Share of what is true; NaN of nothing."""
    return float(true.mean()) if len(true) else float("nan")


def auc(values: Numbers, truth: Truth) -> float:
    """Chance that a faulty frame has the higher value of two, ties counting half (Mann and Whitney 1947)."""
    n_true = int(truth.sum())
    n_false = len(truth) - n_true
    if not n_true or not n_false:
        return float("nan")
    below = np.searchsorted(np.sort(values[~truth]), values[truth], "left")
    level = np.searchsorted(np.sort(values[~truth]), values[truth], "right") - below
    return float((below + level / 2).sum() / (n_true * n_false))


def calibration_error(probabilities: Numbers, truth: Truth) -> float:
    """Mean distance of probability and frequency over ten bins, weighted by frames (expected calibration error)."""
    return float(sum(n / len(truth) * abs(said - was) for n, said, was in calibration(probabilities, truth)))


def calibration(probabilities: Numbers, truth: Truth) -> list[tuple[int, float, float]]:
    """Frames, mean probability and frequency of each bin that has any."""
    bins = np.minimum((probabilities * N_BINS).astype(int), N_BINS - 1)
    found = []
    for each in range(N_BINS):
        inside = bins == each
        if inside.any():
            found.append((int(inside.sum()), float(probabilities[inside].mean()), float(truth[inside].mean())))
    return found


def confusion(probabilities: Numbers, truth: Truth, suggest_from: float = SUGGEST_FROM) -> NDArray[np.intp]:
    """Frames by truth (a fault, then none; a frame with two faults counts in both) and by first suggestion (then
    none)."""
    first = np.where(probabilities.max(axis=1) >= suggest_from, probabilities.argmax(axis=1), len(FAULTS))
    table = np.zeros((len(FAULTS) + 1, len(FAULTS) + 1), np.intp)
    for row, said in zip(truth, first, strict=True):
        for fault in np.flatnonzero(row) if row.any() else [len(FAULTS)]:
            table[fault, said] += 1
    return table
