"""`thirdstop habits [HABIT]`: what each habit costs in keepers, or one habit with the frames that show it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.pages.habits import HabitPage, HabitsPage
    from analytics.pages.session import FrameCard


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(habits)


def habits(
    habit: Annotated[str | None, typer.Argument(help="One habit, as the list names it, with its frames.")] = None,
    journal: JournalOption = None,
    level: Annotated[float, typer.Option(help="Coverage of the interval.")] = 0.95,
    as_json: JsonOption = False,
) -> None:
    """Show what your habits cost in keepers, and which frames."""
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    from analytics.dataset import OpenJournal
    from analytics.pages.habits import habit_as_json, habit_page, habits_as_json, habits_page
    from analytics.pages.judged import ground

    with OpenJournal(journal_path(journal)) as opened, opened.snapshot():
        found = ground(opened)
        if habit is not None:
            one = habit_page(opened, found, habit, level)
            if as_json:
                print_json({"level": level, **habit_as_json(one, found)})
            else:
                _print_habit(one)
            return
        page = habits_page(opened, found, level=level)
    if as_json:
        print_json({"level": level, **habits_as_json(page, found)})
        return
    _print_habits(page)


def _print_habits(page: HabitsPage) -> None:
    say(f"{page.simulated}. {page.sentence}" if page.simulated else page.sentence)
    say(page.judged)
    if not page.lines:
        return
    numbers = ["lost of 100 judged", "frames", "sessions"]
    rows = [
        (line.key, line.name, line.cost, f"{line.n_frames:,}", f"{line.n_sessions:,}", line.verdict)
        for line in page.shown
    ]
    grey = [not line.is_costly for line in page.shown]
    table(["habit", "what it is", *numbers, ""], rows, right=numbers, grey=grey)
    for line in page.lines:
        if line.is_costly:
            given = f" Advice on it was given on {page.given[line.key]}." if line.key in page.given else ""
            say(f"{line.name}: {line.advice}{given} Frames: thirdstop habits {line.key}")
    if page.light:
        say(page.light)
    say(page.surer)


def _print_habit(page: HabitPage) -> None:
    say(f"{page.simulated}. {page.sentence}" if page.simulated else page.sentence)
    say(page.judged)
    say(f"What counts: {page.line.definition}.")
    for text in (page.price, f"{page.advice_heading}: {page.line.advice}", page.surer, page.counted):
        if text:
            say(text)
    _print_frames(f"{page.rejects_heading} ({page.n_evidence:,})", page.evidence)
    _print_frames(f"{page.keepers_heading} ({page.n_counter:,})", page.counter)
    if page.given_on:
        say(f"Advice on it was given on {page.given_on}. See what came of it: thirdstop advice")
    elif page.is_worth_a_try and page.other_advice:
        say(f"{page.other_advice}.")
    elif page.is_worth_a_try:
        say(f"To try it and see whether it works: thirdstop advice give {page.line.key}")


def _print_frames(heading: str, cards: list[FrameCard]) -> None:
    say(f"{heading}{':' if cards else '.'}")
    if cards:
        rows = [(card.frame_id, card.session_id, card.file_name, card.settings, card.faults) for card in cards]
        table(["frame", "session", "file", "settings", "faults"], rows, right=["frame", "session"])
