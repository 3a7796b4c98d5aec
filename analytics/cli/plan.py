"""`thirdstop plan`: starting settings for an outing, within your own limits."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.schema.ddl import PACES, SUPPORTS


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(plan)


def plan(
    ev100: Annotated[float, typer.Argument(help="The light that is expected, as an exposure value at ISO 100.")],
    journal: JournalOption = None,
    focal_length: Annotated[str, typer.Option(help="Focal length, 35 mm-equivalent, like 200 mm.")] = "50 mm",
    widest: Annotated[str, typer.Option(help="Widest aperture of the lens, like f/2.8.")] = "f/2.8",
    pace: Annotated[str | None, typer.Option(help=f"Subject pace: {', '.join(PACES)}.")] = None,
    support: Annotated[str, typer.Option(help=f"Camera support: {', '.join(SUPPORTS)}.")] = "hand-held",
    stabilised: Annotated[
        bool, typer.Option("--stabilised/--not-stabilised", help="Body or lens is stabilised.")
    ] = False,
    body: Annotated[str | None, typer.Option(help="Model of the body, for its highest ISO.")] = None,
    priority: Annotated[str | None, typer.Option(help="What comes first: depth or motion.")] = None,
    distance: Annotated[str | None, typer.Option(help="Distance of the subject, like 12 m.")] = None,
    depth: Annotated[str | None, typer.Option(help="Depth of the subject, like 0.5 m.")] = None,
    base_iso: Annotated[str, typer.Option(help="Lowest ISO of the body.")] = "100",
    as_json: JsonOption = False,
) -> None:
    """Plan an outing: settings to start with, and what is missing.

    Beside each limit it says whether it is your own or the usual one.
    """
    from analytics.dataset import OpenJournal
    from analytics.pages import plan as words_of
    from analytics.planning.outing import AskedOuting
    from analytics.planning.outing import plan as planned
    from analytics.planning.own_limits import own_limits

    outing = AskedOuting(ev100, focal_length, widest, pace, support, priority, distance, depth, base_iso).outing()
    with OpenJournal(journal_path(journal)) as opened:
        frames, simulated = opened.judged_frames(), opened.simulated()
    own = own_limits(frames, stabilised, pace, body)
    found = planned(outing, own)
    sentence = words_of.plan_sentence(found, own)
    if as_json:
        said = {"sentence": sentence, "settings": words_of.settings_name(found)}
        print_json(
            {"simulated": simulated, **said, "plan": asdict(found), "outing": asdict(outing), "limits": asdict(own)}
        )
        return
    say(f"{simulated}. {sentence}" if simulated else sentence)
    table(["limit", "value", "whose"], words_of.limit_lines(own, outing, pace))
    for line in (*words_of.depth_words(found, outing), *words_of.ways_to_light(found, outing, own), *found.cautions):
        say(line)
    say("These settings are only a start: check the first frames. To write the plan down beforehand: thirdstop log")
