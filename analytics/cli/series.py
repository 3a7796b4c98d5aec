"""`thirdstop series [SESSION...]`: a test series that finds how slow you can hand-hold."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say
from journal.errors import JournalError
from journal.notation import parse_focal_length

if TYPE_CHECKING:
    import pandas as pd


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(series)


def series(
    sessions: Annotated[
        list[int] | None, typer.Argument(help="Sessions that were test series, one for each day.")
    ] = None,
    journal: JournalOption = None,
    focal_length: Annotated[str, typer.Option(help="Focal length, 35 mm-equivalent, like 200 mm.")] = "100 mm",
    stabilised: Annotated[
        bool, typer.Option("--stabilised/--not-stabilised", help="Body or lens is stabilised.")
    ] = False,
    frames_each: Annotated[int, typer.Option(min=1, max=24, help="Frames at each time.")] = 1,
    seed: Annotated[int | None, typer.Option(help="Shuffles the times the same way again.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Design a test series for your hand-held limit, or read one."""
    from analytics.dataset import OpenJournal

    with OpenJournal(journal_path(journal)) as opened:
        frames, simulated = opened.judged_frames(), opened.simulated()
        known = set(opened.sessions()["session_id"])
    missing = [number for number in sessions or [] if number not in known]
    if missing:
        raise JournalError(f"There is no session {missing[0]} in this journal.", "List them with: thirdstop sessions")
    from analytics.pages.series_words import KEPT, series_sentence, series_values

    if sessions:
        _read(frames, sessions, simulated, as_json)
        return
    import numpy as np

    from analytics.planning.own_limits import own_limits
    from analytics.planning.series import series_design

    limit = own_limits(frames, stabilised, None, None).hand_held
    design = series_design(limit.stops, parse_focal_length(focal_length), np.random.default_rng(seed), frames_each)
    if as_json:
        print_json(
            {"simulated": simulated, "times": series_values(design), **asdict(design), "limit_is_own": limit.is_own}
        )
        return
    say(f"{simulated}. {series_sentence(design)}" if simulated else series_sentence(design))
    say(", ".join(series_values(design)))
    whose = "your limit so far" if limit.is_own else "the usual limit, for yours is not known yet"
    say(f"The times lie around {whose}. {KEPT['hand-held']}")
    say("Log it as a session of its own, import and judge it, and do the same on other days: more days help most.")
    say("Then: thirdstop series SESSION SESSION ...")


def _read(frames: pd.DataFrame, sessions: list[int], simulated: str | None, as_json: bool) -> None:
    from analytics.pages.series_words import series_found, series_none
    from analytics.planning.series import series_frames
    from analytics.statistics.series import series_limit

    found = series_limit(series_frames(frames, sessions))
    judged = frames[frames["session"].isin(sessions)]
    none, next_step = series_none(judged, len(set(sessions)), "hand-held")
    sentence = series_found(found) if found.n_frames else none
    if as_json:
        print_json({"simulated": simulated, "sentence": sentence, **asdict(found)})
        return
    say(f"{simulated}. {sentence}" if simulated else sentence)
    if not found.n_frames:
        say(next_step)
