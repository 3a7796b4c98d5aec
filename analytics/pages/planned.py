"""The page of a plan: what is asked of an outing, the settings to start with, whose limits they keep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics import queries
from analytics.pages.plan import depth_words, limit_lines, plan_sentence, ways_to_light
from analytics.planning.outing import AskedOuting, plan
from analytics.planning.own_limits import limits_to_keep
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.dataset import OpenJournal
    from analytics.planning.own_limits import Known

#: Fields of the form as they begin. Empty is unknown.
FIELDS = {
    "ev100": "",
    "focal_length": "50 mm",
    "widest": "f/2.8",
    "support": "hand-held",
    "stabilised": "",
    "pace": "",
    "body": "",
    "priority": "",
    "distance": "",
    "depth": "",
    "base_iso": "100",
}
#: A field holds no more than this; whatever is longer is no setting.
LONGEST_FIELD = 100
NOTHING_ASKED = "Say what light you expect, and you get settings to start with, within {limits}."
OWN_LIMITS = "your own limits, or usual ones where yours are not known yet"
USUAL_LIMITS = "usual limits, for yours are not known yet"
#: Whose highest ISO counts where no body is named, by whether one of any body is known.
ANY_BODY = {True: "any of mine: the lowest of their limits", False: "limit unknown: a usual one"}
#: Sessions whose light is shown as a help to guess the next.
LIGHTS_SHOWN = 6


@dataclass(frozen=True, slots=True)
class PlanPage:
    """The form as it was filled in, and the plan where one was asked for."""

    simulated: str | None
    sentence: str
    next_step: str
    fields: dict[str, str]
    bodies: list[str]
    any_body: str
    lights: list[tuple[str, str, str]]
    limits: list[tuple[str, str, str]]
    texts: list[str]
    cautions: list[str]


def plan_page(journal: OpenJournal, known: Known, asked: Mapping[str, str]) -> PlanPage:
    """The plan for what was asked; a field that says nothing sensible is told in the sentence.

    Args:
        journal: for its bodies and the light of its last sessions.
        known: this photographer's own limits, as `analytics.planning.own_limits` finds them.
        asked: fields by name; those that are missing are as in `FIELDS`.
    """
    fields = {name: asked.get(name, start).strip()[:LONGEST_FIELD] for name, start in FIELDS.items()}
    bodies = [str(row["model"]) for row in journal.kept_rows(queries.BODY_MODELS)]
    lights = [
        (row["started_at"][:10], row["light"] or row["intent"] or "", f"{row['light_ev100']:.1f}")
        for row in journal.kept_rows(queries.RECENT_LIGHT, {"limit": LIGHTS_SHOWN})
    ]
    strange = next((name for name in asked if name not in FIELDS), None)
    if strange is None:
        sentence, next_step, limits, texts, cautions = _said(known, fields, bodies)
    else:  # a plan for something else than was asked would look like an answer
        sentence = f"{strange[:LONGEST_FIELD]!r} is no field of a plan, so nothing was planned."
        next_step = "Choose in the form below."
        limits, texts, cautions = [], [], []
    return PlanPage(
        simulated=journal.simulated(),
        sentence=sentence,
        next_step=next_step,
        fields=fields,
        bodies=bodies,
        any_body=ANY_BODY[bool(known["iso"])],
        lights=lights,
        limits=limits,
        texts=texts,
        cautions=cautions,
    )


Said = tuple[str, str, list[tuple[str, str, str]], list[str], list[str]]


def _said(known: Known, fields: Mapping[str, str], bodies: list[str]) -> Said:
    """(sentence, what to do next, limits, texts, cautions)."""
    if not fields["ev100"]:
        limits = OWN_LIMITS if any(known.values()) else USUAL_LIMITS
        return NOTHING_ASKED.format(limits=limits), "", [], [], []
    try:
        outing = _asked(fields).outing()
        if fields["body"] and fields["body"] not in bodies:
            raise JournalError(f"There is no body {fields['body']!r} in this journal.", "Choose one of the list.")
    except JournalError as error:
        return error.problem, error.next_step, [], [], []
    own = limits_to_keep(known, bool(fields["stabilised"]), fields["pace"] or None, fields["body"] or None)
    found = plan(outing, own)
    texts = [*depth_words(found, outing), *ways_to_light(found, outing, own)]
    lines = limit_lines(own, outing, fields["pace"] or None)
    return plan_sentence(found, own), "", lines, texts, list(found.cautions)


def _asked(fields: Mapping[str, str]) -> AskedOuting:
    try:
        ev100 = float(fields["ev100"].replace(",", "."))
    except ValueError:
        raise JournalError(
            f"{fields['ev100']!r} is no exposure value.", "Write the light as a number, for example 8."
        ) from None
    return AskedOuting(
        ev100,
        fields["focal_length"],
        fields["widest"],
        fields["pace"] or None,
        fields["support"],
        fields["priority"] or None,
        fields["distance"] or None,
        fields["depth"] or None,
        fields["base_iso"],
    )
