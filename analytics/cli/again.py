"""`thirdstop again`: whether judging became milder or stricter, from old frames that were judged again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table

if TYPE_CHECKING:
    from pathlib import Path

    from journal.records.anchors import AgainState

#: Pictures are judged where they can be seen.
WHERE = "Next: thirdstop serve, then Judge."


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(again)


def again(
    journal: JournalOption = None,
    put_off: Annotated[
        bool, typer.Option("--put-off", help="Say nothing more of it until the next quarter; results stay.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Show whether your judging became milder or stricter.

    It compares old frames that were judged again, without the old verdicts.
    """
    from analytics.dataset import OpenJournal
    from analytics.pages.again import again_as_json, again_page

    path = journal_path(journal)
    if put_off:
        _put_off(path)
    state = _state(path)
    with OpenJournal(path) as opened:
        page = again_page(opened, state)
    if as_json:
        print_json(again_as_json(page))
        return
    say(f"{page.simulated}. {page.sentence}" if page.simulated else page.sentence)
    if state.kind == "due":
        say(page.offer)
    if state.kind != "rest":
        say(WHERE)
    if page.lines:
        if state.kind != "rest":
            say(page.lines[0].sentence)
        columns = ["judged again by", "first judged", "old rejects kept", "old keepers rejected", "same"]
        columns += ["keepers of 100", "against the round before", "verdict"]
        rows = [
            (
                *(line.judged_on, f"{line.old_from} to {line.old_until}"),
                f"{line.counts.n_rejects_kept} of {line.counts.n_rejects}",
                f"{line.counts.n_keepers_rejected} of {line.counts.n_keepers}",
                *(f"{line.found.n_same} of {line.found.n_judged}", line.shown, line.shown_since, line.shown_verdict),
            )
            for line in page.lines
        ]
        table(columns, rows, right=columns[2:7], grey=[not line.found.is_enough for line in page.lines])
    for caution in page.cautions:
        say(caution)


def say_what_is_due(path: Path) -> None:
    """One line where old frames are to be judged again; nothing where they are not."""
    from analytics.pages.again import left_words

    state = _state(path)
    if state.kind == "due":
        say("It is time to judge some old frames again, or to put it off: thirdstop again")
    elif state.kind == "open":
        say(f"{left_words(state)} {WHERE}")


def _state(path: Path) -> AgainState:
    from datetime import UTC, datetime

    from journal.store.anchors import again_state
    from journal.store.opening import explained, open_read_only

    connection = open_read_only(path)
    try:
        with explained(path):
            return again_state(connection, datetime.now(UTC))
    finally:
        connection.close()


def _put_off(path: Path) -> None:
    from datetime import UTC, datetime

    from journal.store.anchors import put_off
    from journal.store.opening import open_journal

    connection = open_journal(path, must_exist=True)
    try:
        put_off(connection, datetime.now(UTC))
    finally:
        connection.close()
