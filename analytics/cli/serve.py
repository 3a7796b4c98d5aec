"""`thirdstop serve`: the journal in the browser, on this machine only."""

from __future__ import annotations

from typing import Annotated

import typer

from analytics.dashboards import DEFAULT_PORT
from journal.cli.options import JournalOption, journal_path
from journal.cli.output import say


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(serve)


def serve(
    journal: JournalOption = None,
    port: Annotated[int, typer.Option(min=1024, max=65535, help="Port to try first; any free one if taken.")] = (
        DEFAULT_PORT
    ),
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the link; open no browser.")] = False,
) -> None:
    """Show the journal in the browser, and judge there.

    On this machine only: keeper rates, limits, habits, progress, frames, every table.
    """
    from journal.store.opening import open_read_only

    path = journal_path(journal)
    open_read_only(path).close()  # brings an older journal up to date, and refuses what is none

    from contextlib import suppress

    from analytics.dashboards.guard import Keys
    from analytics.dashboards.serving import application, listen, opener
    from analytics.dashboards.serving import serve as run

    listener = listen(port)
    found, keys = listener.getsockname()[1], Keys()
    link = f"http://127.0.0.1:{found}/?key={keys.link}"
    with application(path, found, keys) as pages, opener(link) as private_file:
        if found != port:
            say(f"Port {port} is taken, so port {found} is used.")
        say(f"The journal is open at {link}")
        say("Whoever has this link can read the journal and judge its frames while this runs. End it with Ctrl-C.")
        if not no_browser:
            import webbrowser

            webbrowser.open(private_file)
        with suppress(KeyboardInterrupt):
            run(pages, listener)
    say("The journal is closed.")
