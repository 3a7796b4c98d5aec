"""The commands that read a journal and say what its frames mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import typer


def add_commands(app: typer.Typer) -> None:
    """Adds the reading commands to `thirdstop`."""
    from analytics.cli import (
        advice,
        again,
        demo,
        examine,
        explain,
        export,
        frame,
        habits,
        keepers,
        limits,
        mentor_links,
        passphrase,
        plan,
        progress,
        publish,
        review,
        series,
        serve,
    )

    estimates = (keepers, limits, habits, progress, again, advice, plan, series)
    shown = (export, serve, passphrase, publish, review, mentor_links)
    for command in (demo, *estimates, frame, explain, examine, *shown):
        command.add(app)
