"""`thirdstop review`: a file for a mentor; `read` takes the answer in, `comments` and `list` show what came back."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analytics.cli.published import (
    Pictures,
    WithFileNames,
    WithIntents,
    WithLight,
    WithNotes,
    WithPlaces,
    WithPositions,
    WithSerials,
    megabytes,
    say_report,
)
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.publish.publication import Publication, Request
    from journal.records.reviews import Answer
    from journal.store.reviews import Sorted

group = typer.Typer(rich_markup_mode=None, invoke_without_command=True)


@dataclass(frozen=True, slots=True)
class Made:
    """A review that is written."""

    number: int
    file: Path
    n_bytes: int
    publication: Publication


def add(app: typer.Typer) -> None:
    """Adds the commands."""
    app.add_typer(group, name="review")


@group.callback()
def review(
    context: typer.Context,
    journal: JournalOption = None,
    output: Annotated[Path | None, typer.Option(help="File to write; else review-DAY.html here.")] = None,
    session: Annotated[list[int] | None, typer.Option(help="A session to show; may be given again.")] = None,
    since: Annotated[str | None, typer.Option(help="First day of the period, like 2026-03-01.")] = None,
    until: Annotated[str | None, typer.Option(help="Last day of the period.")] = None,
    question: Annotated[list[str] | None, typer.Option(help="What you ask the mentor; may be given again.")] = None,
    frame: Annotated[list[int] | None, typer.Option(help="A frame to show first; may be given again.")] = None,
    pictures: Pictures = 400,
    with_intents: WithIntents = False,
    with_light: WithLight = False,
    with_notes: WithNotes = False,
    with_places: WithPlaces = False,
    with_positions: WithPositions = False,
    with_serials: WithSerials = False,
    with_file_names: WithFileNames = False,
    as_json: JsonOption = False,
) -> None:
    """Write one HTML file for a mentor. They open it offline, comment, and send a small file back."""
    if context.invoked_subcommand is not None:
        _refuse_options_before(context)
        return
    from datetime import datetime

    from analytics.pages.privacy import Asked
    from analytics.publish.publication import Request

    period = {"since": _day(since, "--since"), "until": _day(until, "--until")}
    today = datetime.now().astimezone().date()
    target = output or Path(f"review-{today.isoformat()}.html")
    if target.exists():
        raise JournalError(f"There is a file at {target} already.", "Choose another name with --output.")
    asked = Asked(with_intents, with_light, with_notes, with_places, with_positions, with_serials, with_file_names)
    path = journal_path(journal)

    from analytics.dataset import OpenJournal
    from analytics.publish.material import choose

    with OpenJournal(path) as opened:
        chosen = choose(opened, session or (), frame or (), period)
    made = _write(path, target, Request(chosen, asked, pictures, today), _questions(question or []))
    _report(made, as_json)


def _write(path: Path, target: Path, request: Request, questions: tuple[str, ...]) -> Made:
    """Writes the file first and notes the review then, so that no review is noted that was never made."""
    import secrets
    from datetime import UTC, datetime

    from analytics.dataset import OpenJournal
    from analytics.publish.packing import write_file
    from analytics.publish.publication import compose
    from analytics.publish.review import preface
    from journal.cli.opened import open_journal
    from journal.notation import format_instant
    from journal.records.reviews import Review
    from journal.store.reviews import add_review

    key, moment = secrets.token_hex(16), format_instant(datetime.now(UTC))
    with OpenJournal(path) as opened:
        draft = Review(key, moment, questions, tuple(request.chosen.sessions), ())
        publication = compose(opened, request, "thirdstop review", preface(draft))
    document = publication.document
    shown = {number for page in document.pages for number in page.frames()}
    n_bytes = write_file(document, target)
    number = add_review(
        open_journal(path, must_exist=True),
        Review(key, moment, questions, draft.session_ids, tuple(sorted(shown))),
    )
    return Made(number, target, n_bytes, publication)


def _report(made: Made, as_json: bool) -> None:
    told = made.publication
    if as_json:
        print_json({"review": made.number, "page": str(made.file), "n_bytes": made.n_bytes, **told.as_json()})
        return
    simulated = f"{told.document.simulated}. " if told.document.simulated else ""
    say(f"{simulated}Review {made.number}: {made.file} ({megabytes(made.n_bytes)}). Send it to your mentor.")
    say_report(told)
    say("When the comments file comes back: thirdstop review read FILE")


def _questions(asked: list[str]) -> tuple[str, ...]:
    from analytics.publish.review import MAX_QUESTION, MAX_QUESTIONS

    questions = tuple(text.strip() for text in asked if text.strip())
    if len(questions) > MAX_QUESTIONS:
        raise JournalError(f"{len(questions)} questions are too many.", f"Ask at most {MAX_QUESTIONS}.")
    for text in questions:
        if len(text) > MAX_QUESTION:
            raise JournalError("A question is too long.", f"Use at most {MAX_QUESTION} characters.")
    return questions


def _day(text: str | None, option: str) -> str | None:
    if text is None:
        return None
    from datetime import date

    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise JournalError(f"{text!r} is no day for {option}.", "Write it like 2026-03-01.") from error


def _refuse_options_before(context: typer.Context) -> None:
    """An option before a command of the group would not be its own: no other journal than was named may be used."""
    for name in context.params:
        source = context.get_parameter_source(name)
        if source is not None and source.name == "COMMANDLINE":
            option = "--json" if name == "as_json" else f"--{name.replace('_', '-')}"
            raise JournalError(
                f"{option} stands before {context.invoked_subcommand}.",
                f"Put it behind: thirdstop review {context.invoked_subcommand} ... {option}",
            )


@group.command()
def read(
    file: Annotated[Path, typer.Argument(help="The comments file that the mentor saved.")],
    journal: JournalOption = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show what would be taken in.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Take it in without asking.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Take a mentor's comments file in: checked, shown first, each comment only once."""
    from datetime import UTC, datetime

    from analytics.publish.answer import read_answer
    from journal.cli.opened import open_journal
    from journal.store.reviews import sort_answer, take_in

    answer = read_answer(file)
    connection = open_journal(journal_path(journal), must_exist=True)
    found = sort_answer(connection, answer)
    n_new = len(found.comments) + len(found.verdicts)
    if not as_json:
        _show(answer, found)
    if dry_run:
        if not as_json:
            say("Nothing was written.")
    elif n_new:
        if not yes and as_json:
            raise JournalError("With --json nothing can be asked.", "Add --yes to take it in, or --dry-run.")
        if not yes and not typer.confirm("Take this in?"):
            say("Nothing was written.")
            return
        found = take_in(connection, answer, datetime.now(UTC))
        if not as_json:
            say("Taken in. See it beside your own verdicts with: thirdstop review comments")
    if as_json:
        counts = {"n_comments": len(found.comments), "n_verdicts": len(found.verdicts)}
        known = {"n_known": found.n_known, "n_elsewhere": found.n_elsewhere, "is_dry_run": dry_run}
        print_json({"review": found.review_id, "mentor": answer.mentor, **counts, **known})


