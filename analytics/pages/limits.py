"""Personal limits: the slowest hand-held time, the slowest time that freezes a subject, the highest ISO kept."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.pages.limit_words import (
    FURTHER,
    LOST_TO,
    NEARER,
    REFERENCE_MM,
    YOURS,
    interval_name,
    key_name,
    limit_name,
    untold_sentences,
    value_name,
)
from analytics.statistics.cells import collapse
from analytics.statistics.limits import ENOUGH_NEAR, KINDS, fit_limits, limits_of
from analytics.statistics.plan import more_sessions_of
from analytics.statistics.rates import keeper_rates
from analytics.statistics.speaking import speaking
from journal.notation import capital, format_count, parse_exposure_time
from journal.optics.nominal import nominal_time_name

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from analytics.pages.judged import Ground
    from analytics.statistics.limits import LimitFit
    from analytics.statistics.speaking import Speaking

#: How sure a limit should be [stops either way]; half a stop is what a photographer can set and feel.
WANTED_HALF_WIDTH = 0.5


@dataclass(frozen=True, slots=True)
class Fits:
    """The curves by kind of limit, and the frames that each is fitted to."""

    curves: Mapping[str, LimitFit]
    speaking: Mapping[str, Speaking]


@dataclass(frozen=True, slots=True)
class Beyond:
    """Frames at the limit and beyond: how many, and the share of them rejected for the fault, with its interval.

    They are of those that the curve is fitted to. `is_enough` is whether they are enough to say what is lost. The focal
    lengths are the commonest among them, as the lens says it and 35 mm-equivalent; `is_of_one` is whether it is the
    only one, else what is lost is said at the reference length.
    """

    n_frames: int
    n_sessions: int
    n_faults: int
    is_enough: bool
    estimate: float
    low: float
    high: float
    focal_length_mm: float
    focal_length_35mm: float
    is_of_one: bool = True

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
    is_told: bool
    reach: float

    @property
    def lost_beyond(self) -> str:
        """What a table says is lost of 100 at the limit and beyond it."""
        if self.beyond is None:
            return "–"
        return self.beyond.share if self.beyond.is_enough else "too few"

    @property
    def near(self) -> str:
        """How many sessions have frames near it, in a table; of a limit that was not reached none can."""
        return f"{self.n_near:,}" if self.bound == "both" else "–"


@dataclass(frozen=True, slots=True)
class LimitsPage:
    """All limits, the sentence that says what was found, and what was left out for want of a word.

    `lines` has all of them, for scripts; a page shows `told`, and names the others in the sentences of `untold`.
    """

    simulated: str | None
    sentence: str
    judged: str
    lines: list[LimitLine]
    left_out: list[str]

    @property
    def told(self) -> list[LimitLine]:
        """The limits of which frames tell something."""
        return [line for line in self.lines if line.is_told]

    @property
    def untold(self) -> list[str]:
        """The limits of which no frame tells anything yet, named in a sentence or two of each kind."""
        return self.untold_of(KINDS)

    def untold_of(self, kinds: Sequence[str]) -> list[str]:
        """The same of some kinds only."""
        sentences: list[str] = []
        for kind in kinds:
            lines = [line for line in self.lines if line.kind == kind and not line.is_told]
            named = [(line.name, line.n_frames, line.n_sessions, _reach_name(line)) for line in lines]
            sentences += untold_sentences(kind, named, ENOUGH_NEAR)
        return sentences


def limit_fits(ground: Ground, target: float = 0.10) -> Fits:
    """The curves of each kind of limit, which all that is said of limits is taken from; none where nothing is judged.

    Args:
        ground: what is judged.
        target: share of frames with the fault at the limit, in (0, 0.5).
    """
    if ground.missing:
        return Fits({}, {})
    cells, cell = collapse(ground.frames)
    curves = {kind: fit_limits(cells, kind, target) for kind in KINDS}
    return Fits(curves, {kind: speaking(found, ground.frames, cell) for kind, found in curves.items()})


def limits_page(ground: Ground, target: float = 0.10, level: float = 0.95, fits: Fits | None = None) -> LimitsPage:
    """The limits at which `target` of the frames are lost.

    Args:
        ground: what is judged.
        target: share of frames with the fault at the limit, in (0, 0.5).
        level: coverage of the intervals, in (0, 1).
        fits: the curves, where they are fitted already.
    """
    found = limit_fits(ground, target) if fits is None else fits
    lines = [line for kind in found.curves for line in _lines(ground.frames, found, kind, level)]
    left_out = [] if ground.missing else _left_out(ground.frames)
    return LimitsPage(
        simulated=ground.simulated,
        sentence=ground.missing or limits_sentence(lines, left_out),
        judged=ground.said,
        lines=lines,
        left_out=left_out,
    )


def _lines(frames: pd.DataFrame, fits: Fits, kind: str, level: float) -> list[LimitLine]:
    curves, speak = fits.curves[kind], fits.speaking[kind]
    lines = []
    for row in limits_of(curves, level).to_dict("records"):
        beyond = beyond_limit(frames, speak, curves.rows.keys.index(row["key"]), row["estimate"], level)
        n_more = None if row["bound"] == "none" else more_sessions_of(curves, row["key"], WANTED_HALF_WIDTH)
        # what is told as a stop wide is not asked to become a little narrower
        is_told_so = row["bound"] == "both" and round(3 * row["high"]) - round(3 * row["low"]) <= 6 * WANTED_HALF_WIDTH
        n_more = 0 if is_told_so else n_more
        lines.append(_line(kind, row, beyond, n_more))
    return lines


def _line(kind: str, row: dict[Any, Any], beyond: Beyond | None, n_more: int | None) -> LimitLine:
    ends, is_told = (row["estimate"], row["low"], row["high"]), row["is_told"]
    return LimitLine(
        kind=kind,
        key=str(row["key"]) if kind != "hand-held" else ("stabilised" if row["key"] else "not stabilised"),
        name=key_name(kind, row["key"]),
        shown=limit_name(kind, row["bound"], ends) if is_told else "unknown",
        interval=interval_name(kind, row["bound"], row["low"], row["high"]) if is_told else "",
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
        beyond=beyond,
        n_more=n_more,
        surer=_surer(kind, row, n_more) if is_told else "",
        is_told=is_told,
        reach=row["reach"],
    )


def beyond_limit(frames: pd.DataFrame, speak: Speaking, key: int, limit: float, level: float) -> Beyond | None:
    """What is lost at the limit and beyond it; `None` where no frame is.

    Args:
        frames: the judged frames; speak: which of them say something of the kind of limit.
        key: number of the limit; limit: where it is [stops].
        level: coverage of the interval.
    """
    beyond = speak.at_or_beyond(key, limit)
    if not beyond.any():
        return None
    counted = frames[["session", "burst"]].assign(is_keeper=speak.has_fault, beyond=beyond)[speak.key == key]
    rate = next(row for row in keeper_rates(counted, "beyond", level).to_dict("records") if row["key"])
    lengths = frames.loc[beyond, ["focal_length_mm", "focal_length_35mm"]].round().value_counts()
    length, equivalent = lengths.index[0] if len(lengths) else (np.nan, np.nan)
    return Beyond(
        n_frames=rate["n_frames"],
        n_sessions=rate["n_sessions"],
        n_faults=int(speak.has_fault[beyond].sum()),
        is_enough=bool(rate["is_enough"]),
        estimate=rate["estimate"],
        low=rate["low"],
        high=rate["high"],
        focal_length_mm=float(length),
        focal_length_35mm=float(equivalent),
        is_of_one=len(lengths) <= 1,
    )


def limits_sentence(lines: list[LimitLine], left_out: Sequence[str] = ()) -> str:
    """What was found, in one sentence: the sure limit that most frames were lost beyond.

    Args:
        lines: the limits.
        left_out: frames that are left out, because nobody stated how they were taken, and how to state it.
    """
    sure = [line for line in lines if line.is_enough and line.is_told and line.bound == "both"]
    sure = [line for line in sure if line.beyond is not None and line.beyond.is_enough]
    if not sure:
        few = "Where your limits are cannot be said yet."
        if left_out:
            return f"{few} {left_out[0].partition('. ')[0]}."
        return f"{few} Judge more sessions, and name every fault that you see."
    worst = max(sure, key=lambda line: line.beyond.n_faults if line.beyond else 0)
    return f"{lost_beyond(worst)}."


#: What stands beside a focal length that the limit is told for.
OTHER_LENGTHS = " and in proportion at other lengths"


def lost_beyond(line: LimitLine) -> str:
    """What is lost at a limit and beyond: At 1/60 and slower, hand-held at 200 mm, you lose 31 (24–38) of 100."""
    found = line.beyond
    if found is None:
        further = FURTHER[line.kind]
        return f"No frame counted is {further} than {_reach_name(line)}, so how much {further} it may be is not known"
    at, length = value_name(line.kind, line.estimate, REFERENCE_MM), f"{REFERENCE_MM:.0f} mm{OTHER_LENGTHS}"
    if line.kind == "hand-held" and found.is_of_one:
        length = _focal_length(found)
        if math.isfinite(found.focal_length_35mm):
            at = fastest_counted(line.estimate, found.focal_length_35mm)
    where = {
        "hand-held": f"hand-held at {length}, {line.name}",
        "freeze": f"with {line.name}",
        "iso": f"with the {line.name}",
    }[line.kind]
    place = f"At {at} and {FURTHER[line.kind]}, {where},"
    if not found.is_enough:
        counted = f"{format_count(found.n_frames, 'frame')} in {format_count(found.n_sessions, 'session')}"
        return f"{place} there are too few frames to say how many you lose to {LOST_TO[line.kind]}: {counted}"
    return f"{place} you lose {found.share} of 100 frames to {LOST_TO[line.kind]}"


def fastest_counted(limit: float, focal_length: float) -> str:
    """The fastest time of a camera that counts as at a hand-held limit, at a focal length.

    Frames count from the third of a stop that the limit is told in, by the time that their camera wrote: 1/6 is not
    1/6.35, and at another length the thirds lie elsewhere.
    """
    third = math.floor(3 * (limit - math.log2(focal_length))) - 2
    names = (nominal_time_name(2 * (third + step)) for step in range(6))
    return next(
        name for name in names if round(3 * math.log2(parse_exposure_time(name) * focal_length)) >= round(3 * limit)
    )


def _reach_name(line: LimitLine) -> str:
    """The riskiest setting of a limit's frames: 1/5, 1/30 at 100 mm, ISO 400."""
    at = f" at {REFERENCE_MM:.0f} mm" if line.kind == "hand-held" else ""
    return f"{value_name(line.kind, line.reach)}{at}"


