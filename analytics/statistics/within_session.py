"""What the bursts of one session say: keepers as it went on, and the faults among its rejects.

Inside a session its bursts are the unit of evidence. The intervals are of what this session would have come to with
many more bursts; they say nothing of other sessions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from analytics.statistics.rates import PRIOR_BURST, PRIOR_SESSION, Clusters, rates_of_groups

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Correlation within a burst of frames that are kept, inside one session. Source: `rates`, the session's part taken
#: away from the whole.
KEPT_IN_BURST = PRIOR_BURST / (1 - PRIOR_SESSION)
#: The same of a fault among rejects. Source: simulated careers, where it is 0.22 to 0.43 by fault.
FAULT_IN_BURST = 0.3
#: A part of a session has at least so many judged bursts; there are at most so many parts.
BURSTS_PER_PART, MOST_PARTS = 8, 6


class Counts(NamedTuple):
    """Frames of one burst, and how many of them are kept, or show a fault."""

    n_frames: int
    n_events: int


@dataclass(frozen=True, slots=True)
class Share:
    """A share of frames with its interval, in [0, 1], and whether there is enough behind it."""

    n_frames: int
    n_bursts: int
    estimate: float
    low: float
    high: float
    is_enough: bool


def shares(groups: Sequence[Sequence[Counts]], correlation: float, level: float = 0.95) -> list[Share]:
    """The share of events in each group of bursts.

    Args:
        groups: bursts of each group; no group is empty, and no burst is without frames.
        correlation: within a burst, in [0, 1].
        level: coverage of the intervals, in (0, 1).

    Source: as `rates.keeper_rates`, with bursts in the place of sessions.
    """
    rows = [(number, *burst) for number, bursts in enumerate(groups) for burst in bursts]
    if not rows:
        return []
    group, n_frames, n_events = np.array(rows, dtype=np.int64).T
    number = np.arange(len(rows))
    clusters = Clusters(number, number, n_frames.astype(np.float64), n_events.astype(np.float64))
    found = rates_of_groups(clusters, group, (0.0, correlation), level)
    names = ("n_frames", "n_bursts", "estimate", "low", "high", "is_enough")
    return [Share(*row) for row in zip(*(found[name].tolist() for name in names), strict=True)]


def parts(n_bursts: int) -> list[slice]:
    """A session's bursts in parts of about as many bursts each, in their order; one part where there are few."""
    n_parts = max(1, min(MOST_PARTS, n_bursts // BURSTS_PER_PART))
    ends = [round(number * n_bursts / n_parts) for number in range(n_parts + 1)]
    return [slice(first, last) for first, last in pairwise(ends)]


def difference(first: Share, last: Share) -> tuple[float, float, float]:
    """By how much the second share is larger, with its interval, all in [-1, 1].

    Source: Zou and Donner 2008, from the two intervals.
    """
    change = last.estimate - first.estimate
    low = change - math.hypot(last.estimate - last.low, first.high - first.estimate)
    high = change + math.hypot(last.high - last.estimate, first.estimate - first.low)
    return change, max(low, -1.0), min(high, 1.0)
