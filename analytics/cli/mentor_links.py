"""`thirdstop review links` and `withdraw`: who was given a link to the live pages, and taking one back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from analytics.cli.review import group
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table

if TYPE_CHECKING:
    from typing import Any


def add(app: typer.Typer) -> None:
    """Adds the commands, to the group of reviews."""
    group.command()(links)
    group.command(name="withdraw")(withdraw_link)


def links(journal: JournalOption = None, as_json: JsonOption = False) -> None:
    """List the links that mentors were given, whether they still let them in, and what came through them."""
    from datetime import UTC, datetime

    from analytics.dataset import OpenJournal
    from analytics.queries.mentors import MENTOR_LINKS
    from journal.notation import format_instant

    now = format_instant(datetime.now(UTC))
    with OpenJournal(journal_path(journal)) as opened:
        rows = [{**row, "state": _state(row, now)} for row in opened.rows(MENTOR_LINKS)]
        simulated = opened.simulated()
    if as_json:
        print_json({"simulated": simulated, "links": rows})
        return
    if simulated:
        say(f"{simulated}.")
    if not rows:
        say("No mentor was given a link yet. Next: thirdstop serve --mentor NAME")
        return
    columns = ["link", "mentor", "made on", "until", "state", "comments", "verdicts"]
    moments = [(row["made_at"][:10], row["expires_at"][:10]) for row in rows]
    lines = [
        (row["link"], row["mentor"], *when, row["state"], row["n_comments"], row["n_verdicts"])
        for row, when in zip(rows, moments, strict=True)
    ]
    table(columns, lines, right=["link", "comments", "verdicts"])


def withdraw_link(
    number: Annotated[int, typer.Argument(help="The link, as thirdstop review links numbers it.")],
    journal: JournalOption = None,
    as_json: JsonOption = False,
) -> None:
    """Withdraw a mentor's link: it is refused at once, also by a server that is running. Comments stay."""
    from datetime import UTC, datetime

    from journal.cli.opened import open_journal
    from journal.store.mentors import withdraw

    link = withdraw(open_journal(journal_path(journal), must_exist=True), number, datetime.now(UTC))
    if as_json:
        print_json({"link": link.number, "mentor": link.mentor, "withdrawn_at": link.withdrawn_at})
        return
    say(f"Link {link.number} to {link.mentor} is withdrawn. What came through it stays in the journal.")


def _state(row: dict[str, Any], now: str) -> str:
    if row["withdrawn_at"] is not None:
        return "withdrawn"
    return "open" if now < row["expires_at"] else "expired"