def _focal_length(found: Beyond) -> str:
    """A focal length as the lens says it, and 35 mm-equivalent where that is another: 400 mm (600 mm equivalent)."""
    own, equivalent = (
        f"{length:.0f} mm" if math.isfinite(length) else ""
        for length in (found.focal_length_mm, found.focal_length_35mm)
    )
    if own == equivalent or not equivalent:
        return own or "any focal length"
    return f"{own} ({equivalent} equivalent)" if own else f"{equivalent} equivalent"


def _surer(kind: str, row: dict[Any, Any], n_more: int | None) -> str:
    """What to shoot so that the limit is sure to half a stop; empty where it is."""
    at = f" at {REFERENCE_MM:.0f} mm" if kind == "hand-held" else ""
    what = "hand-held frames" if kind == "hand-held" else "frames"
    yours = YOURS[kind].format(name=key_name(kind, row["key"]))
    if row["bound"] == "at least":
        known = value_name(kind, row["reach"])
        steady = ", from a tripod" if kind == "freeze" else ""
        none = f"no frame counted is {FURTHER[kind]} than {known}{at}"
        return f"{capital(yours)} is not reached yet: {none}; take some {what} beyond it{steady}."
    if row["bound"] == "at most":
        known = value_name(kind, row["high"])
        nearer = f"take some {what} {NEARER[kind]} than {known}{at}"
        return f"Hardly anything on the safe side of {yours} is tried yet: {nearer}."
    if not n_more:
        return ""
    near = f"{value_name(kind, row['estimate'])}{at}"
    sessions = format_count(n_more, "more session")
    return f"{sessions} with {what} near {near} would make {yours} sure to half a stop either way."


