"""The commands that read a journal and say what its frames mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import typer


def add_commands(app: typer.Typer) -> None:
    """Adds the reading commands to `thirdstop`."""
    from analytics.cli import demo, examine, explain, export, frame, keepers, serve

    for command in (demo, keepers, frame, explain, examine, export, serve):
        command.add(app)
