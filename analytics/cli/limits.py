"""`thirdstop limits`: the slowest hand-held time, the slowest time that freezes a subject, the highest ISO kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.pages.limits import LimitLine


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(limits)


def limits(
    journal: JournalOption = None,
    lost: Annotated[float, typer.Option(help="Of 100 frames, how many are lost at the limit.")] = 10.0,
    level: Annotated[float, typer.Option(help="Coverage of the interval.")] = 0.95,
    as_json: JsonOption = False,
) -> None:
    """Show your own limits: slowest times, highest ISO.

    The slowest hand-held time, the slowest freezing time by subject pace and the highest ISO by body.
    """
    if not 1 <= lost <= 40:
        raise JournalError(f"A limit at {lost:g} lost of 100 is none.", "Use a number from 1 to 40, like 10.")
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    from analytics.dataset import OpenJournal
    from analytics.pages.judged import ground
    from analytics.pages.limit_words import WHICH_FRAMES
    from analytics.pages.limits import limits_as_json, limits_page

    with OpenJournal(journal_path(journal)) as opened:
        found = ground(opened)
    page = limits_page(found, lost / 100, level)
    if as_json:
        print_json({"lost_of_100": lost, "level": level, **limits_as_json(page, found)})
        return
    say(f"{page.simulated}. {page.sentence}" if page.simulated else page.sentence)
    say(page.judged)
    if page.told:
        _print_lines(page.told)
        say(WHICH_FRAMES)
    if any(line.kind == "hand-held" for line in page.told):
        say("Focal lengths in the table are 35 mm-equivalent.")
    for text in page.untold:
        say(text)
    for line in page.told:
        if line.surer:
            say(line.surer)
    for text in page.left_out:
        say(text)


def _print_lines(lines: list[LimitLine]) -> None:
    from analytics.pages.limit_words import HEADINGS

    numbers = ["lost beyond, of 100", "frames", "sessions", "sessions near it"]
    rows = [
        (
            HEADINGS[line.kind],
            line.name,
            line.shown,
            line.interval,
            line.lost_beyond,
            f"{line.n_frames:,}",
            f"{line.n_sessions:,}",
            line.near,
            "" if line.is_enough else "not enough yet",
        )
        for line in lines
    ]
    table(
        ["limit", "of", "value", "interval", *numbers, ""],
        rows,
        right=numbers,
        grey=[not line.is_enough for line in lines],
    )
