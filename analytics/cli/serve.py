"""`thirdstop serve`: the notebook's pages in the browser, on this machine only."""

from __future__ import annotations

from typing import Annotated

import typer

from journal.cli.options import JournalOption, journal_path
from journal.cli.output import say


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(serve)


def serve(
    journal: JournalOption = None,
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="Port on this machine; else any free one.")] = None,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
) -> None:
    """Browse the journal in the browser: dashboard, sessions, and every table. Only this machine can reach it."""
    import secrets
    import webbrowser

    from analytics.dashboards.serving import HOST, free_socket
    from analytics.dashboards.serving import serve as answer
    from journal.store.opening import open_journal

    path = journal_path(journal)
    open_journal(path, must_exist=True).close()
    listening = free_socket(port)
    entry = secrets.token_urlsafe(24)
    link = f"http://{HOST}:{listening.getsockname()[1]}/enter/{entry}"
    say(f"The journal is open at {link}\nWhoever has this link on this machine can read it. Ctrl-C ends it.")
    if browser:
        webbrowser.open(link)
    answer(path, listening, entry)
