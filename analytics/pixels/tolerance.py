"""What this photographer tolerates, learned from verdicts by two numbers; and how far suggestions and verdicts agree.

One number moves the log-odds of noise, one those of all sharpness faults. Both start at none and move only as far as
verdicts carry them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.references import SHARPNESS_WORDS, WORDS

Numbers = NDArray[np.float64]

#: Standard deviation of tolerances before any verdict [log-odds]. Source: own choice; one photographer in three lies
#: beyond it.
PRIOR_SPREAD = 1.0
#: Tolerance beyond this is not believed, however many verdicts speak for it [log-odds]: it turns round what is sure by
#: its pixels, and no more than that can be learned. Source: own choice.
MOST_TOLERANCE = 5.0
#: Halvings of the range of tolerances; more than four decimals need.
HALVINGS = 24
#: Log-odds beyond which a suggestion is sure by itself and says nothing of tolerance.
FARTHEST = 4.0
#: 95 % of a normal distribution lie within so many standard deviations.
NORMAL_95 = 1.96
#: The word for a keeper or a frame without a fault, where suggestions and verdicts are compared.
FINE = "fine"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Shifts of log-odds; negative tolerates more.

    Attributes:
        noise: of noise [log-odds].
        softness: of missed focus, camera shake and subject motion [log-odds].
        n_frames: judged frames it was learned from.
    """

    noise: float = 0.0
    softness: float = 0.0
    n_frames: int = 0

    def shift(self, word: str) -> float:
        """Log-odds to add to a fault."""
        if word == "noise":
            return self.noise
        return self.softness if word in SHARPNESS_WORDS else 0.0


@dataclass(frozen=True, slots=True)
class Judged:
    """A frame with its log-odds by fault word, and the faults that the photographer gave it (none for a keeper)."""

    log_odds: Mapping[str, float]
    faults: frozenset[str]


def fitted_tolerance(judged: Sequence[Judged]) -> Tolerance:
    """The tolerance that makes the verdicts likeliest, held back towards none.

    Args:
        judged: frames with verdicts.

    Returns:
        Tolerance; none where nothing was judged.

    Source: logistic regression with only an intercept, an offset and a normal prior; by bisection.
    """
    noise = [(frame.log_odds["noise"], "noise" in frame.faults) for frame in judged]
    # the likeliest sharpness fault speaks for all three, so that a frame counts once
    softness = [
        (max(frame.log_odds[word] for word in SHARPNESS_WORDS), bool(frame.faults & set(SHARPNESS_WORDS)))
        for frame in judged
    ]
    return Tolerance(_shift(noise), _shift(softness), len(judged))


def _shift(pairs: Sequence[tuple[float, bool]]) -> float:
    odds = np.clip(np.array([odds for odds, _ in pairs], float), -FARTHEST, FARTHEST)
    given = np.array([is_given for _, is_given in pairs], float)
    low, high = -MOST_TOLERANCE, MOST_TOLERANCE
    for _ in range(HALVINGS):
        shift = (low + high) / 2
        # the slope of the likelihood falls everywhere, so its zero, or the end next to it, is closed in on
        slope = float(np.sum(given - 1 / (1 + np.exp(-(odds + shift))))) - shift / PRIOR_SPREAD**2
        low, high = (shift, high) if slope > 0 else (low, shift)
    return round((low + high) / 2, 4)


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far suggestions and verdicts agree.

    Attributes:
        share: of frames where the suggestion is among the given faults, or nothing was suggested and none given.
        share_low: lower end of its 95 % interval.
        share_high: upper end.
        kappa: Cohen's, beyond what chance would give; NaN where everything is alike.
        kappa_low: lower end of its 95 % interval.
        kappa_high: upper end.
        n_frames: compared.
        n_bursts: independent groups among them.
    """

    share: float
    share_low: float
    share_high: float
    kappa: float
    kappa_low: float
    kappa_high: float
    n_frames: int
    n_bursts: int


def agreement(
    suggested: Sequence[str | None], given: Sequence[frozenset[str]], bursts: Sequence[Hashable]
) -> Agreement:
    """Agreement between suggestions and verdicts, with intervals that know that frames of a burst are alike.

    Args:
        suggested: fault word or None by frame.
        given: faults of the verdict, empty for a keeper; only faults that pixels can tell count.
        bursts: what each frame's burst is; single frames have one of their own.

    Returns:
        Agreement; NaN where there is nothing to compare, intervals NaN with fewer than two bursts.

    Source: Cohen 1960 for kappa; jackknife over bursts (Efron 1982); Wilson 1927 for the share, with the effective
    number of frames.
    """
    said = [word or FINE for word in suggested]
    truth = [_told(word, faults & frozenset(WORDS)) for word, faults in zip(said, given, strict=True)]
    groups: dict[Hashable, list[int]] = {}
    for index, burst in enumerate(bursts):
        groups.setdefault(burst, []).append(index)
    members = list(groups.values())
    tables = np.stack([_table(said, truth, each) for each in members]) if members else np.zeros((0, 7, 7))
    whole = tables.sum(axis=0)
    share, kappa = _share(whole), _kappa(whole)
    low, high = _wilson(share, _jackknife(tables, _share), int(whole.sum()), len(members))
    deviation = _jackknife(tables, _kappa)
    return Agreement(
        share, low, high, kappa, kappa - NORMAL_95 * deviation, min(kappa + NORMAL_95 * deviation, 1.0),
        int(whole.sum()), len(members),
    )  # fmt: skip


def _told(said: str, faults: frozenset[str]) -> str:
    """The verdict's one word: the suggestion where it is among the faults, else the first, else fine."""
    if said in faults:
        return said
    return min(faults, key=WORDS.index) if faults else FINE


def _table(said: Sequence[str], truth: Sequence[str], members: Sequence[int]) -> Numbers:
    names = (*WORDS, FINE)
    table = np.zeros((len(names), len(names)))
    for index in members:
        table[names.index(said[index]), names.index(truth[index])] += 1
    return table


def _share(table: Numbers) -> float:
    return float(np.trace(table) / table.sum()) if table.sum() else math.nan


def _kappa(table: Numbers) -> float:
    total = table.sum()
    if not total:
        return math.nan
    chance = float(table.sum(axis=0) @ table.sum(axis=1)) / total**2
    return (_share(table) - chance) / (1 - chance) if chance < 1 else math.nan


def _jackknife(tables: Numbers, statistic: Callable[[Numbers], float]) -> float:
    """Standard deviation of a statistic when one burst at a time is left out; NaN with fewer than two."""
    n = len(tables)
    if n < 2:
        return math.nan
    whole = tables.sum(axis=0)
    values = np.array([statistic(whole - each) for each in tables])
    return float(np.sqrt((n - 1) / n * np.sum((values - values.mean()) ** 2)))


def _wilson(share: float, deviation: float, n_frames: int, n_bursts: int) -> tuple[float, float]:
    """95 % interval of a share whose frames are worth fewer than they are, by their deviation over bursts."""
    if not math.isfinite(share) or not math.isfinite(deviation):
        return math.nan, math.nan
    variance = share * (1 - share)
    # where all agree, or none, nothing tells how alike the frames of a burst are: then each burst counts once
    worth = min(variance / deviation**2, n_frames) if deviation > 0 and variance > 0 else float(n_bursts)
    z = NORMAL_95
    middle = (share + z**2 / (2 * worth)) / (1 + z**2 / worth)
    half = z / (1 + z**2 / worth) * math.sqrt(variance / worth + z**2 / (4 * worth**2))
    return max(middle - half, 0.0), min(middle + half, 1.0)
