"""`thirdstop explain FRAME [OTHER]`: what happened in one frame, what would have mended it, and two side by side."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from analytics.pages.frame import Part


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(explain)


def explain(
    number: Annotated[int, typer.Argument(metavar="FRAME", help="The frame's number, as `thirdstop frames` lists it.")],
    other: Annotated[int | None, typer.Argument(help="A second frame, to see why one is better.")] = None,
    journal: JournalOption = None,
    as_json: JsonOption = False,
) -> None:
    """Explain one frame, or compare two. Exposure, depth, blur, noise, what would have fixed it, your own limits."""
    from analytics.dataset import OpenJournal
    from analytics.pages.frame import comparison_page, frame_page, own_limits

    if other == number:
        raise JournalError(f"Frame {number} is compared with itself.", "Name two frames, like: thirdstop explain 12 15")
    with OpenJournal(journal_path(journal)) as opened, opened.snapshot():
        limits = own_limits(opened.judged_frames())
        if other is None:
            one = frame_page(opened, number, limits)
            told, sentence, parts, simulated = asdict(one.explanation), one.sentence, one.parts, one.simulated
        else:
            both = comparison_page(opened, number, other, limits)
            told = {"comparison": asdict(both.comparison), "frames": [asdict(frame) for frame in both.frames]}
            sentence, parts, simulated = both.sentence, both.parts, both.simulated
    if as_json:
        print_json({"simulated": simulated, **told})
        return
    say(f"{simulated}. {sentence}" if simulated else sentence)
    _show(parts)


def _show(parts: Iterable[Part]) -> None:
    """Prints the parts one under the other."""
    for part in parts:
        say(f"\n{part.heading}")
        for line in (*part.before, *part.drawing):
            say(line)
        if part.rows:
            table(part.columns, part.rows, right=part.right)
        for line in (*part.notes, *part.after):
            say(line)
