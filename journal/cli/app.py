"""The command line's root: one typer app that every group of commands adds itself to."""

from __future__ import annotations

import typer

app = typer.Typer(
    name="thirdstop",
    help="A shoot-log journal: what you meant, which settings you chose, which frames you kept, and what it cost.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
