"""The pages of estimates: limits, habits, progress, advice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.pages.advice import NO_CONTROL, advice_sentence
from analytics.pages.habits import capital, habit_page
from analytics.pages.limit_words import HEADINGS
from analytics.publish.blocks import Block, Heading, Page, Pictures, Say, Table, Text
from analytics.statistics.habit_catalogue import BY_KEY

if TYPE_CHECKING:
    from analytics.pages.advice import AdviceLine
    from analytics.pages.habits import HabitLine
    from analytics.publish.material import Material


def build_limits(material: Material) -> Page:
    """The personal limits with their intervals and what is lost beyond them."""
    page = material.limits
    blocks: list[Block] = [Text(page.judged, is_aside=True)]
    if page.lines:
        rows = [
            (
                f"{HEADINGS[line.kind]}, {line.name}",
                line.shown,
                line.interval,
                "" if line.beyond is None else line.beyond.share,
                line.n_frames,
                line.n_sessions,
                "" if line.is_enough else "not enough yet",
            )
            for line in page.lines
        ]
        columns = ("limit", "value", "interval", "lost beyond, of 100", "frames", "sessions", "remark")
        grey = [not line.is_enough for line in page.lines]
        blocks.append(Table("Personal limits", columns, rows, frozenset({3, 4, 5}), grey))
    if any(line.kind == "hand-held" for line in page.lines):
        blocks.append(Text("Focal lengths in the table are 35 mm-equivalent.", is_aside=True))
    surer = [f"{capital(line.name)}: {line.surer}" for line in page.lines if line.surer]
    blocks += [Text(text, is_aside=True) for text in [*surer, *page.left_out]]
    return Page("limits", "Limits", page.sentence, blocks)


def build_habits(material: Material) -> Page:
    """All habits, then those that cost keepers, each with the frames that show it and those it did not spoil."""
    page = material.habits
    blocks: list[Block] = [Text(page.judged, is_aside=True)]
    if page.lines:
        rows = [(capital(line.name), line.cost, line.n_frames, line.n_sessions, line.verdict) for line in page.shown]
        columns = ("habit", "lost of 100 frames", "frames", "sessions", "remark")
        grey = [not line.is_flagged for line in page.shown]
        links = [f"#habit-{line.key}" if line.is_flagged else "" for line in page.shown]
        blocks.append(Table("Habits", columns, rows, frozenset({1, 2, 3}), grey, links))
    if page.surer:
        blocks.append(Text(page.surer, is_aside=True))
    for line in page.lines:
        if line.is_flagged:
            blocks += _one_habit(material, line)
    return Page("habits", "Habits", page.sentence, blocks)


def _one_habit(material: Material, line: HabitLine) -> list[Block]:
    found = habit_page(material.journal, material.ground, line.key)
    lines = [f"What counts: {line.definition}.", found.price, f"What to do: {line.advice}"]
    blocks: list[Block] = [Heading(capital(line.name), f"habit-{line.key}"), Text(found.sentence)]
    blocks += [Text(text) for text in lines if text]
    shown = (
        (f"Rejects that show it: {len(found.evidence)} of {found.n_evidence}", found.evidence),
        (f"Keepers that it did not spoil: {len(found.counter)} of {found.n_counter}", found.counter),
    )
    blocks += [Pictures(caption, [card.frame_id for card in cards]) for caption, cards in shown if cards]
    return [*blocks, Say("habit", line.key, capital(line.name))]


def build_progress(material: Material) -> Page:
    """The change at equal scenes beside the plain count, the reasons for the difference, and every session."""
    page = material.progress
    blocks: list[Block] = [Text(page.judged, is_aside=True)]
    if page.changes:
        rows = [(change.name, change.shown) for change in page.changes]
        blocks.append(Table("Change", ("counted", "change of 100 frames, first day to last"), rows, frozenset({1})))
    if page.reason:
        blocks.append(Text(page.reason))
    if page.reasons:
        moved = [(reason.name, f"{100 * reason.change:+.0f}") for reason in page.reasons]
        columns = ("what drifted", "moved the plain count by, of 100")
        blocks.append(Table("What drifted", columns, moved, frozenset({1}), is_closed=True))
    blocks.append(Text(page.surer, is_aside=True))
    return Page("progress", "Progress", page.sentence, blocks)


def advice_words(material: Material) -> list[str]:
    """What came of each piece of advice, in the words of the catalogue: the stored ones could be anybody's."""
    return [advice_sentence(_advice(line), line.given_on, line.effect) for line in material.advice.lines]


def _advice(line: AdviceLine) -> str:
    habit = BY_KEY.get(line.habit)
    return habit.advice if habit else "Advice on a habit that this version does not know"


def build_advice(material: Material) -> Page:
    """Advice that was given: followed? did its fault fall? did it gain keepers?"""
    page, said = material.advice, advice_words(material)
    blocks: list[Block] = []
    for line, sentence in zip(page.lines, said, strict=True):
        ended = f", ended {line.ended_on}" if line.ended_on else ""
        blocks += [Heading(f"Given {line.given_on}{ended}"), Text(_advice(line)), Text(sentence)]
        if line.effect is not None and line.effect.verdict != "not enough":
            compared = f"{line.effect.n_before} sessions before, {line.effect.n_after} after"
            columns = ("after it, at equal scenes", "of 100 frames", "verdict")
            blocks.append(Table(f"Compared: {compared}", columns, line.answers, frozenset({1})))
    if page.lines:
        blocks.append(Text(NO_CONTROL, is_aside=True))
    return Page("advice", "Advice", said[0] if said else page.sentence, blocks)
