"""`thirdstop frame ID`: one frame's facts and what follows from them."""

from __future__ import annotations

import json
from typing import Annotated, Any

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError
from journal.notation import format_exposure_time, format_f_number


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(frame)


def frame(
    number: Annotated[int, typer.Argument(help="The frame's number, as `thirdstop frames` lists it.")],
    journal: JournalOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show one frame: its facts, its verdict, and the optics that follow from its settings."""
    from analytics.dataset import OpenJournal

    frames = OpenJournal(journal_path(journal)).frames(number)
    if frames.empty:
        raise JournalError(f"There is no frame {number} in this journal.", "List the frames with: thirdstop frames")
    facts: dict[str, Any] = json.loads(str(frames.to_json(orient="records", double_precision=15)))[0]
    facts |= derived_optics(facts)
    if as_json:
        print_json(facts)
        return
    say(sentence(facts))
    table(
        ["what", "value"],
        [(name.replace("_", " "), _shown(value)) for name, value in facts.items() if value is not None],
    )


def derived_optics(facts: dict[str, Any]) -> dict[str, float | None]:
    """Depth of field and diffraction, where the settings they need are known."""
    from journal.optics.blur import diffraction_spot_um
    from journal.optics.focus import CIRCLE_OF_CONFUSION_35MM, focus_limits_m, hyperfocal_distance_m

    found: dict[str, float | None] = {}
    f, f35, n = facts["focal_length_mm"], facts["focal_length_35mm"], facts["f_number"]
    if n:
        found["diffraction_spot_um"] = round(float(diffraction_spot_um(n)), 1)
    if f and f35 and n:
        circle = CIRCLE_OF_CONFUSION_35MM * f / f35
        found["hyperfocal_distance_m"] = round(float(hyperfocal_distance_m(f, n, circle)), 2)
        distance = facts["subject_distance_m"]
        if distance and distance > f / 1000:
            near, far = focus_limits_m(f, n, distance, circle)
            found |= {"near_limit_of_focus_m": round(float(near), 2), "far_limit_of_focus_m": round(float(far), 2)}
    return found


def sentence(facts: dict[str, Any]) -> str:
    """The frame in one sentence."""
    parts = []
    if facts["exposure_time_s"]:
        parts.append(format_exposure_time(facts["exposure_time_s"]))
    if facts["f_number"]:
        parts.append(format_f_number(facts["f_number"]))
    if facts["iso"]:
        parts.append(f"ISO {facts['iso']}")
    settings = ", ".join(parts) or "settings unknown"
    below = facts["stops_below_rule"]
    rule = ""
    if below is not None:
        side = "below (slower than)" if below > 0 else "above (faster than)"
        rule = f"; {abs(below):.1f} stops {side} the 1/focal-length rule"
    why = f" ({facts['faults']})" if facts["faults"] else ""
    return f"{facts['file_name']}: {settings}{rule}. Verdict: {facts['verdict']}{why}."


def _shown(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)
