"""A yardstick of how hard wrong exposures are to see: what a plain logistic fit of a few tones makes of them.

Two generators are compared by it: where the plain fit does equally well, errors are equally large beside the scenes.
"""

from __future__ import annotations

import numpy as np

from degraded.fitting import Numbers, logistic
from degraded.train import Table

#: Clipped shares and middle tones.
PLAIN_TONES = (
    "white",
    "white_middle",
    "black",
    "tone_05",
    "tone_25",
    "tone_50",
    "tone_75",
    "tone_95",
    "tone_mean",
    "tone_middle",
)
#: What the settings say of the exposure.
PLAIN_SETTINGS = ("time", "f_number", "iso", "ev100", "metered_error", "is_manual")


def plain_exposure(table: Table, names: tuple[str, ...] = PLAIN_TONES) -> Numbers:
    """Probability of a wrong exposure for each row, near, by straight lines fitted without the frames of its scene."""
    columns = _columns(table, names)
    fold, right = table.folds(), np.ones(len(columns))
    for look in ("too_bright", "too_dark"):
        truth = table.looks_like(look)
        for each in np.unique(fold):
            train = fold != each
            found = logistic(columns[train], truth[train], table.weight[train], np.eye(columns.shape[1]))
            right[~train] *= 1 / (1 + np.exp(columns[~train] @ found))
    return np.asarray(1 - right)


def _columns(table: Table, names: tuple[str, ...]) -> Numbers:
    """(rows, columns): features of near looks by their spread, and whether they are missing; last the constant."""
    values = np.column_stack([table.features[name][: len(table.error)] for name in names])
    missing = np.isnan(values).astype(float)
    known = np.where(np.isnan(values), np.nanmean(values, axis=0), values)
    both = np.hstack([(known - known.mean(axis=0)) / known.std(axis=0), missing[:, missing.any(axis=0)]])
    return np.hstack([both, np.ones((len(both), 1))])
