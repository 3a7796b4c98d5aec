"""Options that `publish` and `review` share: what leaves the journal only when it is asked for by name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.output import say

if TYPE_CHECKING:
    from analytics.publish.publication import Publication

WithIntents = Annotated[bool, typer.Option("--with-intents", help="Add the sessions' intents, in your own words.")]
WithLight = Annotated[bool, typer.Option("--with-light", help="Add what the light was like, in your own words.")]
WithNotes = Annotated[bool, typer.Option("--with-notes", help="Add the sessions' notes.")]
WithPlaces = Annotated[bool, typer.Option("--with-places", help="Add the sessions' places and time zones.")]
WithPositions = Annotated[
    bool, typer.Option("--with-positions", help="Add the sessions' positions and what the sun did there.")
]
WithSerials = Annotated[bool, typer.Option("--with-serials", help="Add the serial numbers of bodies.")]
WithFileNames = Annotated[bool, typer.Option("--with-file-names", help="Add the names of files, without folders.")]
Pictures = Annotated[int, typer.Option("--pictures", min=0, max=20_000, help="Most small pictures; 0 for none.")]


def say_report(publication: Publication) -> None:
    """Says what is in it and what was left out."""
    for line in publication.report():
        say(line)


def megabytes(n_bytes: int) -> str:
    """A size as it is read: 4.4 MB."""
    return f"{n_bytes / 1e6:.1f} MB"
