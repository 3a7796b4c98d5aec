"""It is the light, not you: frames for which even the best settings lacked light.

The best settings are the slowest time that hands and subject allow, the highest ISO this person keeps and the widest
aperture the lens has shown. Where these together still expose too little for the light, no choice would have saved the
frame; what is missing is light, a wider lens or, where hands are what limits the time, support.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analytics.statistics.cells import Cells, cells_of, collapse
from analytics.statistics.habit_catalogue import Scene, scene_of
from analytics.statistics.rates import keeper_rates_from_counts
from analytics.statistics.results import Shortage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.statistics.engine import Floats

    Booleans = NDArray[np.bool_]

#: Less than this is no shortage: limits are not known better [stops].
SMALLEST_STOPS = 1 / 3
#: Below this many frames or sessions there is not enough to say.
ENOUGH_FRAMES, ENOUGH_SESSIONS = 30, 3


def shortage(frames: pd.DataFrame, level: float = 0.95) -> Shortage:
    """How often, and by how much, light was missing.

    Args:
        frames: one row per judged frame, as `analytics.dataset` makes it.
        level: coverage of the interval of the keepers.

    Returns:
        Frames, bursts and sessions that lacked light; the median and the quartiles of the missing stops; the keepers
        among them with their interval; and in which share of them hands, not the subject, limited the time.
    """
    cells = cells_of(frames)
    if not len(cells.session):
        return Shortage.none()
    scene = scene_of(cells)
    missing = missing_stops(scene)
    short = missing > SMALLEST_STOPS
    if not short.any():
        return Shortage.none()
    n = cells.n_frames[short]
    quartiles = _weighted_quantiles(missing[short], n, (0.25, 0.5, 0.75))
    held = scene.hand_held - cells.focal_stops
    by_hands = short & scene.by_hand & (held < np.nan_to_num(scene.freeze, nan=np.inf))
    kept = _keepers(cells, short, level)
    counts = (int(n.sum()), len(np.unique(cells.burst[short])), len(np.unique(cells.session[short])))
    is_enough = counts[0] >= ENOUGH_FRAMES and counts[2] >= ENOUGH_SESSIONS
    return Shortage(
        *counts,
        stops=quartiles[1],
        stops_low=quartiles[0],
        stops_high=quartiles[2],
        keepers=kept[0],
        keepers_low=kept[1],
        keepers_high=kept[2],
        share_by_hands=float(cells.n_frames[by_hands].sum() / n.sum()),
        is_enough=is_enough,
    )


def lacking_light(frames: pd.DataFrame) -> pd.Series:
    """The stops that each frame's light lacked, aligned to `frames`; negative to spare, NaN where that is unknown."""
    cells, places = collapse(frames)
    missing = np.append(missing_stops(scene_of(cells)), np.nan)  # the last stands for frames without a verdict
    return pd.Series(missing[places], index=frames.index)


def missing_stops(scene: Scene) -> Floats:
    """Stops that the best settings fall short of the light by, (m,); negative where there is light to spare.

    NaN with flash, on a tripod with a subject of unknown or no pace, and where light, lens or a limit is unknown.
    """
    cells = scene.cells
    slowest = np.where(scene.by_hand, scene.slowest_needed, scene.freeze)
    widest = widest_aperture_stops(cells)
    best = slowest + scene.highest_iso - widest + cells.ev100
    return np.asarray(np.where(cells.used_flash == 1, np.nan, -best), dtype=np.float64)


def widest_aperture_stops(cells: Cells) -> Floats:
    """2 log2 N of the widest aperture that each cell's lens has shown at about that focal length, (m,)."""
    known = np.isfinite(cells.aperture_stops) & (cells.lens.codes >= 0)
    focal = np.where(np.isfinite(cells.focal_stops), np.round(cells.focal_stops * 2), -1).astype(np.int64)
    table = pd.DataFrame({"lens": cells.lens.codes, "focal": focal, "aperture": cells.aperture_stops})
    widest = table[known].groupby(["lens", "focal"])["aperture"].min()
    keys = pd.MultiIndex.from_arrays([table["lens"], table["focal"]])
    return np.asarray(widest.reindex(keys).to_numpy(np.float64))


def _weighted_quantiles(values: Floats, weights: Floats, shares: tuple[float, ...]) -> list[float]:
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) / weights.sum()
    return [float(values[order][np.searchsorted(reached, share)]) for share in shares]


def _keepers(cells: Cells, short: Booleans, level: float) -> tuple[float, float, float]:
    """Keepers among the frames that lacked light, with an interval that knows all of the journal's sessions."""
    counts = pd.DataFrame(
        {
            "session": cells.session,
            "burst": cells.burst,
            "is_short": short,
            "n_frames": cells.n_frames,
            "n_keepers": cells.n_keepers,
        }
    )
    rates = keeper_rates_from_counts(counts, "is_short", level)
    line = rates[rates["is_short"] == True].to_dict("records")[0]  # noqa: E712 - a column
    return float(line["estimate"]), float(line["low"]), float(line["high"])
