"""`thirdstop progress`: whether you keep more than at the beginning, at equal scenes."""

from __future__ import annotations

from typing import Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(progress)


def progress(
    journal: JournalOption = None,
    level: Annotated[float, typer.Option(help="Coverage of the interval.")] = 0.95,
    as_json: JsonOption = False,
) -> None:
    """Show whether you improve at equal scenes. The plain count stands beside it."""
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    from analytics.cli.again import say_what_is_due
    from analytics.dataset import OpenJournal
    from analytics.pages.judged import ground
    from analytics.pages.progress import progress_as_json, progress_page

    path = journal_path(journal)
    with OpenJournal(path) as opened:
        found = ground(opened)
    page = progress_page(found, level)
    if as_json:
        print_json({"level": level, **progress_as_json(page, found)})
        return
    say(f"{page.simulated}. {page.sentence}" if page.simulated else page.sentence)
    say(page.judged)
    if page.changes:
        changes = [(change.name, change.shown) for change in page.changes]
        reasons = [(f"by {reason.name}", reason.shown) for reason in page.reasons]
        columns = ["keepers of 100, from first to last day", "change"]
        table(columns, changes + reasons, right=["change"], grey=[False, False, *[True] * len(reasons)])
        say(page.reason)
    if page.judging:
        say(page.judging)
    if not found.missing:
        say(page.surer)
    say_what_is_due(path)
