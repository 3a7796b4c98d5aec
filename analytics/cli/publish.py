"""`thirdstop publish FOLDER`: the pages as files that open from disk, with no server and no network."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

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
from journal.cli.output import print_json, say


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(publish)


def publish(
    target: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to write; with --one-file a file.")],
    journal: JournalOption = None,
    one_file: Annotated[bool, typer.Option("--one-file", help="Write a single HTML file.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Replace what was published there before.")] = False,
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
    """Write the pages as files that open from disk. No server, no network; private words stay out."""
    from datetime import datetime

    from analytics.dataset import OpenJournal
    from analytics.pages.privacy import Asked
    from analytics.publish.material import choose
    from analytics.publish.packing import write_file, write_folder
    from analytics.publish.publication import Request, compose

    asked = Asked(with_intents, with_light, with_notes, with_places, with_positions, with_serials, with_file_names)
    with OpenJournal(journal_path(journal)) as opened:
        chosen = choose(opened, (), (), {"since": None, "until": None})
        publication = compose(opened, Request(chosen, asked, pictures, datetime.now().astimezone().date()))
    if one_file and target.is_dir():
        target = target / "thirdstop.html"
    n_bytes = (write_file if one_file else write_folder)(publication.document, target, again)
    page = target if one_file else target / "index.html"
    if as_json:
        print_json({"page": str(page), "n_bytes": n_bytes, **publication.as_json()})
        return
    simulated = f"{publication.document.simulated}. " if publication.document.simulated else ""
    say(f"{simulated}Published: {page} ({megabytes(n_bytes)}). Open it in any browser.")
    say_report(publication)
