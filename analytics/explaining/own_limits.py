"""How near a frame was to what this photographer can do: the stops that were to spare before a limit.

Limits come from elsewhere and are handed in. Kinds and keys: `hand-held` by whether lens or body steadies the picture
[stops below the rule], `freeze` by subject pace [log2 s], `iso` by body [log2(ISO / 100)]. All of them are upper ends:
a larger number is slower or noisier.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.explaining.missing import TIME, for_the_rule

if TYPE_CHECKING:
    import pandas as pd

    from analytics.explaining.facts import FrameFacts


@dataclass(frozen=True, slots=True)
class OwnLimit:
    """One limit with its interval.

    `is_enough` is false while too few judged frames stand behind it; `is_reached` is false where no frame went beyond
    it, so that the photographer may be able to do more.
    """

    estimate: float
    low: float
    high: float
    is_enough: bool
    is_reached: bool = True


#: Limits by (kind, key), for example ("hand-held", True).
Limits = Mapping[tuple[str, object], OwnLimit]


@dataclass(frozen=True, slots=True)
class ToSpare:
    """One limit against this frame: positive stops were to spare, negative ones lie beyond the limit."""

    kind: str
    key: str
    stops: float | None
    low: float | None
    high: float | None
    basis: str


def limits_of_tables(tables: Mapping[str, pd.DataFrame]) -> dict[tuple[str, object], OwnLimit]:
    """Limits from the tables of `analytics.statistics.limits`, by kind."""
    return {(kind, row["key"]): _limit(row) for kind, table in tables.items() for row in table.to_dict("records")}


def _limit(row: Mapping[Hashable, Any]) -> OwnLimit:
    estimate, low, high = (float(row[name]) for name in ("estimate", "low", "high"))
    return OwnLimit(estimate, low, high, bool(row["is_enough"]), row["bound"] == "both")


#: What is missing where nobody said whether the picture was steadied.
NO_STABILISATION = "whether body and lens are stabilised is not known"
#: What each limit is called.
NAMES = {"hand-held": "slowest hand-held time", "freeze": "slowest freezing time", "iso": "highest ISO kept"}


def known(limits: Limits, kind: str, key: object) -> float | None:
    """The estimate of a limit that enough stands behind."""
    limit = limits.get((kind, key))
    return limit.estimate if limit is not None and limit.is_enough and math.isfinite(limit.estimate) else None


def to_spare(facts: FrameFacts, limits: Limits) -> tuple[ToSpare, ...]:
    """The stops that this frame had to spare before each of the photographer's limits that bear on it [stops]."""
    time, iso = facts.exposure_time_s, facts.iso
    log_time = math.log2(time) if time else None
    log_iso = math.log2(iso / 100) if iso else None
    lines = []
    if facts.camera_support in (None, "hand-held"):
        below = facts.stops_below_rule
        missing = [for_the_rule(facts)] if below is None else []
        missing += ["how the camera was held is not written down"] if facts.camera_support is None else []
        missing += [NO_STABILISATION] if facts.is_stabilised is None else []
        lines.append(_line("hand-held", facts.is_stabilised, below, limits, missing))
    if facts.subject_pace not in (None, "still"):
        lines.append(_line("freeze", facts.subject_pace, log_time, limits, [TIME] if time is None else []))
    missing = ["the ISO is not written down"] if log_iso is None else []
    missing += ["the body is not known"] if facts.gear.body is None else []
    lines.append(_line("iso", facts.gear.body, log_iso, limits, missing))
    return tuple(lines)


def _line(kind: str, key: object, value: float | None, limits: Limits, missing: list[str]) -> ToSpare:
    words = _key_words(kind, key)
    limit = limits.get((kind, key))
    if key is None or value is None:
        return ToSpare(kind, words, None, None, None, "; ".join(missing))
    if limit is None or not limit.is_enough or not math.isfinite(limit.estimate):
        return ToSpare(
            kind, words, None, None, None, "your limit is not known yet: too few judged frames, or none near"
        )
    ends = [_finite(end - value) for end in (limit.low, limit.high)]
    basis = "your own limit, from your judged frames"
    if not limit.is_reached:
        basis += "; none went beyond it, so you may be able to do more"
    return ToSpare(kind, words, limit.estimate - value, ends[0], ends[1], basis)


def _finite(stops: float) -> float | None:
    return stops if math.isfinite(stops) else None


def _key_words(kind: str, key: object) -> str:
    if kind == "hand-held":
        return "stabilisation unknown" if key is None else "stabilised" if key else "not stabilised"
    return "unknown" if key is None else str(key)
