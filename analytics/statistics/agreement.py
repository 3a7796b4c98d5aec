"""How far two people's verdicts on the same frames agree beyond chance. It does not say which of them is right."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: Below this many frames, or bursts, nothing is said: the interval is a large-sample one, and frames of a burst repeat
#: each other. Source: Cantor 1996, Psychological Methods 1(2), whose sample sizes for two categories begin near 30.
ENOUGH_FRAMES, ENOUGH_BURSTS = 30, 10

#: A standard error below this is nought.
SMALLEST_ERROR = 1e-9


@dataclass(frozen=True, slots=True)
class Agreement:
    """Cohen's kappa with its 95 % interval; not-a-number where it is not defined."""

    kappa: float
    low: float
    high: float
    n_frames: int
    n_bursts: int
    n_same: int
    is_enough: bool


def agreement(own: ArrayLike, other: ArrayLike, bursts: ArrayLike) -> Agreement:
    """Cohen's kappa of two people's keepers: κ = (p_o − p_e) / (1 − p_e), agreement beyond what chance gives.

    κ is 1 where they always agree and 0 where they agree as often as chance would; where one of them says the same of
    every frame it says nothing, and where they always agree its interval has no width, so none is given. The
    interval treats frames as independent, which frames of a burst are not.

    Args:
        own: whether the photographer kept each frame [bool].
        other: whether the other would have kept it [bool].
        bursts: the burst of each frame.

    Returns:
        Agreement; `is_enough` where there are enough frames and bursts and κ is defined.

    Raises:
        ValueError: the three are not of one length.

    Source:
        Cohen, J. (1960), A coefficient of agreement for nominal scales, Educational and Psychological Measurement
        20(1); its large-sample variance by Fleiss, Cohen and Everitt (1969), as statsmodels computes it.

    Example:
        20 frames kept by both, 15 by neither, 15 by one of them: κ = (0.7 − 0.5) / (1 − 0.5) = 0.4.
    """
    mine, theirs = np.asarray(own, dtype=bool), np.asarray(other, dtype=bool)
    burst = np.asarray(bursts)
    if not mine.shape == theirs.shape == burst.shape:
        raise ValueError("own, other and bursts must have one length")
    n_frames, n_bursts, n_same = len(mine), len(np.unique(burst)), int((mine == theirs).sum())
    table = np.array([[np.sum((mine == a) & (theirs == b)) for b in (True, False)] for a in (True, False)])
    kappa = low = high = math.nan
    if all(0 < int(verdicts.sum()) < n_frames for verdicts in (mine, theirs)):
        from statsmodels.stats.inter_rater import cohens_kappa

        with np.errstate(invalid="ignore", divide="ignore"):  # a variance of nought may come out a trace below it
            found = cohens_kappa(table)
        kappa = float(found.kappa)
        if found.std_kappa > SMALLEST_ERROR:
            low, high = max(float(found.kappa_low), -1.0), min(float(found.kappa_upp), 1.0)
    is_enough = n_frames >= ENOUGH_FRAMES and n_bursts >= ENOUGH_BURSTS and math.isfinite(kappa)
    return Agreement(kappa, low, high, n_frames, n_bursts, n_same, is_enough)
