"""`thirdstop export`: frames or sessions as CSV, JSON or Parquet; positions and serial numbers only when asked for."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, journal_path
from journal.cli.output import say
from journal.errors import JournalError

if TYPE_CHECKING:
    import pandas as pd

#: A spreadsheet takes a cell that begins so for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
#: An offset from UTC begins with a sign, and is no formula.
OFFSET = re.compile(r"[+-]\d\d:?\d\d")


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(export)


def export(
    what: Annotated[str, typer.Argument(help="frames or sessions.")],
    journal: JournalOption = None,
    form: Annotated[str, typer.Option("--format", help="csv, json or parquet.")] = "csv",
    output: Annotated[Path | None, typer.Option(help="File to write; else the terminal.")] = None,
    with_positions: Annotated[
        bool, typer.Option("--with-positions", help="Add places, latitudes and longitudes; mind who gets the file.")
    ] = False,
    with_serials: Annotated[
        bool, typer.Option("--with-serials", help="Add the serial numbers of bodies to frames.")
    ] = False,
) -> None:
    """Export frames or sessions for other tools. Positions and serial numbers stay in the journal unless asked for."""
    if what not in ("frames", "sessions"):
        raise JournalError(f"{what!r} cannot be exported.", "Use frames or sessions.")
    if form not in ("csv", "json", "parquet"):
        raise JournalError(f"{form!r} is no format of the export.", "Use csv, json or parquet.")
    if form == "parquet" and output is None:
        raise JournalError("Parquet cannot be shown on a terminal.", "Name a file with --output.")
    if with_serials and what == "sessions":
        raise JournalError("Sessions have no serial numbers.", "Leave --with-serials out, or export frames.")
    if output is not None and output.exists():
        raise JournalError(f"There is a file at {output} already.", "Choose another name for --output.")
    from analytics.dataset import OpenJournal

    with OpenJournal(journal_path(journal)) as opened:
        rows = (
            opened.frames(with_positions=with_positions, with_serials=with_serials)
            if what == "frames"
            else opened.sessions(with_positions)
        )
    if output is None:
        sys.stdout.write(_as_text(rows, form))
        return
    try:
        if form == "parquet":
            rows.to_parquet(output)
        else:
            output.write_text(_as_text(rows, form), encoding="utf-8")
    except OSError as error:
        raise JournalError(f"{output} cannot be written: {error.strerror}.", "Choose another place.") from error
    say(f"{len(rows)} {what} written to {output}.")


def _as_text(rows: pd.DataFrame, form: str) -> str:
    return str(defused(rows).to_csv(index=False) if form == "csv" else rows.to_json(orient="records", indent=2))


def defused(rows: pd.DataFrame) -> pd.DataFrame:
    """The table with an apostrophe before each text that a spreadsheet would take for a formula."""
    safe = rows.copy()
    for name in rows.select_dtypes(include=["object", "string"]).columns:
        safe[name] = rows[name].map(
            lambda text: f"'{text}" if isinstance(text, str) and _may_be_formula(text) else text
        )
    return safe


def _may_be_formula(text: str) -> bool:
    return text.startswith(FORMULA_STARTS) and OFFSET.fullmatch(text) is None
