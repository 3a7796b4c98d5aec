"""Keeper rates by one setting or by two: the lines, and the sentence that says what was found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.statistics.rates import keeper_rates_from_counts
from analytics.statistics.results import RateLine

if TYPE_CHECKING:
    from analytics.dataset import OpenJournal


@dataclass(frozen=True, slots=True)
class KeeperPage:
    """Keeper rates by a setting."""

    by: str
    other: str | None
    sentence: str
    lines: tuple[RateLine, ...]


def keeper_page(opened: OpenJournal, by: str, other: str | None = None, level: float = 0.95) -> KeeperPage:
    """Keeper rates by the setting `by`, crossed with `other` if one is named."""
    keys = ["sort_key", "key"]
    if other is None:
        counts = opened.setting_counts(by)
    else:
        counts = opened.setting_counts_of_two(by, other)
        keys += ["other_sort_key", "other_key"]
    for prefix in ("", "other_") if other else ("",):
        same = counts.groupby(f"{prefix}key", dropna=False)[f"{prefix}sort_key"]
        counts[f"{prefix}sort_key"] = same.transform("min")
    rates = keeper_rates_from_counts(counts, keys, level)
    lines = tuple(_line(rate) for rate in rates.to_dict("records"))
    return KeeperPage(by, other, _sentence(by, lines, opened.totals()["n_frames"]), lines)


def _line(rate: dict[Any, Any]) -> RateLine:
    return RateLine(
        key=_text(rate["key"]),
        other_key=_text(rate.get("other_key")),
        n_frames=int(rate["n_frames"]),
        n_bursts=int(rate["n_bursts"]),
        n_sessions=int(rate["n_sessions"]),
        estimate=float(rate["estimate"]),
        low=float(rate["low"]),
        high=float(rate["high"]),
        is_enough=bool(rate["is_enough"]),
    )


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _sentence(by: str, lines: tuple[RateLine, ...], n_frames: int) -> str:
    """What was found, in one plain sentence."""
    if not lines:
        return f"None of the {n_frames} frames is judged yet. Next: thirdstop judge"
    enough = [line for line in lines if line.is_enough and line.key is not None]
    if len(enough) < 2:
        return "There is not enough judged yet to compare: two lines with three sessions each are needed."
    best, worst = max(enough, key=lambda line: line.low), min(enough, key=lambda line: line.high)
    if best.low <= worst.high:
        return f"By {by.replace('_', ' ')}, no line stands apart: the intervals overlap."
    return (
        f"You keep {_share(best)} of 100 frames at {best.name} and {_share(worst)} at {worst.name}; "
        "light and subject differ too, so this is where to look, not yet why."
    )


def _share(line: RateLine) -> str:
    return f"{100 * line.estimate:.0f} ({line.interval})"


def rates_as_rows(page: KeeperPage) -> list[dict[str, Any]]:
    """The lines as rows for JSON and charts."""
    names = ("key", "other_key") if page.other else ("key",)
    numbers = ("n_frames", "n_bursts", "n_sessions", "estimate", "low", "high", "is_enough")
    return [{name: getattr(line, name) for name in (*names, *numbers)} for line in page.lines]
