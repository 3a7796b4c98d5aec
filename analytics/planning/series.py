"""A test series: eight settings around a limit, shuffled; and its frames, read again.

Frames of one day help less than as many of several days, for steadiness, subjects and light differ from day to day. One
frame at each of the eight settings at the start of every session costs a minute and, after some thirty sessions, knows
the limit to half a stop either way; six frames at each take nine days, and more frames in all.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from analytics.statistics.limits import ISO as USUAL_ISO
from analytics.statistics.limits import USUAL
from analytics.statistics.series import LIMIT, Shot, days_needed, expected_half_width

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: How many settings a series has, and how far they reach on the safe and on the risky side of the limit [stops].
N_TIMES, SAFE_SIDE, RISKY_SIDE = 8, 2.0, 3.0
#: How far the settings of a series may rise or fall with their place in it [correlation].
MOST_TREND = 0.3
#: Frames at each time, by how many days the photographer wants to spend. Source: simulated series.
ONE_PER_SESSION, SIX_PER_DAY = 1, 6
#: Limits whose frames are kept in order; one takes about thirty bytes a frame.
LIMITS_KEPT = 3
#: The fault that each kind of limit is about.
FAULT_COLUMNS = {"hand-held": "fault_shake", "freeze": "fault_motion", "iso": "fault_noise"}


@dataclass(frozen=True, slots=True)
class SeriesDesign:
    """The settings of a series in the order they are shot, in sixths of a stop (6 log2 s or 6 log2 ISO/100, even)."""

    kind: str
    sixths: tuple[int, ...]
    limit_stops: float
    focal_length_35mm: float
    frames_each: int


@dataclass(frozen=True, slots=True)
class Effort:
    """What a way to spread a series over days costs and tells: [frames], [days], half-width [stops].

    `n_days` is `None` where no bearable number of days is enough; the half-width is then unknown.
    """

    frames_each: int
    frames_a_day: int
    n_days: int | None
    half_width: float

    @property
    def n_frames(self) -> int | None:
        """Frames in all."""
        return None if self.n_days is None else self.n_days * self.frames_a_day


def series_design(
    limit_stops: float,
    focal_length_35mm: float,
    rng: np.random.Generator,
    frames_each: int = ONE_PER_SESSION,
    kind: str = "hand-held",
) -> SeriesDesign:
    """The design of one day of a test series.

    Args:
        limit_stops: where the limit is expected, on the scale of its kind [stops].
        focal_length_35mm: that a hand-held series is shot at [mm].
        rng: shuffles the settings, so that tiring, warming up and fading light are no trend.
        frames_each: frames at each setting.
        kind: of limit.
    """
    doses = limit_stops + np.linspace(-SAFE_SIDE, RISKY_SIDE, N_TIMES)
    offset = np.log2(focal_length_35mm) if kind == "hand-held" else 0.0
    thirds = np.unique(np.round(3 * (doses - offset)).astype(int))
    order = _shuffled(np.repeat(thirds, frames_each), rng)
    return SeriesDesign(kind, tuple(int(2 * third) for third in order), limit_stops, focal_length_35mm, frames_each)


def _shuffled(thirds: NDArray[np.int64], rng: np.random.Generator) -> NDArray[np.int64]:
    """An order in which the settings hardly rise or fall, as about half of all do: else tiring would look like them.

    Source: restricted randomisation, Bailey 1987.
    """
    while True:
        order = rng.permutation(thirds)
        if abs(np.corrcoef(order, np.arange(len(order)))[0, 1]) <= MOST_TREND:
            return order


@cache
def effort(frames_each: int, half_width: float) -> Effort:
    """The days that a series with so many frames at each setting is expected to take until it is that sure."""
    places = tuple(float(place) for place in np.repeat(np.linspace(-SAFE_SIDE, RISKY_SIDE, N_TIMES), frames_each))
    n_days = days_needed(places, half_width)
    expected = float("nan") if n_days is None else expected_half_width(places, n_days)
    return Effort(frames_each, len(places), n_days, expected)


def usual_limit(kind: str, key: object) -> float:
    """Where a series expects a limit before it is shot, on the scale of its kind [stops]."""
    return LIMIT if kind == "hand-held" else USUAL[kind].get(key, USUAL_ISO)  # type: ignore[call-overload]


def series_frames(
    frames: pd.DataFrame, sessions: Sequence[int], kind: str = "hand-held", key: bool | str | None = None
) -> pd.DataFrame:
    """The frames of a test series as `analytics.statistics.series_limit` takes them.

    Args:
        frames: judged frames, as `analytics.dataset` makes them.
        sessions: that belong to the series; each is a day of its own.
        kind: of limit; key: whether stabilised, the subject's pace or the body; `None` for all.

    Returns:
        `day`, `dose`, `has_fault`: frames that are keepers or have the fault. Frames rejected for something else alone
        do not say whether they have it, and are left out.
    """
    return pd.DataFrame(BySession(frames).shot(sessions, kind, key)._asdict())


class BySession:
    """Judged frames in the order of their sessions, so that those of a few are found without looking at all."""

    def __init__(self, frames: pd.DataFrame) -> None:
        """The frames, see `series_frames`; they are put in order for each limit when it is first asked for."""
        self._frames = frames
        self._told: OrderedDict[object, tuple[NDArray[np.int64], Shot]] = OrderedDict()

    def shot(self, sessions: Sequence[int], kind: str = "hand-held", key: bool | str | None = None) -> Shot:
        """The frames of a test series as arrays; see `series_frames`."""
        if (kind, key) not in self._told:
            self._told[kind, key] = self._in_order(kind, key)
            if len(self._told) > LIMITS_KEPT:
                self._told.popitem(last=False)
        order, told = self._told[kind, key]
        wanted = np.unique(np.asarray(sessions, dtype=np.int64))
        ends = (told.day.searchsorted(wanted, side) for side in ("left", "right"))
        parts = [np.arange(first, last) for first, last in zip(*ends, strict=True)]
        mine = np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
        mine = mine[order[mine].argsort()]
        return Shot(*(values[mine] for values in told))

    def judged(self, sessions: Sequence[int]) -> pd.DataFrame:
        """All judged frames of these sessions, whatever they say of a limit."""
        return self._frames[self._frames["session"].isin(list(sessions))]

    def _in_order(self, kind: str, key: bool | str | None) -> tuple[NDArray[np.int64], Shot]:
        """Of all frames that say something of a limit, by session: where they stand in the table, and what they say."""
        fault = self._frames[FAULT_COLUMNS[kind]].to_numpy(dtype=bool)
        is_about = np.asarray(_is_about(self._frames, kind, key), dtype=bool)
        with np.errstate(divide="ignore", invalid="ignore"):
            dose = np.log2(_dose(self._frames, kind))
        tells = is_about & (self._frames["is_keeper"].to_numpy(dtype=bool) | fault) & np.isfinite(dose)
        session = self._frames["session"].to_numpy(dtype=np.int64)
        order = np.flatnonzero(tells)
        order = order[session[order].argsort(kind="stable")]
        return order, Shot(session[order], dose[order], fault[order])


def _dose(frames: pd.DataFrame, kind: str) -> NDArray[np.float64]:
    """What the logarithm of a dose is taken of; NaN where it is not known."""
    if kind == "iso":
        return np.asarray(frames["iso"], dtype=np.float64) / 100
    times = np.asarray(frames["exposure_time_s"], dtype=np.float64)
    return times * np.asarray(frames["focal_length_35mm"], dtype=np.float64) if kind == "hand-held" else times


def _is_about(frames: pd.DataFrame, kind: str, key: bool | str | None) -> Any:
    """Which frames a limit is about; where nobody said whether the picture was steadied, the choice of series says."""
    if kind == "hand-held":
        by_hand = np.asarray(frames["support"] == "hand-held", dtype=bool)
        if key is None:
            return by_hand
        is_stabilised = np.asarray(frames["is_stabilised"], dtype=np.float64)
        return by_hand & (np.isnan(is_stabilised) | (is_stabilised == int(bool(key))))
    found = frames["subject_pace" if kind == "freeze" else "body"]
    return ~pd.isna(found) if key is None else found == key
