"""The pages of estimates: limits, habits, progress, advice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.pages.advice import advice_sentence
from analytics.pages.habits import habit_page
from analytics.pages.limit_words import COUNTED_BY, HEADINGS, REFERENCE, WHICH_FRAMES
from analytics.publish.blocks import Block, Chart, Heading, Page, Pictures, Say, Table, Text
from analytics.statistics.habit_catalogue import BY_KEY
from journal.notation import capital, format_count

if TYPE_CHECKING:
    from analytics.pages.advice import AdviceLine
    from analytics.pages.drawn import LimitPanel
    from analytics.pages.habits import HabitLine, HabitPage
    from analytics.pages.limits import LimitLine
    from analytics.publish.material import Material


#: Said where frames show something, but none that may be shown.
NONE_CHOSEN = "None of the {what} is in the chosen sessions."


def build_limits(material: Material) -> Page:
    """The personal limits, then each with its chart and the frames that were lost beyond it."""
    drawn = material.limits
    page = drawn.page
    blocks: list[Block] = [Text(page.judged, is_aside=True)]
    if page.told:
        rows = [_limit_row(line) for line in page.told]
        columns = ("limit", "value", "interval", "lost beyond, of\u00a0100", "frames", "sessions", "remark")
        grey = [not line.is_enough for line in page.told]
        links = [f"#limit-{number}" for number, _ in enumerate(page.told, 1)]
        blocks.append(Table("Personal limits", columns, rows, frozenset({3, 4, 5}), grey, links))
        blocks.append(
            Text(
                REFERENCE,
                is_aside=True,
            )
        )
        blocks.append(Text(WHICH_FRAMES, is_aside=True))
    blocks += [Text(text, is_aside=True) for text in (*page.untold, *page.left_out)]
    for number, panel in enumerate(drawn.panels, 1):
        blocks += _one_limit(material, panel, f"limit-{number}")
    return Page("limits", "Limits", page.sentence, blocks)


def _limit_row(line: LimitLine) -> tuple[object, ...]:
    return (
        f"{HEADINGS[line.kind]}, {line.name}",
        line.shown,
        line.interval,
        line.lost_beyond,
        line.n_frames,
        line.n_sessions,
        "" if line.is_enough else "not enough yet",
    )


def _one_limit(material: Material, panel: LimitPanel, key: str) -> list[Block]:
    line = panel.line
    name = f"{HEADINGS[line.kind]}, {line.name}"
    blocks: list[Block] = [Heading(f"{name}: {line.shown}", key), Text(panel.sentence)]
    if panel.chart:
        blocks.append(Chart(panel.chart, f"{panel.question} {panel.sentence}"))
        blocks += [Text(panel.undrawn, is_aside=True)] if panel.undrawn else []
        rows = [
            (row["label"], row["n_frames"], row["n_faults"], _of_100(row["n_faults"], row["n_frames"]))
            for row in panel.counts
        ]
        columns = (COUNTED_BY[line.kind], "frames that would show it", "lost", "of 100")
        blocks.append(Table(name, columns, rows, frozenset({1, 2, 3}), is_closed=True))
    if panel.frames:
        counted = _counted(len(panel.frames), panel.n_rejects, " rejects", material)
        caption = f"Lost at the limit and beyond, each from another burst: {counted}"
        blocks.append(Pictures(caption, [card.frame_id for card in panel.frames]))
    elif panel.n_rejects:
        blocks.append(Text(NONE_CHOSEN.format(what="rejects that count here"), is_aside=True))
    return [*blocks, Text(line.surer, is_aside=True)] if line.surer else blocks


def _counted(n_shown: int, n_frames: int, what: str, material: Material) -> str:
    """How many of how many are shown, and where from, if of a part of the journal only."""
    if not material.is_part:
        return f"{n_shown} of {n_frames:,}{what}"
    chosen = f"the chosen sessions{' and frames' if material.chosen.frames else ''}"
    return f"{n_shown} shown from {chosen}, of {n_frames:,}{what} in the journal"


def _of_100(n_faults: int, n_frames: int) -> str:
    return f"{100 * n_faults / n_frames:.0f}" if n_frames else "–"


def build_habits(material: Material) -> Page:
    """All habits, then those that cost keepers, each with the frames that show it and those it did not spoil."""
    drawn, page = material.drawn_habits, material.habits
    blocks: list[Block] = [Text(page.judged, is_aside=True)]
    if drawn.chart:
        blocks.append(Chart(drawn.chart, f"{drawn.question} {page.sentence}"))
    if page.lines:
        rows = [
            (capital(line.name), line.cost or "–", line.n_frames, line.n_sessions, line.verdict) for line in page.shown
        ]
        columns = ("habit", "lost of 100 judged frames", "frames", "sessions", "what may be believed")
        grey = [not line.is_costly for line in page.shown]
        links = [f"#habit-{line.key}" if line.is_costly else "" for line in page.shown]
        blocks.append(Table("Habits", columns, rows, frozenset({1, 2, 3}), grey, links))
    if page.surer:
        blocks.append(Text(page.surer, is_aside=True))
    for line in page.lines:
        if line.is_costly:
            blocks += _one_habit(material, line)
    return Page("habits", "Habits", page.sentence, blocks)


def _one_habit(material: Material, line: HabitLine) -> list[Block]:
    found = habit_page(material.journal, material.ground, line.key, may_show=material.may_show)
    lines = [f"What counts: {line.definition}.", found.price, f"{found.advice_heading}: {line.advice}", found.counted]
    heading = capital(line.name)  # the sentence begins with it too
    blocks: list[Block] = [Heading(heading, f"habit-{line.key}"), Text(found.sentence.removeprefix(f"{heading}: "))]
    blocks += [Text(text) for text in lines if text]
    blocks += _frames_of_habit(found, material)
    return [*blocks, Say("habit", line.key, f"the habit “{line.name}”")]


def _frames_of_habit(found: HabitPage, material: Material) -> list[Block]:
    """Its rejects and its keepers; where there are some, but none that may be shown, that is said."""
    kinds = (
        (f"{found.rejects_heading[:1].lower()}{found.rejects_heading[1:]}", found.evidence, found.n_evidence),
        (f"{found.keepers_heading[:1].lower()}{found.keepers_heading[1:]}", found.counter, found.n_counter),
    )
    if not found.evidence and not found.counter and found.n_evidence + found.n_counter:
        return [Text(NONE_CHOSEN.format(what="frames that show it"), is_aside=True)]
    blocks: list[Block] = []
    for name, cards, n_frames in kinds:
        if cards:
            caption = f"{capital(name)}, each from another burst: {_counted(len(cards), n_frames, '', material)}"
            blocks.append(Pictures(caption, [card.frame_id for card in cards]))
        elif n_frames:
            blocks.append(Text(NONE_CHOSEN.format(what=name), is_aside=True))
    return blocks


def build_progress(material: Material) -> Page:
    """The change at equal scenes beside the plain count, the reasons for the difference, and every session."""
    drawn = material.progress
    page = drawn.page
    blocks: list[Block] = [Text(page.judged, is_aside=True)]
    if drawn.change:
        blocks.append(Chart(drawn.change, f"{drawn.questions[0]} {page.sentence}"))
    if page.changes:
        rows = [(change.name, change.shown) for change in page.changes]
        rows += [(f"the plain count, moved by {reason.name}", reason.shown) for reason in page.reasons]
        columns = ("keepers of 100, from first to last day", "change")
        grey = [number >= len(page.changes) for number in range(len(rows))]
        blocks += [Text(page.reason), Table("Change", columns, rows, frozenset({1}), grey)]
    if page.judging:
        blocks.append(Text(page.judging))
    if drawn.timeline:
        blocks += [Heading("Sessions"), Chart(drawn.timeline, f"{drawn.questions[1]} {page.sentence}")]
        points = [
            (
                point["name"],
                point["n_frames"],
                f"{100 * point['raw']:.0f}",
                f"{100 * point['adjusted']:.0f}",
                f"{100 * point['low']:.0f}–{100 * point['high']:.0f}",
            )
            for point in page.points
        ]
        over_time = ("session", "judged frames", "keepers of 100", "at equal scenes", "interval")
        shown = set(material.chosen.sessions)
        alone = [point["n_sessions"] == 1 and point["session"] in shown for point in page.points]
        links = [f"#session-{point['session']}" if has else "" for point, has in zip(page.points, alone, strict=True)]
        blocks.append(
            Table("Sessions over time", over_time, points, frozenset({1, 2, 3, 4}), links=links, is_closed=True)
        )
    blocks.append(Text(page.surer, is_aside=True))
    return Page("progress", "Progress", page.sentence, blocks)


def advice_words(material: Material) -> list[str]:
    """What came of each piece of advice, in the words of the catalogue: the stored ones could be anybody's."""
    return [advice_sentence(_advice(line), line.given_on, line.habit, line.effect) for line in material.advice.lines]


