"""`thirdstop frame ID`: one frame's facts, where each comes from, and what follows from them."""

from __future__ import annotations

import json
import math
from typing import Annotated, Any

import typer

from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError
from journal.notation import format_exposure_time, format_f_number

#: How fast a camera turns in the hands where nobody says otherwise [°/s]; only an example to compare frames by.
EXAMPLE_ROTATION_DEG_S = 0.5


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(frame)


def frame(
    number: Annotated[int, typer.Argument(help="The frame's number, as `thirdstop frames` lists it.")],
    journal: JournalOption = None,
    rotation: Annotated[
        float, typer.Option(help="How fast the camera turns, in degrees per second, for the smear in pixels.")
    ] = EXAMPLE_ROTATION_DEG_S,
    as_json: JsonOption = False,
) -> None:
    """Show one frame: facts, verdict and what its settings imply."""
    if not 0 < rotation <= 360:
        raise JournalError(f"A rotation of {rotation:g} degrees per second is no shake.", "Use a rate like 0.5.")
    from analytics.dataset import OpenJournal
    from analytics.dataset.opened import SIMULATED
    from analytics.explaining import facts_of_row
    from analytics.queries import EXPLAINED_FRAME

    with OpenJournal(journal_path(journal)) as opened:
        frames = opened.frames(number)
        if frames.empty:
            raise JournalError(f"There is no frame {number} in this journal.", "List the frames with: thirdstop frames")
        facts: dict[str, Any] = json.loads(str(frames.to_json(orient="records", double_precision=15)))[0]
        known = facts_of_row(opened.rows(EXPLAINED_FRAME, {"number": number})[0])
    facts |= derived_optics(facts) | _smear(facts, known.pixel_pitch_um, rotation)
    simulated = SIMULATED if known.is_simulated else None
    if as_json:
        print_json({"simulated": simulated, **facts})
        return
    say(f"{simulated}. {sentence(facts)}" if simulated else sentence(facts))
    table(["what", "value", "from"], _lines(facts))


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


def _smear(facts: dict[str, Any], pitch_um: float | None, rotation: float) -> dict[str, float | None]:
    """The smear in pixels if the camera had turned steadily at the stated rate; not a measurement of this picture."""
    from journal.optics.blur import rotation_blur_px

    t, f = facts["exposure_time_s"], facts["focal_length_mm"]
    if not (t and f and pitch_um):
        return {}
    blur = round(float(rotation_blur_px(rotation, t, f, pitch_um)), 1)
    return {"rotation_deg_s": rotation, "smear_at_that_rotation_px": blur, "pixel_pitch_um": round(pitch_um, 2)}


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


def _lines(facts: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Each known fact as it is read aloud, with its source on the same line."""
    stems = {name: name.removesuffix("_s").removesuffix("_mm").removesuffix("_m") for name in facts}
    return [
        (WORDS.get(name, name.replace("_", " ")), _shown(name, value), _source(facts, name, stems[name]))
        for name, value in facts.items()
        if value not in (None, "") and name not in LEFT_OUT and not name.endswith("_source")
    ]


def _source(facts: dict[str, Any], name: str, stem: str) -> str:
    return str(facts.get(f"{name}_source") or facts.get(f"{stem}_source") or "").replace("_", " ")


#: What the sentence above the table says already.
LEFT_OUT = ("frame_id", "file_name", "verdict", "faults", "is_simulated", "simulated")
#: Columns whose name is not the word that a photographer reads.
WORDS = {
    "session_id": "session",
    "burst_id": "burst",
    "exposure_time_s": "exposure time",
    "f_number": "aperture",
    "iso": "ISO",
    "exposure_bias_ev": "exposure bias",
    "focal_length_mm": "focal length",
    "focal_length_35mm": "35 mm-equivalent",
    "subject_distance_m": "subject distance",
    "ev100": "EV at ISO 100",
    "is_stabilised": "stabilised",
    "width_px": "width",
    "height_px": "height",
    "diffraction_spot_um": "diffraction spot",
    "hyperfocal_distance_m": "hyperfocal distance",
    "near_limit_of_focus_m": "near limit of focus",
    "far_limit_of_focus_m": "far limit of focus",
    "rotation_deg_s": "rotation, if it were",
    "smear_at_that_rotation_px": "smear at that rotation",
    "pixel_pitch_um": "pixel pitch",
}
#: Units at the end of a column's name, as they are written.
UNITS = {"_mm": "mm", "_35mm": "mm", "_m": "m", "_px": "px", "_um": "µm", "_ev": "EV", "_deg_s": "°/s"}


def _shown(name: str, value: object) -> str:
    if name == "exposure_time_s":
        return format_exposure_time(float(str(value)))
    if name == "f_number":
        return format_f_number(float(str(value)))
    if name == "taken_at":
        return f"{str(value)[:19].replace('T', ' ')} UTC"
    if name == "position_in_burst":
        return str(int(str(value)) + 1)
    if name == "flash":  # Exif: the lowest bit says whether it fired
        return "fired" if int(str(value)) & 1 else "did not fire"
    if name.startswith("is_"):
        return "yes" if value else "no"
    return " ".join(filter(None, (_number(value), next((UNITS[end] for end in UNITS if name.endswith(end)), ""))))


def _number(value: object) -> str:
    if not isinstance(value, float):
        return str(value)
    return "infinity" if math.isinf(value) else f"{value:.4g}"
