"""`thirdstop explain FRAME [OTHER]`: what happened in one frame, what would have mended it, and two side by side."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.dataset import OpenJournal
    from analytics.explaining import Comparison, Explanation, Limits
    from analytics.explaining.remedies import Remedy

#: Spread along over spread across from which a direction is named.
DIRECTED = 1.3


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(explain)


def explain(
    number: Annotated[int, typer.Argument(metavar="FRAME", help="The frame's number, as `thirdstop frames` lists it.")],
    other: Annotated[int | None, typer.Argument(help="A second frame, to see why one is better.")] = None,
    journal: JournalOption = None,
    as_json: JsonOption = False,
) -> None:
    """Explain one frame: exposure, depth, blur, noise, what would have fixed it, and how near your limits it was."""
    from analytics.dataset import OpenJournal

    with OpenJournal(journal_path(journal)) as opened, opened.snapshot():
        limits = own_limits(opened)
        explained = [explain_frame(opened, frame, limits) for frame in (number, other) if frame is not None]
        simulated = opened.simulated()
    if as_json:
        print_json({"simulated": simulated, **_as_data(explained)})
        return
    if simulated:
        say(f"{simulated}.")
    if len(explained) == 1:
        _show(explained[0])
    else:
        _show_both(explained[0], explained[1])


def explain_frame(journal: OpenJournal, number: int, limits: Limits) -> Explanation:
    """One frame of a journal, explained.

    Raises:
        JournalError: there is no such frame.
    """
    from analytics.explaining import explain, facts_of_row
    from analytics.queries import EXPLAINED_FRAME

    rows = journal.rows(EXPLAINED_FRAME, {"number": number})
    if not rows:
        raise JournalError(f"There is no frame {number} in this journal.", "List the frames with: thirdstop frames")
    return explain(facts_of_row(rows[0]), limits)


def own_limits(journal: OpenJournal) -> Limits:
    """The photographer's own limits by (kind, key), from all judged frames."""
    from analytics.explaining.own_limits import limits_of_tables
    from analytics.statistics.limits import KINDS, limits

    frames = journal.judged_frames()
    return limits_of_tables({kind: limits(frames, kind) for kind in KINDS}) if len(frames) else {}


def _as_data(explained: list[Explanation]) -> dict[str, Any]:
    if len(explained) == 1:
        return asdict(explained[0])
    from analytics.explaining import compare

    both = compare(explained[0], explained[1])
    return {"comparison": asdict(both), "frames": [asdict(one) for one in explained]}


def _show(one: Explanation) -> None:
    say(one.sentence)
    _show_exposure(one)
    _show_depth(one)
    _show_blur(one)
    _show_suggestion(one)
    _show_fixes(one)
    _show_limits(one)


def _heading(text: str) -> None:
    say(f"\n{text}")


def _show_exposure(one: Explanation) -> None:
    exposure, noise = one.exposure, one.noise
    _heading("Exposure and noise")
    rows: list[tuple[object, object]] = [("settings", one.settings), ("light they suit", _ev(exposure.ev100))]
    if exposure.light_ev100 is not None:
        off = exposure.light_difference_stops
        against = "" if off is None else f", so {abs(off):.1f} stops {'over' if off > 0 else 'under'}"
        rows.append(("light as stated", f"{_ev(exposure.light_ev100)}{against}"))
    if exposure.measured_ev is not None:
        side = "bright" if exposure.measured_ev > 0 else "dark"
        rows.append(("measured exposure", f"{abs(exposure.measured_ev):.1f} stops too {side}"))
    if noise.expected_sigma is not None:
        rows.append(
            (
                "noise expected",
                f"{noise.expected_sigma:.1f} levels of 255 at mid-grey, signal to noise {noise.signal_to_noise:.0f}",
            )
        )
    rows.append(("noise from", noise.basis))
    if noise.measured_sigma is not None:
        rows.append(("noise measured", f"{noise.measured_sigma:.1f} levels of 255"))
    table(["what", "value"], rows)


def _ev(value: float | None) -> str:
    return "unknown" if value is None else f"EV {value:.1f} at ISO 100"


def _show_depth(one: Explanation) -> None:
    depth = one.depth
    _heading("Depth of field")
    if depth.near_m is None or depth.far_m is None:
        say(f"Unknown: {depth.missing}.")
    else:
        far = f"{depth.far_m:.3g} m" if math.isfinite(depth.far_m) else "infinity"
        known = depth.subject_distance_m
        at = "infinity" if known is None or math.isinf(known) else f"{known:.3g} m"
        say(f"Sharp from {depth.near_m:.3g} m to {far}, focused at {at} ({depth.subject_distance_source}).")
        for line in one.drawing:
            say(line)
    if depth.is_subject_inside is not None:
        held = "holds" if depth.is_subject_inside else "does not hold"
        say(f"It {held} the subject, {depth.subject_depth_m:.3g} m deep.")


