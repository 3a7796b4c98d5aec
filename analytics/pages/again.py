"""Judging old frames again, blind: what is offered and shown meanwhile, and what came of each round.

Nothing of an open round is counted here before it is over, and a picture is shown without its old verdict, name, time
or suggestion, for any of them would tell what was said.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.charts.strictness import strictness_chart
from analytics.pages.judge import FAULT_KEYS, FaultKey, settings_words
from analytics.statistics.strictness import (
    ENOUGH_OF_EACH,
    MILDER,
    NOT_ENOUGH,
    STRICTER,
    JudgedAgain,
    Strictness,
    since,
    strictness,
)
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.dataset import OpenJournal
    from journal.records.anchors import AgainState, OldPicture

#: What a round cannot tell apart from milder or stricter judging.
CAUTIONS = (
    "Whoever judges the same frames twice turns some of them, and where keepers are rare a larger share of keepers "
    "than of rejects; the figure takes both into account.",
    "The mood of one day looks like a change: judge again in two or three sittings on different days.",
    "The old verdicts were given beside the rest of the burst, these without: who keeps only the best of a burst looks "
    "milder in the first round. From the second one on, compare round with round.",
)
#: What is asked of the photographer, and why.
OFFER = (
    "Up to sixty old keepers and as many rejects are shown in a shuffled order, without what you said of them, without "
    "suggestion and without their burst. What you say now changes no verdict and no rate; it tells whether you judge "
    "as you did then, for milder judging looks like progress."
)
QUESTION = "Did your judging become milder or stricter?"
RESTING = (
    "Nothing is to be judged again yet. It is offered each quarter, once thirty bursts with keepers and thirty with "
    "rejects were judged three months ago or earlier."
)


@dataclass(frozen=True, slots=True)
class RoundLine:
    """One round that is over: when, what was turned, what that says, and how it differs from the round before."""

    number: int
    judged_on: str
    old_from: str
    old_until: str
    n_pictures: int
    n_days: int
    counts: JudgedAgain
    found: Strictness
    since_last: tuple[float, float, float] | None
    sentence: str

    @property
    def verdict(self) -> str:
        """Milder, stricter, no evidence, or not enough yet."""
        return self.found.verdict if self.found.is_enough else "not enough yet"

    @property
    def shown(self) -> str:
        """The change of 100 frames with its interval."""
        return shown_change(self.found.change, self.found.low, self.found.high) if self.found.is_enough else ""

    @property
    def shown_since(self) -> str:
        """The same against the round before; empty where one of them says too little."""
        return "" if self.since_last is None else shown_change(*self.since_last)


@dataclass(frozen=True, slots=True)
class AgainPage:
    """What is to be done, and what came of the rounds so far; the latest first."""

    simulated: str | None
    state: AgainState
    sentence: str
    offer: str
    lines: list[RoundLine]
    cautions: tuple[str, ...]
    question: str
    chart: dict[str, Any] | None
    faults: tuple[FaultKey, ...] = FAULT_KEYS


@dataclass(frozen=True, slots=True)
class AgainNote:
    """A quiet line on the list of sessions to judge, and what its link is called."""

    said: str
    link: str


def rounds(journal: OpenJournal, level: float = 0.95) -> list[RoundLine]:
    """The rounds that are over, the earliest first: judged throughout, or followed by another one."""
    rows = journal.rows(queries.ANCHOR_ROUNDS)
    lines: list[RoundLine] = []
    for row in rows:
        is_over = row["n_judged"] == row["n_pictures"] or row is not rows[-1]
        if row["n_judged"] and is_over:
            lines.append(_line(row, lines[-1].found if lines else None, level))
    return lines


def _line(row: dict[str, Any], last: Strictness | None, level: float) -> RoundLine:
    counts = JudgedAgain(**{name: row[name] for name in JudgedAgain.__slots__})
    found = strictness(counts, level)
    return RoundLine(
        number=row["round"],
        judged_on=row["judged_until"][:10],
        old_from=row["old_from"][:10],
        old_until=row["old_until"][:10],
        n_pictures=row["n_pictures"],
        n_days=row["n_days"],
        counts=counts,
        found=found,
        since_last=since(last, found) if last is not None and last.is_enough and found.is_enough else None,
        sentence=round_sentence(counts, found),
    )


def round_sentence(counts: JudgedAgain, found: Strictness) -> str:
    """Milder, stricter or neither, with the figures."""
    if found.verdict == NOT_ENOUGH:
        keepers, rejects = format_count(counts.n_keepers, "old keeper"), format_count(counts.n_rejects, "old reject")
        return (
            "There is not enough evidence yet to say whether your judging became milder or stricter: "
            f"{keepers} and {rejects} were judged again; {ENOUGH_OF_EACH} of each are needed."
        )
    said = {MILDER: "Your judging became milder", STRICTER: "Your judging became stricter"}.get(
        found.verdict, "There is no evidence that your judging became milder or stricter"
    )
    return (
        f"{said}: you keep {counts.n_rejects_kept} of {format_count(counts.n_rejects, 'old reject')} now and reject "
        f"{counts.n_keepers_rejected} of {format_count(counts.n_keepers, 'old keeper')}; at equal frames that is "
        f"{shown_change(found.change, found.low, found.high)} keepers of 100."
    )


def shown_change(change: float, low: float, high: float) -> str:
    """Of 100 frames with the interval: +12 (+4 to +20)."""
    # Rounded first, and nought added, for a change of -0 is none.
    return "{:+.0f} ({:+.0f} to {:+.0f})".format(*(round(100 * value) + 0.0 for value in (change, low, high)))


def again_page(journal: OpenJournal, state: AgainState) -> AgainPage:
    """What is to be done and what came of it."""
    with journal.snapshot():
        lines, simulated = rounds(journal), journal.simulated()
    if state.kind == "due":
        sentence = "It is time to judge some old frames again: did your judging become milder or stricter?"
    elif state.kind == "open":
        sentence = left_words(state)
    else:
        sentence = lines[-1].sentence if lines else RESTING
    return AgainPage(
        simulated=simulated,
        state=state,
        sentence=sentence,
        offer=OFFER,
        lines=lines[::-1],
        cautions=CAUTIONS if lines else (),
        question=QUESTION,
        chart=_chart(lines),
    )


def _chart(lines: list[RoundLine]) -> dict[str, Any] | None:
    """The rounds that say enough, the latest first."""
    told = [line for line in lines[::-1] if line.found.is_enough]
    rows = [
        {"date": line.judged_on, "n_judged": line.found.n_judged}
        | {name: getattr(line.found, name) for name in ("change", "low", "high")}
        for line in told
    ]
    return strictness_chart(rows, QUESTION, told[0].sentence) if rows else None


def left_words(state: AgainState) -> str:
    """How many pictures of the open round are left."""
    is_are = "is" if state.n_left == 1 else "are"
    return f"{state.n_left} of {format_count(state.n_pictures, 'old picture')} {is_are} to be judged again."


def again_note(state: AgainState, has_rounds: bool) -> AgainNote | None:
    """The quiet line: what is due or was begun, or only where the results are; `None` where there is nothing to say."""
    if state.kind == "open":
        return AgainNote(left_words(state), "Go on")
    if state.kind == "due":
        said = "Judging some old frames again, without the old verdicts, tells whether you became milder or stricter."
        return AgainNote(said, "Judge again, or put it off")
    return AgainNote("", QUESTION) if has_rounds else None


def judging_words(lines: Sequence[RoundLine]) -> str:
    """What the latest round that says enough means for progress; empty where there is none."""
    told = [line for line in lines if line.found.is_enough]
    if not told:
        return ""
    line = told[-1]
    found = f"{line.shown} keepers of 100 at equal frames"
    if line.found.verdict == MILDER:
        return (
            f"Judged again without the old verdicts, your judging became milder by {line.judged_on}: {found}. "
            "Progress may partly be milder judging."
        )
    if line.found.verdict == STRICTER:
        return (
            f"Judged again without the old verdicts, your judging became stricter by {line.judged_on}: {found}. "
            "Progress may be larger than it looks."
        )
    return (
        f"Judged again without the old verdicts by {line.judged_on}, there is no evidence that your judging became "
        f"milder or stricter: {found}."
    )


def picture_data(picture: OldPicture) -> dict[str, Any]:
    """One picture for the page's script, in the shape of a frame of the judging page."""
    return {
        "id": picture.frame_id,
        "place": picture.place,
        "settings": settings_words(picture),
        "verdict": picture.verdict,
        "faults": list(picture.faults),
        "verdict_id": None,
        "preview": True,
        "original": picture.has_original,
    }


def again_as_json(page: AgainPage) -> dict[str, Any]:
    """All numbers, for scripts."""
    fields = {"simulated": page.simulated, "sentence": page.sentence, "state": asdict(page.state)}
    return {**fields, "rounds": [asdict(line) for line in page.lines], "cautions": list(page.cautions)}
