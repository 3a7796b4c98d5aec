"""Personal limits: the slowest hand-held time, the slowest time that freezes a subject, the highest ISO kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.pages.limit_words import (
    FURTHER,
    LOST_TO,
    NEARER,
    REFERENCE_MM,
    interval_name,
    key_name,
    limit_name,
    value_name,
)
from analytics.statistics.cells import cells_of
from analytics.statistics.limits import KINDS, fit_limits, limits_of
from analytics.statistics.plan import more_sessions_of
from analytics.statistics.rates import keeper_rates
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from analytics.pages.judged import Ground
    from analytics.statistics.limits import LimitFit

#: How sure a limit should be [stops either way]; half a stop is what a photographer can set and feel.
WANTED_HALF_WIDTH = 0.5
#: Column of the fault that each kind of limit is about.
FAULT_COLUMNS = {"hand-held": "fault_shake", "freeze": "fault_motion", "iso": "fault_noise"}


@dataclass(frozen=True, slots=True)
class Beyond:
    """Frames at the limit and beyond: how many, and the share of them rejected for the fault, with its interval.

    The focal lengths are the commonest among them, as the lens says it and 35 mm-equivalent.
    """

    n_frames: int
    n_faults: int
    estimate: float
    low: float
    high: float
    focal_length_mm: float
    focal_length_35mm: float

    @property
    def share(self) -> str:
        """Lost of 100 with the interval: 31 (24–38)."""
        return f"{100 * self.estimate:.0f} ({100 * self.low:.0f}–{100 * self.high:.0f})"


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit. `estimate`, `low` and `high` are stops on the scale of its kind; `shown` and `interval` are nominal.

    `n_more` is how many more sessions with frames near the limit would make it sure to half a stop; `None` where that
    cannot be said.
    """

    kind: str
    key: str
    name: str
    shown: str
    interval: str
    estimate: float
    low: float
    high: float
    bound: str
    is_enough: bool
    n_frames: int
    n_bursts: int
    n_sessions: int
    n_near: int
    n_faults: int
    beyond: Beyond | None
    n_more: int | None
    surer: str


@dataclass(frozen=True, slots=True)
class LimitsPage:
    """All limits, the sentence that says what was found, and what was left out for want of a word."""

    simulated: str | None
    sentence: str
    judged: str
    lines: list[LimitLine]
    left_out: list[str]


def limit_fits(ground: Ground, target: float = 0.10) -> dict[str, LimitFit]:
    """The curves of each kind of limit, which all that is said of limits is taken from; none where nothing is judged.

    Args:
        ground: what is judged.
        target: share of frames with the fault at the limit, in (0, 0.5).
    """
    if ground.missing:
        return {}
    cells = cells_of(ground.frames)
    return {kind: fit_limits(cells, kind, target) for kind in KINDS}


def limits_page(
    ground: Ground, target: float = 0.10, level: float = 0.95, fits: Mapping[str, LimitFit] | None = None
) -> LimitsPage:
    """The limits at which `target` of the frames are lost.

    Args:
        ground: what is judged.
        target: share of frames with the fault at the limit, in (0, 0.5).
        level: coverage of the intervals, in (0, 1).
        fits: the curves, where they are fitted already.
    """
    found = limit_fits(ground, target) if fits is None else fits
    lines = [line for fitted in found.values() for line in _lines(ground.frames, fitted, level)]
    return LimitsPage(
        simulated=ground.simulated,
        sentence=ground.missing or limits_sentence(lines),
        judged=ground.said,
        lines=lines,
        left_out=[] if ground.missing else _left_out(ground.frames),
    )


def _lines(frames: pd.DataFrame, found: LimitFit, level: float) -> list[LimitLine]:
    return [_line(frames, found, row, level) for row in limits_of(found, level).to_dict("records")]


def _line(frames: pd.DataFrame, found: LimitFit, row: dict[Any, Any], level: float) -> LimitLine:
    kind, ends = found.kind, (row["estimate"], row["low"], row["high"])
    n_more = None if row["bound"] == "none" else more_sessions_of(found, row["key"], WANTED_HALF_WIDTH)
    shown = limit_name(kind, row["bound"], ends)
    return LimitLine(
        kind=kind,
        key=str(row["key"]) if kind != "hand-held" else ("stabilised" if row["key"] else "not stabilised"),
        name=key_name(kind, row["key"]),
        shown=shown,
        interval=interval_name(kind, row["bound"], row["low"], row["high"]),
        estimate=row["estimate"],
        low=row["low"],
        high=row["high"],
        bound=row["bound"],
        is_enough=bool(row["is_enough"]),
        n_frames=row["n_frames"],
        n_bursts=row["n_bursts"],
        n_sessions=row["n_sessions"],
        n_near=row["n_near"],
        n_faults=row["n_faults"],
        beyond=beyond_limit(frames, kind, row["key"], row["estimate"], level),
        n_more=n_more,
        surer=_surer(kind, row, n_more),
    )


def frames_of(frames: pd.DataFrame, kind: str, key: object) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """The frames that a limit is about, and the place of every frame on the scale of its kind [stops]."""
    no_flash = ~(frames["used_flash"] == 1)
    time = frames["exposure_time_s"]
    if kind == "hand-held":
        mine = (frames["support"] == "hand-held") & (frames["is_stabilised"] == int(bool(key))) & no_flash
        dose = time * frames["focal_length_35mm"]
    elif kind == "freeze":
        mine, dose = (frames["subject_pace"] == key) & no_flash, time
    else:
        mine, dose = frames["body"] == key, frames["iso"] / 100
    stops = np.log2(dose.to_numpy(dtype=np.float64))
    return mine.to_numpy(dtype=bool) & np.isfinite(stops), stops


