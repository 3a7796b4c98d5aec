"""The pages as a mentor sees them: what `analytics.pages.privacy` calls private is taken out of each.

A page of a kind that is not named here is not shown to a mentor at all, so that one that is added later stays private
until somebody has thought about it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import singledispatch
from typing import TYPE_CHECKING

from analytics.pages.advice import NONE_GIVEN, AdviceLine, AdvicePage, advice_sentence
from analytics.pages.chosen_frames import FramesPage
from analytics.pages.comments import OwnComments
from analytics.pages.dashboard import Dashboard
from analytics.pages.drawn import DrawnHabits, DrawnLimits, DrawnProgress
from analytics.pages.frame import ComparisonPage, FramePage
from analytics.pages.keepers_page import KeepersPage
from analytics.pages.session import SessionPage
from analytics.pages.standing import Standing
from analytics.pages.waiting import CountingError
from analytics.statistics.habit_catalogue import BY_KEY
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.pages.session import FrameCard

#: What the list of sessions shows of each; its intent is free text.
SESSION_SHOWN = ("session_id", "started_at", "n_frames", "n_judged", "n_keepers", "commonest_fault")


@singledispatch
def for_mentor(page: object) -> object:
    """The page without what is private.

    Raises:
        JournalError: nobody has said that mentors may see such a page.
    """
    raise JournalError("This page is the photographer's own.", "Go on from the links above.")


@for_mentor.register
def _(page: JournalError) -> JournalError:
    return JournalError("There is nothing at this address.", "Go on from the links above.")


@for_mentor.register
def _(page: CountingError) -> CountingError:
    return page


@for_mentor.register
def _(page: OwnComments) -> OwnComments:
    return page


@for_mentor.register
def _(page: Dashboard) -> Dashboard:
    return replace(page, sessions=[{name: session[name] for name in SESSION_SHOWN} for session in page.sessions])


@for_mentor.register
def _(page: SessionPage) -> SessionPage:
    bursts = [replace(burst, frames=_cards(burst.frames)) for burst in page.bursts]
    facts = page.facts_for_others
    return replace(page, heading=f"{facts[0][1][:10]}", facts=facts, bursts=bursts)


@for_mentor.register
def _(page: KeepersPage) -> KeepersPage:
    return page  # counts by settings, gear and words that the journal knows beforehand; no free text is one of them


@for_mentor.register
def _(page: FramesPage) -> FramesPage:
    sessions = [replace(session, intent="", frames=_cards(session.frames)) for session in page.sessions]
    return replace(page, sessions=sessions)


@for_mentor.register
def _(page: FramePage) -> FramePage:
    (card,) = _cards([page.card])
    return replace(page, card=card, burst=_cards(page.burst))


@for_mentor.register
def _(page: ComparisonPage) -> ComparisonPage:
    return replace(page, cards=_cards(page.cards))


@for_mentor.register
def _(page: DrawnLimits) -> DrawnLimits:
    return replace(page, panels=[replace(panel, frames=_cards(panel.frames)) for panel in page.panels])


@for_mentor.register
def _(page: DrawnHabits) -> DrawnHabits:
    if page.one is None:
        return page
    return replace(page, one=replace(page.one, evidence=_cards(page.one.evidence), counter=_cards(page.one.counter)))


@for_mentor.register
def _(page: DrawnProgress) -> DrawnProgress:
    return page


@for_mentor.register
def _advice_page(page: AdvicePage) -> AdvicePage:
    lines = [_advice(line) for line in page.lines if line.habit in BY_KEY]
    return replace(page, sentence=lines[0].sentence if lines else NONE_GIVEN, lines=lines)


@for_mentor.register
def _(page: Standing) -> Standing:
    last = None if page.last is None else replace(page.last, intent="")
    return replace(page, last=last, advice=_advice_page(page.advice))


def _advice(line: AdviceLine) -> AdviceLine:
    """The catalogue's own words; what is written in the journal may be the photographer's."""
    words = BY_KEY[line.habit].advice
    return replace(line, advice=words, sentence=advice_sentence(words, line.given_on, line.habit, line.effect))


def _cards(cards: Sequence[FrameCard]) -> list[FrameCard]:
    return [card._replace(file_name="") for card in cards]
