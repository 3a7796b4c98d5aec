"""The command line's root: one typer app that every group of commands adds itself to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

import typer

from journal.notation import format_count

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence
    from pathlib import Path

app = typer.Typer(
    name="thirdstop",
    help="A shoot-log journal: what you meant, which settings you chose, which frames you kept, and what it cost.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


class AfterImport(Protocol):
    """What another package does when an import is stored; it says what it did, or only returns it."""

    def __call__(
        self, connection: sqlite3.Connection, path: Path, session_ids: Sequence[int], is_quiet: bool
    ) -> dict[str, Any]: ...


class AfterStatement(Protocol):
    """What another package does when something else is stated about sessions; how many suggestions that changes."""

    def __call__(self, connection: sqlite3.Connection, session_ids: Sequence[int]) -> int: ...


#: Called in order after each import with the journal, its file and the sessions that got frames. Packages that add
#: commands add themselves here; none of them is loaded before it is called.
after_import: list[AfterImport] = []
#: Called in order when sessions were logged or changed that have frames already.
after_statement: list[AfterStatement] = []


def follow_statement(connection: sqlite3.Connection, session_id: int) -> str:
    """Lets others follow what is now stated about a session, and says so; empty where that changes no suggestion."""
    n_changed = sum(follow(connection, [session_id]) for follow in after_statement)
    return f" That changes {format_count(n_changed, 'suggestion')}." if n_changed else ""
