"""Options that many commands share, and where the journal is when nobody says."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

JournalOption = Annotated[
    Path | None,
    typer.Option(
        "--journal", envvar="THIRDSTOP_JOURNAL", help="The journal file to use.", show_envvar=True, readable=False
    ),  # whether it can be read is for the store to say: an error of the journal, not of usage
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for scripts.")]


def journal_path(option: Path | None) -> Path:
    """The journal asked for, or the one in the platform's data folder."""
    return option.expanduser() if option is not None else data_folder() / "thirdstop.journal"


def data_folder() -> Path:
    """The platform's folder for this photographer's data."""
    from platformdirs import user_data_path

    return user_data_path("thirdstop", appauthor=False)
