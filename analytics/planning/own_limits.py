"""This photographer's limits for one outing, each with its source: their own, or the usual one until it is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.statistics.limits import ISO, KINDS, USUAL, limits

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    #: Limits [stops] by kind and key.
    Known = Mapping[str, Mapping[object, float]]


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit on its kind's scale [stops], and whether it is this photographer's own or the usual one."""

    stops: float
    is_own: bool


@dataclass(frozen=True, slots=True)
class OwnLimits:
    """Slowest hand-held time [stops below the rule], slowest freezing time [log2 s], highest ISO [stops over 100]."""

    hand_held: Limit
    freeze: Limit | None
    highest_iso: Limit


def own_limits(frames: pd.DataFrame, is_stabilised: bool, subject_pace: str | None, body: str | None) -> OwnLimits:
    """The limits that an outing has to keep, from judged frames; arguments as in `limits_to_keep`."""
    return limits_to_keep(known_limits(frames), is_stabilised, subject_pace, body)


def limits_to_keep(known: Known, is_stabilised: bool, subject_pace: str | None, body: str | None) -> OwnLimits:
    """The limits that an outing has to keep.

    Args:
        known: this photographer's own limits.
        is_stabilised: whether body or lens is; subject_pace: as in the journal, or unknown.
        body: model, or unknown: then the lowest of the known bodies' highest ISO counts.
    """
    iso = known["iso"]
    named = iso.get(body) if body is not None else min(iso.values(), default=None)
    return OwnLimits(
        _limit(known["hand-held"].get(is_stabilised), USUAL["hand-held"][is_stabilised]),
        None if subject_pace is None else _limit(known["freeze"].get(subject_pace), USUAL["freeze"][subject_pace]),
        _limit(named, ISO),
    )


def known_limits(frames: pd.DataFrame) -> Known:
    """Limits by kind and key of which there is enough to say; of one that was never reached, what is sure of it.

    Args:
        frames: judged frames of the whole journal; may be empty.
    """
    return known_of_tables({} if frames.empty else {kind: limits(frames, kind) for kind in KINDS})


def known_of_tables(tables: Mapping[str, pd.DataFrame]) -> Known:
    """The same from the tables of `analytics.statistics.limits`, by kind; none where nothing is judged."""
    return {kind: _enough(tables.get(kind)) for kind in KINDS}


def _enough(table: pd.DataFrame | None) -> dict[object, float]:
    if table is None:
        return {}
    lines = [line for line in table.to_dict("records") if line["is_enough"]]
    return {line["key"]: line["estimate"] if line["bound"] == "both" else line["low"] for line in lines}


def _limit(own: float | None, usual: float) -> Limit:
    return Limit(usual, False) if own is None else Limit(own, True)
