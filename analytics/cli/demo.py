"""`thirdstop demo`: a simulated year to try everything on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from journal.cli.options import JsonOption
from journal.cli.output import print_json, progress, say
from journal.errors import JournalError


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(demo)


def demo(
    journal: Annotated[
        Path, typer.Option("--journal", envvar="THIRDSTOP_DEMO", help="Where to make the simulated journal.")
    ] = Path("thirdstop-demo.journal"),
    seed: Annotated[int, typer.Option(help="Another seed makes another year.")] = 20250301,
    show: Annotated[bool, typer.Option("--serve/--no-serve", help="Open its pages in the browser afterwards.")] = True,
    again: Annotated[bool, typer.Option("--again", help="Make it anew where there is one already.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Make a simulated journal to try everything on. Nothing in it is real.

    It holds rowing at dawn, wading birds at dusk and a folk dance night.
    """
    from journal.demo.building import build_demo, clear_demo, making_alone
    from journal.demo.career import N_SESSIONS

    pictures = journal.with_name(f"{journal.name}-pictures")
    with making_alone(journal):
        if journal.exists() and not again:
            raise JournalError(
                f"There is a file at {journal} already.", "Add --again to make the simulated journal anew."
            )
        if journal.exists() and not _is_simulated(journal):
            raise JournalError(f"{journal} is not a simulated journal.", "Choose another place with --journal.")
        clear_demo(journal, pictures)
        with progress(N_SESSIONS, "Simulating sessions") as advance:
            built = build_demo(journal, pictures, seed, advance)
    if as_json:
        print_json({"journal": str(journal), "n_sessions": built.n_sessions, "n_frames": built.n_frames})
        return
    say(
        f"Simulated data: {built.n_sessions} sessions, {built.n_frames} frames, {built.n_rendered} of them rendered "
        f"as pictures and imported, in {journal}."
    )
    say(f"Next: thirdstop keepers exposure-time --journal {journal}")
    if show:
        from analytics.cli.serve import serve_one

        serve_one(journal)


def _is_simulated(path: Path) -> bool:
    """Only a journal whose every session is simulated may be made anew."""
    from journal.store.opening import open_read_only

    connection = open_read_only(path)
    try:
        return connection.execute("select 1 from sessions where is_simulated = 0").fetchone() is None
    finally:
        connection.close()