#: What a sentence on frames says of one, and of several.
ONE, SEVERAL = ({"frames": "frame", "are": "is", "say": "says"}, {"frames": "frames", "are": "are", "say": "say"})


def _left_out(frames: pd.DataFrame) -> list[str]:
    """Frames that say nothing about a limit because nobody wrote down what it takes, with the way to say it."""
    by_hand = frames["support"] == "hand-held"
    left = (
        (
            by_hand & frames["is_stabilised"].isna(),
            "hand-held {frames} {are} left out: nobody said whether body and lens are stabilised. "
            "Say it of the one that is: thirdstop gear body MODEL --stabilised, or: thirdstop gear lens MODEL "
            "--stabilised; if neither is, say so of both, with --not-stabilised",
        ),
        (
            by_hand & frames["focal_length_35mm"].isna(),
            "hand-held {frames} {are} left out: the 35 mm-equivalent focal length is unknown. "
            "State the sensor, its width and height in mm, with: thirdstop gear body MODEL --sensor WIDTHxHEIGHT",
        ),
        (
            frames["support"].isna(),
            "{frames} {say} nothing about hand-holding: no camera support is stated. "
            "State it, for instance with: thirdstop edit SESSION --support hand-held",
        ),
        (
            frames["subject_pace"].isna(),
            "{frames} {say} nothing about freezing: no subject pace is stated. "
            "State it, for instance with: thirdstop edit SESSION --pace walking",
        ),
    )
    found = []
    for mask, text in left:
        n = int(mask.sum())
        if n:
            found.append(f"{n:,} {text.format(**(ONE if n == 1 else SEVERAL))}")
    return found


def limits_as_json(page: LimitsPage, ground: Ground) -> dict[str, Any]:
    """All numbers, for scripts."""
    lines = [asdict(line) for line in page.lines]
    return {**ground.as_json(), "sentence": page.sentence, "limits": lines, "left_out": page.left_out}
