"""The first page: what the journal holds, and keepers by the settings that make an exposure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.charts.keeper_rates import keeper_rate_chart
from analytics.dataset.choosing import Filter, exactly
from analytics.pages.keepers import (
    ENOUGH_RULE,
    KeeperLine,
    keeper_lines,
    keepers_sentence,
    no_frames,
    what_makes_it_surer,
)
from analytics.pages.keepers_page import QUESTIONS, frames_address
from journal.notation import format_count

if TYPE_CHECKING:
    from analytics.dataset import OpenJournal

#: Settings of the page in its order.
HEADINGS = {
    "exposure_time": "Exposure time",
    "iso": "ISO",
    "f_number": "Aperture",
    "stops_below_rule": "Distance from the rule",
}
#: Sessions in the page's own list, newest first; the table of sessions holds the others.
SESSIONS_SHOWN = 100


@dataclass(frozen=True, slots=True)
class Panel:
    """One question: the sentence that answers it, the chart, the lines of its table, what would make it surer."""

    setting: str
    heading: str
    question: str
    sentence: str
    lines: list[KeeperLine]
    chart: dict[str, Any] | None
    surer: str

    def frames(self, line: KeeperLine) -> str:
        """The address of the judged frames behind a line: exactly those that it counts."""
        if line.sort_range is None:
            return frames_address(Filter((exactly(self.setting, None),)))
        place = round(line.sort_range[0])
        key = 3 * place if self.setting == "stops_below_rule" else place  # a whole stop is three thirds
        return frames_address(Filter((exactly(self.setting, key),)))


@dataclass(frozen=True, slots=True)
class Dashboard:
    """All that the first page shows."""

    simulated: str | None
    sentence: str
    sessions: list[dict[str, Any]]
    n_more_sessions: int
    panels: list[Panel]

    @property
    def rule(self) -> str:
        """When a line says enough, where one does not yet."""
        return ENOUGH_RULE if any(panel.surer for panel in self.panels) else ""


def dashboard(journal: OpenJournal) -> Dashboard:
    """Reads the first page, all of it at one moment of the journal."""
    with journal.snapshot():
        totals = journal.totals()
        sessions = journal.rows(queries.SESSION_LINES, {"limit": SESSIONS_SHOWN})
        return Dashboard(
            simulated=journal.simulated(),
            sentence=_sentence(totals),
            sessions=sessions,
            n_more_sessions=totals["n_sessions"] - len(sessions),
            panels=[_panel(journal, setting, totals) for setting in HEADINGS],
        )


def _sentence(totals: dict[str, int]) -> str:
    if not totals["n_frames"]:
        return no_frames(totals)
    counted = f"{format_count(totals['n_frames'], 'frame')} in {format_count(totals['n_sessions'], 'session')}"
    if totals["n_outside"]:
        counted += f" (and {totals['n_outside']:,} in none)"
    if not totals["n_judged"]:
        return f"{counted}; none is judged yet. Next: thirdstop judge"
    return (
        f"{counted}: of {totals['n_judged']:,} judged you kept {totals['n_keepers']:,}, "
        f"{100 * totals['n_keepers'] / totals['n_judged']:.0f} of 100."
    )


def _panel(journal: OpenJournal, setting: str, totals: dict[str, int]) -> Panel:
    lines = keeper_lines(journal.setting_counts(setting))
    sentence = keepers_sentence([setting], lines, totals)
    rows = [
        {
            "label": line.label,
            "estimate": line.estimate,
            "low": line.low,
            "high": line.high,
            "n_frames": line.n_frames,
            "n_bursts": line.n_bursts,
            "n_sessions": line.n_sessions,
            "is_enough": line.is_enough,
        }
        for line in lines
    ]
    return Panel(
        setting=setting,
        heading=HEADINGS[setting],
        question=QUESTIONS[setting],
        sentence=sentence,
        lines=lines,
        chart=keeper_rate_chart(rows, QUESTIONS[setting], sentence) if rows else None,
        surer=what_makes_it_surer(lines),
    )
