"""Judging old frames again, blind: what is offered and shown meanwhile, and what came of each round.

Nothing of an open round is counted here before it is over, and a picture is shown without its old verdict, name, time
or suggestion, for any of them would tell what was said.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from analytics.charts.strictness import strictness_chart
from analytics.pages.again_rounds import RoundLine, rounds
from analytics.pages.judge import FAULT_KEYS, FaultKey, settings_words
from journal.notation import format_count

if TYPE_CHECKING:
    from analytics.dataset import OpenJournal
    from journal.records.anchors import AgainState, OldPicture

#: What a round cannot tell apart from milder or stricter judging.
CAUTIONS = (
    "Whoever judges the same frames twice turns some of them, and where keepers are rare a larger share of keepers "
    "than of rejects; the figure takes both into account.",
    "The mood of one day looks like a change: judge again in two or three sittings on different days.",
    "The old verdicts were given beside the rest of the burst, these without: who keeps only the best of a burst looks "
    "milder in the first round. From the second one on, the rounds are compared with each other.",
)
#: What is asked of the photographer, and why.
OFFER = (
    "Up to sixty old keepers and as many rejects are shown in a shuffled order, without what you said of them, without "
    "suggestion and without their burst. What you say now changes no verdict and no rate; it tells whether you judge "
    "as you did then, for milder judging looks like progress."
)
QUESTION = "Did your judging become milder or stricter?"
RESTING = (
    "There is nothing to judge again yet. Judging again is offered each quarter, once thirty bursts with keepers "
    "and thirty with rejects were judged three months ago or earlier."
)
NOT_SIMULATED = " Simulated verdicts are not judged again."


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


def again_page(journal: OpenJournal, state: AgainState) -> AgainPage:
    """What is to be done and what came of it."""
    with journal.snapshot():
        lines, simulated = rounds(journal), journal.simulated()
    if state.kind == "due":
        sentence = "It is time to judge some old frames again: did your judging become milder or stricter?"
    elif state.kind == "open":
        sentence = left_words(state)
    else:
        sentence = lines[-1].sentence if lines else RESTING + (NOT_SIMULATED if simulated else "")
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
