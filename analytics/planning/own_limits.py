"""This photographer's limits for one outing, each with its source: their own, or the usual one until it is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.statistics.limits import ISO, USUAL, limits

if TYPE_CHECKING:
    import pandas as pd


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
    """The limits that an outing has to keep.

    Args:
        frames: judged frames of the whole journal; may be empty.
        is_stabilised: whether body or lens is; subject_pace: as in the journal, or unknown.
        body: model, or unknown: then the lowest of the known bodies' highest ISO counts.
    """
    iso = _found(frames, "iso")
    named = iso.get(body) if body is not None else min(iso.values(), default=None)
    return OwnLimits(
        _limit(_found(frames, "hand-held").get(is_stabilised), USUAL["hand-held"][is_stabilised]),
        None
        if subject_pace is None
        else _limit(_found(frames, "freeze").get(subject_pace), USUAL["freeze"][subject_pace]),
        _limit(named, ISO),
    )


def _limit(own: float | None, usual: float) -> Limit:
    return Limit(usual, False) if own is None else Limit(own, True)


def _found(frames: pd.DataFrame, kind: str) -> dict[object, float]:
    """Limits of which there is enough to say; of one that was never reached, what is sure of it."""
    if frames.empty:
        return {}
    found = {}
    for line in limits(frames, kind).to_dict("records"):
        if line["is_enough"]:
            found[line["key"]] = line["estimate"] if line["bound"] == "both" else line["low"]
    return found
