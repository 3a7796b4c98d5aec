"""`thirdstop keepers BY [BY2]`: keepers among judged frames by a setting choice, or by two."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from analytics.pages.settings import NAMES, SETTINGS
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.pages.keepers import KeeperLine

CHOICES = ", ".join(SETTINGS)


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(keepers)


def keepers(
    by: Annotated[str, typer.Argument(help=f"What to count by: {CHOICES}.")],
    by2: Annotated[str | None, typer.Argument(help="A second setting to cross it with.")] = None,
    journal: JournalOption = None,
    level: Annotated[float, typer.Option(help="Coverage of the interval.")] = 0.95,
    as_json: JsonOption = False,
) -> None:
    """Show keepers by a setting choice. The intervals know bursts and sessions."""
    chosen = [by] if by2 is None else [by, by2]
    for typed in chosen:
        if typed not in SETTINGS:
            raise JournalError(f"Keepers cannot be counted by {typed!r}.", f"Use one of: {CHOICES}.")
    if by == by2:
        raise JournalError(f"Keepers cannot be counted by {by!r} twice.", "Name two different settings, or one.")
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    from analytics.dataset import OpenJournal
    from analytics.pages.keepers import keeper_lines, keepers_sentence

    settings = [SETTINGS[typed] for typed in chosen]
    with OpenJournal(journal_path(journal)) as opened, opened.snapshot():
        lines, totals, simulated = keeper_lines(_counts(opened, settings), level), opened.totals(), opened.simulated()
    if as_json:
        rows = [_as_json(line) for line in lines]
        said = {"by": by, **({"by2": by2} if by2 else {}), "level": level, "simulated": simulated, **totals}
        print_json({**said, "rates": rows})
        return
    sentence = keepers_sentence(settings, lines, totals)
    say(f"{simulated}. {sentence}" if simulated else sentence)
    if lines:
        _print_lines([NAMES[setting] for setting in settings], lines)


def _counts(journal: OpenJournal, settings: list[str]) -> pd.DataFrame:
    """Counts by burst with the labels that the reader sees, for one setting or two."""
    counts = journal.setting_counts(*settings)
    if len(settings) == 1:
        return counts
    from journal.schema.setting_keys import setting_label

    for setting, key, place in zip(settings, ("key", "key2"), ("sort_key", "sort_key2"), strict=True):
        found = {value: setting_label(setting, value) for value in counts[key].dropna().unique()}
        counts[place] = [found[value][1] if value in found else None for value in counts[key]]
        counts[key] = [found[value][0] if value in found else None for value in counts[key]]
    return counts


def _as_json(line: KeeperLine) -> dict[str, Any]:
    keys = dict(zip(("key", "key2"), line.labels, strict=False))
    return {
        **keys,
        "n_frames": line.n_frames,
        "n_bursts": line.n_bursts,
        "n_sessions": line.n_sessions,
        "estimate": line.estimate,
        "low": line.low,
        "high": line.high,
        "is_enough": line.is_enough,
    }


def _print_lines(names: list[str], lines: list[KeeperLine]) -> None:
    numbers = ["keepers of 100", "interval", "frames", "bursts", "sessions"]
    cells = [
        (
            *("unknown" if label is None else label for label in line.labels),
            f"{100 * line.estimate:.0f}",
            line.interval,
            line.n_frames,
            line.n_bursts,
            line.n_sessions,
            "" if line.is_enough else "not enough yet",
        )
        for line in lines
    ]
    table([*names, *numbers, ""], cells, right=numbers, grey=[not line.is_enough for line in lines])