def _show(answer: Answer, found: Sorted) -> None:
    """What would be taken in, before anything is."""
    counts = f"{len(found.comments)} new comments, {len(found.verdicts)} new verdicts"
    say(f"Review {found.review_id}, from somebody who gives the name {answer.mentor} (not verified): {counts}.")
    for comment in found.comments:
        place = comment.question or comment.session_id or comment.frame_id or comment.habit or ""
        say(f"- {comment.about} {place}".rstrip() + f": {comment.body}")
    for verdict in found.verdicts:
        say(f"- frame {verdict.frame_id}: {', '.join((verdict.verdict, *verdict.faults))}")
    if found.n_known:
        say(f"{found.n_known} are in the journal already and are not taken in again.")
    if found.n_elsewhere:
        say(f"{found.n_elsewhere} are about nothing in this review and are left out.")


@group.command()
def comments(
    number: Annotated[int | None, typer.Option("--review", help="Only of this review.")] = None,
    journal: JournalOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what mentors said, beside your own verdicts, and how far you agree."""
    from analytics.dataset import OpenJournal
    from analytics.pages.reviewed import NOT_BLIND, reviewed_as_json, reviewed_page

    with OpenJournal(journal_path(journal)) as opened:
        page = reviewed_page(opened, number)
    if as_json:
        print_json(reviewed_as_json(page))
        return
    say(f"{page.simulated}. {page.sentence}" if page.simulated else page.sentence)
    for step in page.next_steps:
        say(step)
    for line in page.comments:
        say(f"{line.said_on}, {line.mentor} on {line.about}: {line.body}")
    if page.verdicts:
        same = {True: "same", False: "other", None: ""}
        rows = [(line.frame_id, line.mentor, line.theirs, line.own, same[line.is_same]) for line in page.verdicts]
        table(["frame", "mentor", "mentor's verdict", "your own", ""], rows, right=["frame"])
    for agreed in page.agreements:
        say(agreed.sentence)
    if page.agreements:
        say(NOT_BLIND)


@group.command(name="list")
def list_reviews(journal: JournalOption = None, as_json: JsonOption = False) -> None:
    """List the reviews that were made, with how much came back."""
    from analytics.dataset import OpenJournal
    from analytics.pages.reviewed import reviews_list

    with OpenJournal(journal_path(journal)) as opened:
        reviews, simulated = reviews_list(opened), opened.simulated()
    if as_json:
        print_json({"simulated": simulated, "reviews": reviews})
        return
    if simulated:
        say(f"{simulated}.")
    if not reviews:
        say("No review is made yet. Next: thirdstop review")
        return
    numbers = ["review", "sessions", "questions", "comments", "verdicts"]
    rows = [
        (
            one["review"],
            one["n_sessions"],
            len(one["questions"]),
            one["n_comments"],
            one["n_verdicts"],
            one["made_at"][:10],
        )
        for one in reviews
    ]
    table([*numbers, "made on"], rows, right=numbers)
