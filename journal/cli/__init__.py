"""The commands that record, and the one place that turns errors into exit codes.

0 done, 1 a `JournalError`, 2 wrong usage, 130 interrupted. Other packages add commands through the entry-point group
`thirdstop.commands`; each entry is a function that takes the typer app.
"""

from __future__ import annotations

import importlib
import os
import sqlite3
import sys
from importlib.metadata import entry_points
from typing import Any

import typer

from journal.cli.app import app
from journal.cli.output import say
from journal.errors import JournalError

#: Modules of this package that register commands when imported.
COMMAND_MODULES = ("log", "sessions", "gear", "importing", "judge", "frames", "upkeep")


#: What wrong usage raises. typer brings a click of its own from some release on, so it is found through typer.
UsageProblem: Any = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")


def load_commands() -> None:
    """Registers every command, ours and those of the entry-point group, once."""
    for name in COMMAND_MODULES:
        importlib.import_module(f"journal.cli.{name}")
    if not getattr(app, "has_added_commands", False):
        app.has_added_commands = True  # type: ignore[attr-defined]
        for entry in entry_points(group="thirdstop.commands"):
            entry.load()(app)


def main(arguments: list[str] | None = None) -> None:
    """Runs the command line and ends the process with the exit code."""
    load_commands()
    sys.exit(run(arguments))


def _reader_went_away() -> int:
    """What is still in the buffer goes nowhere, so that nothing fails at the very end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return 0


def run(arguments: list[str] | None = None) -> int:
    """Runs one command; returns the exit code. No traceback reaches a user for what can be foreseen."""
    from journal.cli.opened import close_all
    from journal.store.opening import journal_error

    try:
        result = app(args=arguments, prog_name="thirdstop", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except JournalError as error:
        say(f"Error: {error.problem}\n  Next: {error.next_step}", err=True)
        return 1
    except sqlite3.DatabaseError as error:
        told = journal_error(error)
        say(f"Error: {told.problem}\n  Next: {told.next_step}", err=True)
        return 1
    except typer.Abort:
        say("Interrupted; nothing more was written.", err=True)
        return 130
    except KeyboardInterrupt:
        say("Interrupted; nothing more was written.", err=True)
        return 130
    except UsageProblem as error:
        error.show()
        return int(error.exit_code)
    except BrokenPipeError:  # the reader of a pipe went away, as `head` does
        return _reader_went_away()
    except SystemExit as ended:  # the command line's library makes 1 of that, and of nothing else
        return _reader_went_away() if isinstance(ended.__context__, BrokenPipeError) else int(ended.code or 0)
    except OSError as error:  # a disk or folder that failed where nobody foresaw it
        say(
            f"Error: {error.filename or 'The disk'}: {error.strerror}.\n  Next: Check the disk and its permissions.",
            err=True,
        )
        return 1
    finally:
        close_all()