def _advice(line: AdviceLine) -> str:
    habit = BY_KEY.get(line.habit)
    return habit.advice if habit else "Advice on a habit that this version does not know"


def build_advice(material: Material) -> Page:
    """Advice that was given: followed? did its fault fall? did it gain keepers?"""
    page, said = material.advice, advice_words(material)
    blocks: list[Block] = []
    for number, (line, sentence) in enumerate(zip(page.lines, said, strict=True)):
        blocks += [Heading(_given(line)), Text(_advice(line))]
        blocks += [Text(sentence)] if number else []  # the page begins with the first
        if line.left_out:
            blocks.append(Text(f"Left out, for they led to it: the sessions from {line.left_out}.", is_aside=True))
        if line.effect is not None and line.effect.verdict != "not enough":
            columns = ("after it, at equal scenes", "of 100 frames", "so")
            blocks.append(Table(f"What came of it, given {line.given_on}", columns, line.answers, frozenset({1})))
            before = format_count(line.effect.n_before, "session")
            blocks.append(Text(f"Compared: {before} before, {line.effect.n_after} after.", is_aside=True))
    if page.surer:
        blocks.append(Text(page.surer, is_aside=True))
    return Page("advice", "Advice", said[0] if said else page.sentence, blocks)


def _given(line: AdviceLine) -> str:
    """When it was given, when it ended, and on which habit, by its name in the catalogue."""
    ended = f", ended {line.ended_on}" if line.ended_on else ""
    on = f": {BY_KEY[line.habit].name}" if line.habit in BY_KEY else ""
    return f"Given {line.given_on}{ended}{on}"
