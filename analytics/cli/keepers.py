"""`thirdstop keepers BY [BY2]`: keepers among judged frames by a setting choice, or by two."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from analytics.pages.settings import NAMES, SETTINGS, SPOKEN
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError
from journal.schema.ddl import PACES, PRIORITIES, SUPPORTS

if TYPE_CHECKING:
    from pathlib import Path

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
    lens: Annotated[str | None, typer.Option(help="Only frames through this lens; - for unknown.")] = None,
    body: Annotated[str | None, typer.Option(help="Only frames of this body; - for unknown.")] = None,
    camera_support: Annotated[str | None, typer.Option(help=f"Only {', '.join(SUPPORTS)} or -.")] = None,
    priority: Annotated[str | None, typer.Option(help=f"Only {', '.join(PRIORITIES)} or -.")] = None,
    pace: Annotated[str | None, typer.Option(help=f"Only subjects that are {', '.join(PACES)} or -.")] = None,
    light: Annotated[str | None, typer.Option(help="Only this light: snow, night, stage, other or -.")] = None,
    since: Annotated[str | None, typer.Option("--from", help="Only sessions from this day on.")] = None,
    until: Annotated[str | None, typer.Option("--to", help="Only sessions until this day.")] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(help="Only this range of a setting, such as exposure-time=1/60..1/15 or iso=1600..; repeatable."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show keepers by a setting choice.

    Of all frames or of chosen ones; the intervals know bursts and sessions.
    """
    by, by2 = SPOKEN.get(by, by), by2 and SPOKEN.get(by2, by2)
    chosen = [by] if by2 is None else [by, by2]
    for typed in chosen:
        if typed not in SETTINGS:
            raise JournalError(f"Keepers cannot be counted by {typed!r}.", f"Use one of: {CHOICES}.")
    if by == by2:
        raise JournalError(f"Keepers cannot be counted by {by!r} twice.", "Name two different settings, or one.")
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    options = {
        **{"lens": lens, "body": body, "camera-support": camera_support, "priority": priority, "pace": pace},
        **{"light-kind": light, "from": since, "to": until},
    }
    pairs = [(name, value) for name, value in options.items() if value]
    _show(journal_path(journal), chosen, [*pairs, *_ranges(only or [])], level, as_json)


def _ranges(typed: list[str]) -> list[tuple[str, str]]:
    """Names and values of ranges as an address has them: iso=1600.. is iso-from=1600."""
    pairs = []
    for text in typed:
        name, _, value = text.partition("=")
        low, dots, high = value.partition("..")
        if not name or not low + high:
            raise JournalError(f"{text!r} is no range of a setting.", "Write it like iso=1600.. or iso=400..1600.")
        pairs += [(f"{name}-from", low), (f"{name}-to", high)] if dots else [(name, value)]
    return [(name, value) for name, value in pairs if value]


def _show(path: Path, chosen: list[str], pairs: list[tuple[str, str]], level: float, as_json: bool) -> None:
    from analytics.dataset import OpenJournal
    from analytics.dataset.choosing import read_filter
    from analytics.pages.choice_words import kept_sentence
    from analytics.pages.counting import Counting
    from analytics.pages.keepers import ENOUGH_RULE, keepers_sentence

    settings, meant = [SETTINGS[typed] for typed in chosen], read_filter(pairs)
    with OpenJournal(path) as opened, opened.snapshot():
        counting, totals, simulated = Counting(opened.choices()), opened.totals(), opened.simulated()
    counting.refuse_unknown_gear(meant)
    lines, whole = counting.lines(settings, meant, level), counting.whole(meant, level)
    if as_json:
        names = dict(zip(("by", "by2"), chosen, strict=False))
        said = {**names, "level": level, "chosen": dict(meant.typed()), "simulated": simulated, **totals}
        print_json({**said, "kept": _as_json(whole) if whole else None, "rates": [_as_json(line) for line in lines]})
        return
    sentence = keepers_sentence(settings, lines, totals) if lines or not pairs else ""
    if pairs:
        sentence = f"{kept_sentence(meant, whole, counting.n_unjudged(meant))} {sentence}".strip()
    say(f"{simulated}. {sentence}" if simulated else sentence)
    if lines:
        _print_lines([NAMES[setting] for setting in settings], lines)
    if len(lines) > 1 and not all(line.is_enough for line in lines):
        say(ENOUGH_RULE)


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
