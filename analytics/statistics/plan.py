"""How much more must be shot until a limit is known that well.

What counts is sessions with frames near the limit. What such a session adds is learned from this photographer's own
interval, and expected from simulated careers where there are few so far.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from analytics.statistics.cells import cells_of
from analytics.statistics.limits import (
    MODEL_ERROR,
    NEAR_ABOVE,
    NEAR_BELOW,
    LimitFit,
    blended,
    fit_limits,
    variance_parts,
)

if TYPE_CHECKING:
    import pandas as pd

#: Half-width of a limit is this over the root of the sessions near it [stops]. Source: simulated careers.
HALF_WIDTH_LAW = {"hand-held": 2.2, "freeze": 1.65, "iso": 1.6}
#: The law counts like this many sessions beside those that were seen.
LAW_SESSIONS = 4.0
#: No plan is longer; beyond it the answer is "not by ordinary sessions".
MOST_SESSIONS = 10_000


def more_sessions(frames: pd.DataFrame, kind: str, key: bool | str, half_width: float, level: float = 0.95) -> int:
    """Further sessions with frames near a limit until its interval is no wider than ± `half_width`.

    Args:
        frames: one row per judged frame.
        kind: 'hand-held', 'freeze' or 'iso'; key: as in `limits`.
        half_width: wanted [stops], more than the model's own error allows for.
        level: coverage of the interval.

    Returns:
        Sessions, 0 where the interval is that narrow already; at most `MOST_SESSIONS`.

    Raises:
        ValueError: `half_width` is not above zero.
        KeyError: no frame of the journal can have this limit.
    """
    if not half_width > 0:
        raise ValueError(f"half_width must be above 0 stops, not {half_width}")
    return more_sessions_of(fit_limits(cells_of(frames), kind), key, half_width, level)


def more_sessions_of(found: LimitFit, key: bool | str, half_width: float, level: float = 0.95) -> int:
    """The same from fitted curves."""
    if key not in found.rows.keys:
        raise KeyError(key)
    number = found.rows.keys.index(key)
    lowest, highest = 0, MOST_SESSIONS
    while lowest < highest:
        middle = (lowest + highest) // 2
        if expected_half_width(found, number, middle, level) <= half_width:
            highest = middle
        else:
            lowest = middle + 1
    return lowest


def near_sessions(found: LimitFit, number: int) -> int:
    """Sessions with frames near a limit."""
    rows, limit = found.rows, found.limit(number)
    near = (rows.key == number) & (rows.dose > limit - NEAR_BELOW) & (rows.dose < limit + NEAR_ABOVE)
    return len(np.unique(rows.session[near]))


def expected_half_width(found: LimitFit, number: int, more: int, level: float = 0.95) -> float:
    """Half-width of a limit's interval that is to be expected after `more` further sessions near it [stops]."""
    model, prior, jack, n_effective = variance_parts(found, found.gradient(number), found.rows.key == number)
    n_near = near_sessions(found, number)
    data = blended(model, jack, n_effective)
    law = (2 / HALF_WIDTH_LAW[found.kind]) ** 2
    seen = max(data, 1e-12) / (data + prior) ** 2 if n_near else 0.0
    per_session = (LAW_SESSIONS * law + seen) / (LAW_SESSIONS + n_near)
    now = data + prior
    variance = 1 / (1 / now + more * per_session)
    quantile = float(stats.t.ppf(0.5 + level / 2, 7 + n_effective + 0.7 * more))
    return quantile * math.sqrt(variance + MODEL_ERROR**2)
