"""`thirdstop keepers BY [BY2]`: keepers among judged frames by a setting choice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.pages.keepers import KeeperPage

#: What keepers can be counted by, as it is typed and as the journal stores it.
SETTINGS = {
    "exposure-time": "exposure_time",
    "f-number": "f_number",
    "iso": "iso",
    "focal-length": "focal_length",
    "stops-below-rule": "stops_below_rule",
    "ev100": "ev100",
    "lens": "lens",
    "body": "body",
    "camera-support": "camera_support",
    "priority": "priority",
    "session": "session",
    "month": "month",
}


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(keepers)


def keepers(
    by: Annotated[str, typer.Argument(help=f"What to count by: {', '.join(SETTINGS)}.")],
    by2: Annotated[str | None, typer.Argument(help="A second one, to cross the first with.")] = None,
    journal: JournalOption = None,
    level: Annotated[float, typer.Option(help="Coverage of the interval.")] = 0.95,
    as_json: JsonOption = False,
) -> None:
    """Show keepers among judged frames by a setting choice, with intervals that know bursts and sessions."""
    for name in (by, by2):
        if name is not None and name not in SETTINGS:
            raise JournalError(f"Keepers cannot be counted by {name!r}.", f"Use one of: {', '.join(SETTINGS)}.")
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    from analytics.dataset import OpenJournal
    from analytics.pages.keepers import keeper_page, rates_as_rows

    opened = OpenJournal(journal_path(journal))
    page = keeper_page(opened, SETTINGS[by], SETTINGS[by2] if by2 else None, level)
    if as_json:
        print_json({"by": by, "by2": by2, "level": level, **opened.totals(), "rates": rates_as_rows(page)})
        return
    say(page.sentence)
    if page.lines:
        _print_lines(page, by, by2)


def _print_lines(page: KeeperPage, by: str, by2: str | None) -> None:
    names = [name.replace("-", " ") for name in (by, by2) if name]
    numbers = ["keepers of 100", "interval", "frames", "bursts", "sessions"]
    rows = [
        (
            *(["unknown" if line.key is None else line.key]),
            *(["unknown" if line.other_key is None else line.other_key] if by2 else []),
            f"{100 * line.estimate:.0f}",
            line.interval,
            line.n_frames,
            line.n_bursts,
            line.n_sessions,
            "" if line.is_enough else "not enough yet",
        )
        for line in page.lines
    ]
    table([*names, *numbers, ""], rows, right=numbers, grey=[not line.is_enough for line in page.lines])
