"""`thirdstop keepers BY`: keepers among judged frames by a setting choice."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

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
    journal: JournalOption = None,
    level: Annotated[float, typer.Option(help="Coverage of the interval.")] = 0.95,
    as_json: JsonOption = False,
) -> None:
    """Show keepers among judged frames by a setting choice, with intervals that know bursts and sessions."""
    if by not in SETTINGS:
        raise JournalError(f"Keepers cannot be counted by {by!r}.", f"Use one of: {', '.join(SETTINGS)}.")
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    from analytics.dataset import OpenJournal
    from analytics.statistics.rates import keeper_rates_from_counts

    opened = OpenJournal(journal_path(journal))
    counts = opened.setting_counts(SETTINGS[by])
    counts["sort_key"] = counts.groupby("key", dropna=False)["sort_key"].transform("min")
    rates = keeper_rates_from_counts(counts, ["sort_key", "key"], level)
    rows = [_row(rate) for rate in rates.to_dict("records")]
    if as_json:
        print_json({"by": by, "level": level, **opened.totals(), "rates": rows})
        return
    say(sentence(by, rows, opened.totals()))
    if rows:
        _print_rows(by, rows)


def _row(rate: dict[Any, Any]) -> dict[str, Any]:
    key = rate.pop("key")
    rate.pop("sort_key")
    return {"key": None if key != key else key, **rate}


def sentence(by: str, rows: list[dict[str, Any]], totals: dict[str, int]) -> str:
    """What was found, in one plain sentence."""
    if not rows:
        return f"None of the {totals['n_frames']} frames is judged yet. Next: thirdstop judge"
    enough = [row for row in rows if row["is_enough"] and row["key"] is not None]
    if len(enough) < 2:
        return "There is not enough judged yet to compare: at least two lines need three sessions each."
    best, worst = max(enough, key=lambda row: row["low"]), min(enough, key=lambda row: row["high"])
    if best["low"] <= worst["high"]:
        return f"By {by.replace('-', ' ')}, no line stands apart: the intervals overlap."
    return (
        f"You keep {_share(best)} of 100 frames at {best['key']} and {_share(worst)} at {worst['key']}; "
        "light and subject differ too, so this is where to look, not yet why."
    )


def _share(row: dict[str, Any]) -> str:
    return f"{100 * row['estimate']:.0f} ({100 * row['low']:.0f}–{100 * row['high']:.0f})"


def _print_rows(by: str, rows: list[dict[str, Any]]) -> None:
    columns = [by.replace("-", " "), "keepers of 100", "interval", "frames", "bursts", "sessions", ""]
    cells = [
        (
            "unknown" if row["key"] is None else row["key"],
            f"{100 * row['estimate']:.0f}",
            f"{100 * row['low']:.0f}–{100 * row['high']:.0f}",
            row["n_frames"],
            row["n_bursts"],
            row["n_sessions"],
            "" if row["is_enough"] else "not enough yet",
        )
        for row in rows
    ]
    table(columns, cells, right=columns[1:6], grey=[not row["is_enough"] for row in rows])
