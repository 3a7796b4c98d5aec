"""Keepers by a setting choice: the lines, the sentence that says what was found, and what would make it surer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from analytics.pages.settings import NAMES
from analytics.statistics.rates import ENOUGH_SESSIONS, WIDEST_HALF, keeper_rates_from_counts
from journal.notation import format_count, format_none_of

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class KeeperLine:
    """Keepers among the judged frames of one value of a setting (or of one pair of values).

    `labels` holds one label per setting, `None` where nobody wrote the setting down. `sort_range` is the lowest and
    highest place on the setting's scale that the (first) label covers. `keys` says the same as the labels, for filters.
    """

    labels: tuple[str | None, ...]
    sort_range: tuple[float, float] | None
    n_frames: int
    n_bursts: int
    n_sessions: int
    estimate: float
    low: float
    high: float
    is_enough: bool
    keys: tuple[int | str | None, ...] = ()

    @property
    def label(self) -> str:
        """What the reader sees."""
        return ", ".join("unknown" if label is None else label for label in self.labels)

    @property
    def is_known(self) -> bool:
        """Whether the settings of this line were written down."""
        return None not in self.labels

    @property
    def share(self) -> str:
        """Keepers of 100 with the interval: 71 (64–78)."""
        return f"{100 * self.estimate:.0f} ({self.interval})"

    @property
    def interval(self) -> str:
        """The interval of keepers of 100: 64–78."""
        return f"{100 * self.low:.0f}–{100 * self.high:.0f}"


def keeper_lines(counts: pd.DataFrame, level: float = 0.95) -> list[KeeperLine]:
    """Keeper lines in the order of the setting's scale, unknown last.

    Args:
        counts: judged frames and keepers by burst: `session`, `burst`, `n_frames`, `n_keepers`, the labels `key` (and
            `key2`) and their place on the scale `sort_key` (and `sort_key2`).
        level: coverage of the intervals, in (0, 1).
    """
    if counts.empty:
        return []
    names = ["key", "key2"] if "key2" in counts else ["key"]
    by_label = counts.groupby("key", dropna=True)["sort_key"]
    lowest, highest = by_label.min().dropna().to_dict(), by_label.max().dropna().to_dict()
    places = {str(label): (float(place), float(highest[label])) for label, place in lowest.items()}
    ordered = counts.copy()
    for name, sort in zip(names, ("sort_key", "sort_key2"), strict=False):
        ordered[sort] = pd.to_numeric(counts.groupby(name, dropna=False)[sort].transform("min"))
    by = [column for name in names for column in (name.replace("key", "sort_key"), name)]
    rates = keeper_rates_from_counts(ordered, by, level)
    return [_line(rate, names, places) for rate in rates.to_dict("records")]


def _line(rate: dict[Any, Any], names: list[str], places: dict[str, tuple[float, float]]) -> KeeperLine:
    labels = tuple(_label(rate[name]) for name in names)
    return KeeperLine(
        labels=labels,
        sort_range=places.get(labels[0]) if labels[0] is not None else None,
        n_frames=rate["n_frames"],
        n_bursts=rate["n_bursts"],
        n_sessions=rate["n_sessions"],
        estimate=rate["estimate"],
        low=rate["low"],
        high=rate["high"],
        is_enough=rate["is_enough"],
    )


def _label(key: object) -> str | None:
    """The label; pandas turns a missing one into not-a-number."""
    return key if isinstance(key, str) else None


def keepers_sentence(settings: Sequence[str], lines: Sequence[KeeperLine], totals: dict[str, int]) -> str:
    """What was found, in one plain sentence."""
    if not totals["n_frames"]:
        return no_frames(totals)
    if not lines:
        return f"{format_none_of(totals['n_frames'], 'frame')} is judged yet. Next: thirdstop judge"
    if len(lines) == 1:
        return _alone(settings, lines[0])
    enough = [line for line in lines if line.is_enough and line.is_known]
    if len(enough) < 2:
        return "There is not enough judged yet to compare: it takes two lines with enough evidence."
    best, worst = max(enough, key=lambda line: line.low), min(enough, key=lambda line: line.high)
    if best.low <= worst.high:
        named = " and ".join(NAMES[setting] for setting in settings)
        which = "neither of the 2" if len(enough) == 2 else f"none of the {len(enough)}"
        return (
            f"By {named}, {which} lines with enough evidence stands apart: the intervals overlap, which does not show "
            "that they are alike."
        )
    picked = f", the clearest difference among {len(enough)} lines" if len(enough) > 2 else ""
    return (
        f"You keep {best.share} of 100 frames {_at(settings, best)} and {worst.share} {_at(settings, worst)}{picked}; "
        "light, subject, gear and support may differ too, so this is where to look, not yet why."
    )


#: How a choice is joined to its frames, where it is not "at".
PREPOSITIONS = {
    **dict.fromkeys(("body", "lens", "camera_support", "subject_pace", "priority"), "with"),
    **dict.fromkeys(("session", "month", "year"), "in"),
}


def _alone(settings: Sequence[str], line: KeeperLine) -> str:
    """What to say where there is nothing to compare with."""
    named = " and ".join(NAMES[setting] for setting in settings)
    if not line.is_known:
        return f"Of no frame here is the {named} known."
    return f"There is nothing to compare by {named}: all judged frames here are {_at(settings, line)}."


def _at(settings: Sequence[str], line: KeeperLine) -> str:
    """How a line is joined to its frames: at 1/125, with the Tidewell M1, in 2026-03."""
    return line.label if line.label.startswith("at ") else f"{PREPOSITIONS.get(settings[0], 'at')} {line.label}"


def no_frames(totals: dict[str, int]) -> str:
    """What to say where no session has a frame."""
    if totals["n_outside"]:
        return f"{format_none_of(totals['n_outside'], 'frame')} belongs to a session. Next: thirdstop log"
    return "There are no frames in this journal yet. Next: thirdstop import CARD"


def what_makes_it_surer(lines: Sequence[KeeperLine], which: str = "") -> str:
    """What to judge or take next, so that more lines can be compared; empty where every line can.

    Args:
        lines: of one setting.
        which: what they are called, where they are not all of the chart: chosen.
    """
    short = [line for line in lines if not line.is_enough]
    if not short:
        return ""
    subject = format_count(len(short), f"{which} line".strip())
    verb = "has" if len(short) == 1 else "have"
    few = sum(line.n_sessions < ENOUGH_SESSIONS for line in short)
    wide = len(short) - few
    whose = f"{few} of them" if wide else "it" if few == 1 else "they"
    other = ("it" if wide == 1 else "they") if not few else "the other" if wide == 1 else f"the other {wide}"
    why = [f"{whose} {'has' if few == 1 else 'have'} frames of fewer than {ENOUGH_SESSIONS} sessions"] if few else []
    why += [f"{other} {'has' if wide == 1 else 'have'} too wide an interval"] if wide else []
    return f"{subject} {verb} not enough evidence yet; {', '.join(why)}."


#: When a line says enough, and what makes it surer; said once on a page.
ENOUGH_RULE = (
    f"A line has enough evidence with frames of at least {ENOUGH_SESSIONS} sessions and an interval at most "
    f"{200 * WIDEST_HALF:.0f} of 100 wide. More sessions make it surer; more frames of the same bursts hardly do."
)
