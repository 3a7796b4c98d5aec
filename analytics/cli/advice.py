"""`thirdstop advice`: what came of the advice that was given; `give` and `end` write it down."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.pages.advice import AdviceLine

group = typer.Typer(rich_markup_mode=None, invoke_without_command=True)


def add(app: typer.Typer) -> None:
    """Adds the commands."""
    app.add_typer(group, name="advice")


@group.callback()
def advice(
    context: typer.Context,
    journal: JournalOption = None,
    level: Annotated[float, typer.Option(help="Coverage of the interval.")] = 0.95,
    as_json: JsonOption = False,
) -> None:
    """Show what came of advice. Was it followed, did its fault fall, what did it gain?"""
    if context.invoked_subcommand is not None:
        _refuse_options_before(context)
        return
    if not 0.5 <= level < 1:
        raise JournalError(f"An interval of level {level:g} says nothing.", "Use a level like 0.95.")
    from analytics.dataset import OpenJournal
    from analytics.pages.advice import advice_as_json, advice_page
    from analytics.pages.judged import ground

    with OpenJournal(journal_path(journal)) as opened, opened.snapshot():
        found = ground(opened)
        page = advice_page(opened, found, level)
    if as_json:
        print_json({"level": level, **advice_as_json(page, found)})
        return
    say(f"{page.simulated}. {page.sentence}" if page.simulated else page.sentence)
    say(page.judged)
    for line in page.lines:
        _print_line(line)
    if page.surer:
        say(page.surer)


def _refuse_options_before(context: typer.Context) -> None:
    """An option before `give` or `end` would not be theirs: advice must not go into another journal than was named."""
    for name in context.params:
        source = context.get_parameter_source(name)
        if source is not None and source.name == "COMMANDLINE":
            option = "--json" if name == "as_json" else f"--{name}"
            raise JournalError(
                f"{option} stands before {context.invoked_subcommand}.",
                f"Put it behind: thirdstop advice {context.invoked_subcommand} ... {option}",
            )


def _print_line(line: AdviceLine) -> None:
    until = f", ended {line.ended_on}" if line.ended_on else ""
    say(f"Advice {line.number}, given {line.given_on}{until}: {line.advice}")
    if line.left_out:
        say(f"Left out, for they led to it: the sessions from {line.left_out}.")
    if line.effect is not None and line.effect.verdict != "not enough":
        say(f"Compared: {line.effect.n_before} sessions before, {line.effect.n_after} after.")
        table(["after it, at equal scenes", "of 100 frames", "verdict"], line.answers, right=["of 100 frames"])


@group.command()
def give(
    habit: Annotated[str, typer.Argument(help="The habit to change, as `thirdstop habits` names it.")],
    journal: JournalOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write down one change to try, before the sessions that will tell whether it works."""
    from datetime import UTC, datetime

    from analytics.pages.advice import given_sentence, habit_for_advice
    from journal.cli.opened import open_journal
    from journal.store.advice import give_advice

    chosen = habit_for_advice(habit)
    connection = open_journal(journal_path(journal), must_exist=True)
    number = give_advice(connection, chosen.key, chosen.advice, datetime.now(UTC))
    if as_json:
        print_json({"advice_id": number, "habit": chosen.key, "advice": chosen.advice})
        return
    say(given_sentence(chosen, number))


@group.command()
def end(
    number: Annotated[int, typer.Argument(help="The advice's number, as `thirdstop advice` lists it.")],
    journal: JournalOption = None,
    as_json: JsonOption = False,
) -> None:
    """End a piece of advice: what is shot later no longer speaks about it."""
    from datetime import UTC, datetime

    from journal.cli.opened import open_journal
    from journal.store.advice import end_advice

    connection = open_journal(journal_path(journal), must_exist=True)
    end_advice(connection, number, datetime.now(UTC))
    if as_json:
        print_json({"advice_id": number, "is_ended": True})
        return
    say(f"Advice {number} is ended. See what came of it with: thirdstop advice")