def _show_blur(one: Explanation) -> None:
    _heading("Blur budget")
    rows = [
        (
            f"{part.name}{' *' if part.name == one.budget.dominant else ''}",
            "" if part.extent_px is None else f"{part.extent_px:.1f}",
            "" if part.extent_um is None else f"{part.extent_um:.1f}",
            "" if part.share is None else f"{100 * part.share:.0f} %",
            part.bound,
            part.basis,
        )
        for part in one.budget.parts
    ]
    table(["cause", "px", "µm", "share", "", "from"], rows, right=["px", "µm", "share"])
    if one.budget.dominant:
        say("* dominates what is known.")
    if one.budget.measured_blur_px is not None:
        say(f"Measured in the picture: a blur of {one.budget.measured_blur_px:.1f} px.")
    _show_edges(one)


def _show_edges(one: Explanation) -> None:
    measured = one.facts.measured
    if measured is None or measured.edge_spread_px is None:
        return
    along, across = measured.edge_along_px, measured.edge_across_px
    directed = ""
    if along is not None and across is not None and along > DIRECTED * max(across, 0.5):
        directed = f" ({along:.1f} px along {measured.edge_direction_deg:.0f}°, {max(across, 0.0):.1f} px across it)"
    say(f"The sharpest edges spread {max(measured.edge_spread_px, 0.0):.1f} px{directed}, a standard deviation.")


def _show_suggestion(one: Explanation) -> None:
    suggestion = one.facts.suggestion
    _heading("Suggestion")
    if suggestion is None:
        say("None: the picture has not been examined. Next: thirdstop examine")
        return
    if suggestion.is_unsure or not suggestion.fault:
        say("It cannot be told." if suggestion.is_unsure else "No fault stands out.")
    else:
        say(f"{suggestion.fault}, probability {suggestion.probability:.2f}; a suggestion, not a verdict.")
    for sentence in suggestion.evidence:
        say(f"- {sentence}")


def _show_fixes(one: Explanation) -> None:
    fixes = one.fixes
    _heading("What would have fixed it")
    if fixes.fault is None:
        say(f"Nothing to fix: {fixes.basis}.")
        return
    say(f"{fixes.fault[0].upper()}{fixes.fault[1:]} ({fixes.basis}).")
    if not fixes.remedies:
        say(f"No setting would have changed that{': ' if fixes.need_basis else ''}{fixes.need_basis}.")
        return
    if fixes.need_stops is not None:
        say(f"How far: {fixes.need_stops:.1f} stops ({fixes.need_basis}).")
    table(
        ["settings", "gain", "price", "stops given up", "but"],
        [_remedy_cells(remedy) for remedy in fixes.remedies],
        right=["stops given up"],
    )
    if fixes.fault == "missed focus":
        say("A smaller aperture only widens what is sharp; it does not move the focus.")


def _remedy_cells(remedy: Remedy) -> tuple[str, ...]:
    joined = ["; ".join(texts) for texts in (remedy.gains, remedy.prices, remedy.cautions)]
    return (remedy.settings, joined[0], joined[1], f"{remedy.stops_given_up:.1f}", joined[2])


def _show_limits(one: Explanation) -> None:
    from analytics.explaining.own_limits import NAMES

    _heading("Against your own limits")
    rows = [
        (
            f"{NAMES[line.kind]} ({line.key})",
            "unknown"
            if line.stops is None
            else f"{abs(line.stops):.1f} stops {'to spare' if line.stops >= 0 else 'beyond'}",
            "" if line.low is None or line.high is None else f"{line.low:.1f} to {line.high:.1f}",
            line.basis,
        )
        for line in one.to_spare
    ]
    table(["limit", "this frame", "interval", "from"], rows)


def _show_both(one: Explanation, other: Explanation) -> None:
    from analytics.explaining import compare

    both: Comparison = compare(one, other)
    say(both.sentence)
    names = [f"frame {both.first_id}", f"frame {both.second_id}"]
    _heading("Settings that differ")
    if both.settings:
        rows = [(line.name, line.first, line.second, _signed(line.stops)) for line in both.settings]
        table(["", *names, "stops of light"], rows, right=["stops of light"])
    else:
        say("None.")
    _heading("What that makes of the picture, the most first")
    if both.differences:
        table(
            ["difference", "doublings"], [(line.words, _signed(line.stops)) for line in both.differences], ["doublings"]
        )
    else:
        say("Nothing that shows.")
    verdicts = [f"{name}: {side.facts.verdict}" for name, side in zip(names, (one, other), strict=True)]
    _heading(f"Verdicts: {', '.join(verdicts)}.")
    if both.unknown:
        _heading("Not known")
        for line in both.unknown:
            say(f"- {line}")


def _signed(stops: float | None) -> str:
    return "" if stops is None else f"{stops:+.1f}"
