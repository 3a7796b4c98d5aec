"""`thirdstop passphrase`: what the photographer signs in with from beyond this machine."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from journal.cli.options import data_folder
from journal.cli.output import say


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(passphrase)


def passphrase(
    from_stdin: Annotated[
        bool, typer.Option("--stdin", help="Read it from standard input, one line, instead of asking.")
    ] = False,
    forget: Annotated[bool, typer.Option("--forget", help="Forget it; then nothing is served beyond.")] = False,
) -> None:
    """Set the passphrase that serving beyond this machine asks for.

    Only a slow hash of it is kept, in a file that nobody else may read; a few words make a good one.
    """
    from analytics.dashboards.sign_in import PASSPHRASE_FILE, keep_passphrase

    if forget:
        (data_folder() / PASSPHRASE_FILE).unlink(missing_ok=True)
        say("The passphrase is forgotten. A server that is running asks for it until it ends.")
        return
    if from_stdin:
        words = sys.stdin.readline().rstrip("\r\n")
    else:
        words = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True)
    file = keep_passphrase(data_folder(), words)
    say(f"The passphrase is set; what is kept of it is in {file}. It counts from the next thirdstop serve on.")