def beyond_limit(frames: pd.DataFrame, kind: str, key: object, limit: float, level: float) -> Beyond | None:
    """What is lost at the limit and beyond it; `None` where no frame is. A limit is said in thirds, so it counts so."""
    mine, stops = frames_of(frames, kind, key)
    beyond = mine & (stops > limit - 1 / 6)
    if not beyond.any():
        return None
    fault = frames[FAULT_COLUMNS[kind]].to_numpy(dtype=bool)
    counted = frames[["session", "burst"]].assign(is_keeper=fault, beyond=beyond)[mine]
    rate = next(row for row in keeper_rates(counted, "beyond", level).to_dict("records") if row["key"])
    lengths = frames.loc[beyond, ["focal_length_mm", "focal_length_35mm"]].round().value_counts()
    length, equivalent = lengths.index[0] if len(lengths) else (np.nan, np.nan)
    return Beyond(
        n_frames=rate["n_frames"],
        n_faults=int(fault[beyond].sum()),
        estimate=rate["estimate"],
        low=rate["low"],
        high=rate["high"],
        focal_length_mm=float(length),
        focal_length_35mm=float(equivalent),
    )


def limits_sentence(lines: list[LimitLine]) -> str:
    """What was found, in one sentence: the sure limit that most frames were lost beyond."""
    sure = [line for line in lines if line.is_enough and line.bound == "both" and line.beyond is not None]
    if not sure:
        return (
            "There is not enough near your limits yet to say where they are. "
            "Judge more sessions, and name every fault that you see."
        )
    worst = max(sure, key=lambda line: line.beyond.n_faults if line.beyond else 0)
    return f"{lost_beyond(worst)}."


def lost_beyond(line: LimitLine) -> str:
    """What is lost at a limit and beyond: At 1/60 and slower, hand-held at 200 mm, you lose 31 (24 to 38) of 100."""
    found = line.beyond
    if found is None:
        return "You have no frame beyond it yet, so only the near end of the limit is known"
    at = value_name(line.kind, line.estimate, found.focal_length_35mm)
    where = {
        "hand-held": f"hand-held at {found.focal_length_mm:.0f} mm, {line.name}",
        "freeze": f"with {line.name}",
        "iso": f"with the {line.name}",
    }[line.kind]
    return f"At {at} and {FURTHER[line.kind]}, {where}, you lose {found.share} of 100 frames to {LOST_TO[line.kind]}"


def _surer(kind: str, row: dict[Any, Any], n_more: int | None) -> str:
    """What to shoot so that the limit is sure to half a stop; empty where it is."""
    at = f" at {REFERENCE_MM:.0f} mm" if kind == "hand-held" else ""
    what = {
        "hand-held": f"hand-held frames, {key_name(kind, row['key'])},",
        "freeze": f"frames of {key_name(kind, row['key'])}",
    }.get(kind, f"frames with the {row['key']}")
    if row["bound"] == "at least":
        known = value_name(kind, row["low"])
        return f"Hardly anything beyond this limit is tried yet: take some {what} {FURTHER[kind]} than {known}{at}."
    if row["bound"] == "at most":
        known = value_name(kind, row["high"])
        nearer = f"take some {what} {NEARER[kind]} than {known}{at}"
        return f"Hardly anything on the safe side of this limit is tried yet: {nearer}."
    if not n_more:
        return ""
    near = f"{value_name(kind, row['estimate'])}{at}"
    return f"{format_count(n_more, 'more session')} with {what} near {near} would make this limit sure to half a stop."


def _left_out(frames: pd.DataFrame) -> list[str]:
    """Frames that say nothing about a limit because nobody wrote down what it takes, with the way to say it."""
    by_hand = frames["support"] == "hand-held"
    left = (
        (
            by_hand & frames["is_stabilised"].isna(),
            "hand-held {frames} are left out: nobody said whether body and lens are stabilised. "
            "Say it with: thirdstop gear body MODEL, thirdstop gear lens MODEL",
        ),
        (
            by_hand & frames["focal_length_35mm"].isna(),
            "hand-held {frames} are left out: their 35 mm-equivalent focal length is unknown. "
            "State the sensor with: thirdstop gear body MODEL --sensor",
        ),
        (
            frames["support"].isna(),
            "{frames} say nothing about hand-holding: no camera support is stated. "
            "State it with: thirdstop edit SESSION --support",
        ),
        (
            frames["subject_pace"].isna(),
            "{frames} say nothing about freezing: no subject pace is stated. "
            "State it with: thirdstop edit SESSION --pace",
        ),
    )
    found = []
    for mask, text in left:
        n = int(mask.sum())
        if n:
            noun = f"frame{'' if n == 1 else 's'}"
            found.append(f"{n:,} {text.format(frames=noun)}")
    return found


def limits_as_json(page: LimitsPage, ground: Ground) -> dict[str, Any]:
    """All numbers, for scripts."""
    lines = [asdict(line) for line in page.lines]
    return {**ground.as_json(), "sentence": page.sentence, "limits": lines, "left_out": page.left_out}
