"""What came of each round of judging old frames again, in words.

The first round compares blind verdicts with ordinary ones. Who keeps only the best of a burst keeps more when each
picture stands alone, so "milder" is said under that condition until a later round, blind as well, is milder than the
first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.statistics.strictness import (
    ENOUGH_OF_EACH,
    MILDER,
    NO_EVIDENCE,
    NOT_ENOUGH,
    STRICTER,
    JudgedAgain,
    Strictness,
    since,
    strictness,
)
from journal.notation import format_count, format_signed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.dataset import OpenJournal

#: A change with its interval; shares in [-2, 2].
Change = tuple[float, float, float]
#: Under what condition a judge who seems milder did not change.
UNLESS = ", unless you used to keep only the best of a burst"
#: What a verdict is called in a sentence about the photographer's judging.
BECAME = {MILDER: "became milder", STRICTER: "became stricter"}
NOTHING_FOUND = "there is no evidence that your judging became milder or stricter"


@dataclass(frozen=True, slots=True)
class RoundLine:
    """One round that is over: when, what was turned, what that says, and how it differs from earlier rounds.

    `verdict` is milder, stricter, no evidence or not enough yet; `is_sure` is whether it stands without a condition.
    """

    number: int
    judged_on: str
    old_from: str
    old_until: str
    n_pictures: int
    n_days: int
    counts: JudgedAgain
    found: Strictness
    since_last: Change | None
    since_first: Change | None
    verdict: str
    is_sure: bool
    sentence: str

    @property
    def shown_verdict(self) -> str:
        """The verdict as a table says it."""
        return self.verdict if self.is_sure else f"{self.verdict}, or the best of a burst"

    @property
    def shown(self) -> str:
        """The change of 100 frames with its interval."""
        return shown_change(self.found.change, self.found.low, self.found.high) if self.found.is_enough else ""

    @property
    def shown_since(self) -> str:
        """The same against the round before; empty where one of them says too little."""
        return "" if self.since_last is None else shown_change(*self.since_last)


def rounds(journal: OpenJournal, level: float = 0.95) -> list[RoundLine]:
    """The rounds that are over, the earliest first: judged throughout, or followed by another one."""
    rows = journal.rows(queries.ANCHOR_ROUNDS)
    lines: list[RoundLine] = []
    for row in rows:
        is_over = row["n_judged"] == row["n_pictures"] or row is not rows[-1]
        if row["n_judged"] and is_over:
            lines.append(_line(row, [line.found for line in lines if line.found.is_enough], level))
    return lines


def _line(row: dict[str, Any], earlier: Sequence[Strictness], level: float) -> RoundLine:
    counts = JudgedAgain(**{name: row[name] for name in JudgedAgain.__slots__})
    found = strictness(counts, level)
    is_comparable = bool(earlier) and found.is_enough
    since_first = since(earlier[0], found) if is_comparable else None
    verdict, is_sure = _verdict(found, since_first)
    return RoundLine(
        number=row["round"],
        judged_on=row["judged_until"][:10],
        old_from=row["old_from"][:10],
        old_until=row["old_until"][:10],
        n_pictures=row["n_pictures"],
        n_days=row["n_days"],
        counts=counts,
        found=found,
        since_last=since(earlier[-1], found) if is_comparable else None,
        since_first=since_first,
        verdict=verdict,
        is_sure=is_sure,
        sentence=round_sentence(counts, found, since_first),
    )


def _verdict(found: Strictness, since_first: Change | None) -> tuple[str, bool]:
    """Milder, stricter or neither, and whether that stands without a condition."""
    if found.verdict == NOT_ENOUGH:
        return "not enough yet", True
    if since_first is not None and (since_first[1] > 0 or since_first[2] < 0):
        return (MILDER if since_first[0] > 0 else STRICTER), True
    return found.verdict, found.verdict != MILDER


def round_sentence(counts: JudgedAgain, found: Strictness, since_first: Change | None = None) -> str:
    """Milder, stricter or neither, with the figures."""
    keepers, rejects = format_count(counts.n_keepers, "old keeper"), format_count(counts.n_rejects, "old reject")
    if found.verdict == NOT_ENOUGH:
        return (
            "There is not enough evidence yet to say whether your judging became milder or stricter: "
            f"{keepers} and {rejects} were judged again; {ENOUGH_OF_EACH} of each are needed."
        )
    verdict, is_sure = _verdict(found, since_first)
    said = f"Your judging {BECAME[verdict]}" if verdict in BECAME else f"T{NOTHING_FOUND[1:]}"
    if verdict in BECAME and since_first is not None and (since_first[1] > 0 or since_first[2] < 0):
        said += " since the first round"
    against = "" if since_first is None else f"; against the first round it is {shown_change(*since_first)}"
    return (
        f"{said}{'' if is_sure else UNLESS}: you keep {counts.n_rejects_kept} of {rejects} now and reject "
        f"{counts.n_keepers_rejected} of {keepers}; at equal frames that is "
        f"{shown_change(found.change, found.low, found.high)} keepers of 100{against}."
    )


def shown_change(change: float, low: float, high: float) -> str:
    """Of 100 frames with the interval: +12 (+4 to +20)."""
    return "{} ({} to {})".format(*(format_signed(100 * value) for value in (change, low, high)))


def judging_words(lines: Sequence[RoundLine]) -> str:
    """What the latest round that says enough means for progress; empty where there is none."""
    told = [line for line in lines if line.found.is_enough]
    if not told:
        return ""
    line = told[-1]
    figure = f"{line.shown} keepers of 100 at equal frames"
    if line.since_first is not None:
        figure += f", {shown_change(*line.since_first)} against the first round"
    if line.verdict == NO_EVIDENCE:
        return f"Judged again without the old verdicts by {line.judged_on}, {NOTHING_FOUND}: {figure}."
    meant = {
        MILDER: "Progress may partly be milder judging.",
        STRICTER: "Progress may be larger than it looks.",
    }[line.verdict]
    return (
        f"Judged again without the old verdicts, your judging {BECAME[line.verdict]} by {line.judged_on}"
        f"{'' if line.is_sure else UNLESS}: {figure}. {meant}"
    )
