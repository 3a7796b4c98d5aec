"""`thirdstop gear`: bodies and lenses, and what the journal should know about them."""

from __future__ import annotations

import re
from typing import Annotated, Any

import typer

from journal.cli.app import app
from journal.cli.importing import parse_clock_offset
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError
from journal.notation import format_f_number, parse_f_number, parse_focal_length, parse_range

gear = typer.Typer(help="Show and state bodies and lenses.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(gear, name="gear")


@gear.command("list")
def list_(journal: JournalOption = None, as_json: JsonOption = False) -> None:
    """List bodies and lenses with what is known about them."""
    from journal.cli.opened import open_read_only
    from journal.store.gear import list_bodies, list_lenses

    connection = open_read_only(journal_path(journal))
    bodies, lenses = list_bodies(connection), list_lenses(connection)
    if as_json:
        print_json({"bodies": [dict(row) for row in bodies], "lenses": [dict(row) for row in lenses]})
        return
    if not bodies and not lenses:
        say("No body or lens is known yet; an import brings them in.")
        return
    columns = ["body", "serial", "sensor", "stabilised", "base ISO", "clock ahead by", "frames"]
    table(columns, [_body_cells(row) for row in bodies], right=["frames"])
    table(["lens", "focal length", "widest", "frames"], [_lens_cells(row) for row in lenses], right=["frames"])


@gear.command()
def body(
    model: Annotated[str, typer.Argument(help="The model, as Exif has it.")],
    journal: JournalOption = None,
    make: Annotated[str, typer.Option(help="The make, for a body that is new to the journal.")] = "",
    serial: Annotated[str | None, typer.Option(help="Serial number, where there are two of the model.")] = None,
    sensor: Annotated[
        str | None, typer.Option(help="Sensor format, like full-frame or aps-c, or 23.5x15.6 mm.")
    ] = None,
    stabilised: Annotated[
        bool | None, typer.Option("--stabilised/--not-stabilised", help="Whether the body steadies its sensor.")
    ] = None,
    base_iso: Annotated[int | None, typer.Option(min=1, help="Lowest ISO that is not pulled.")] = None,
    highest_iso: Annotated[int | None, typer.Option(min=1, help="Highest ISO it can be set to.")] = None,
    clock_offset: Annotated[str | None, typer.Option(help="How far its clock is ahead, like +1:00:00.")] = None,
    as_json: JsonOption = False,
) -> None:
    """State facts of a body; frames that are already in follow."""
    from journal.cli.opened import open_journal
    from journal.store.gear import list_bodies, state_body

    width, height = _sensor(sensor) if sensor else (None, None)
    connection = open_journal(journal_path(journal))
    body_id = state_body(
        connection,
        model,
        make,
        serial,
        sensor_width_mm=width,
        sensor_height_mm=height,
        is_stabilised=None if stabilised is None else int(stabilised),
        base_iso=base_iso,
        highest_iso=highest_iso,
        clock_offset_s=None if clock_offset is None else int(parse_clock_offset(clock_offset).total_seconds()),
    )
    if as_json:
        print_json(next(dict(row) for row in list_bodies(connection) if row["id"] == body_id))
        return
    say(f"The body {model} is stated.")


@gear.command()
def lens(
    model: Annotated[str, typer.Argument(help="The model, as Exif has it.")],
    journal: JournalOption = None,
    focal: Annotated[str | None, typer.Option(help="Focal length or range in mm, like 24-70.")] = None,
    widest: Annotated[str | None, typer.Option(help="Widest aperture, like f/2.8.")] = None,
    stabilised: Annotated[
        bool | None, typer.Option("--stabilised/--not-stabilised", help="Whether the lens is stabilised.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """State facts of a lens."""
    from journal.cli.opened import open_journal
    from journal.store.gear import list_lenses, state_lens

    connection = open_journal(journal_path(journal))
    low, high = parse_range(focal, parse_focal_length) if focal else (None, None)
    lens_id = state_lens(
        connection,
        model,
        focal_length_min_mm=low,
        focal_length_max_mm=high,
        widest_f_number=parse_f_number(widest) if widest else None,
        is_stabilised=None if stabilised is None else int(stabilised),
    )
    if as_json:
        print_json(next(dict(row) for row in list_lenses(connection) if row["id"] == lens_id))
        return
    say(f"The lens {model} is stated.")


def _sensor(text: str) -> tuple[float, float]:
    from journal.optics.sensors import SENSOR_FORMATS

    if text.strip().lower() in SENSOR_FORMATS:
        return SENSOR_FORMATS[text.strip().lower()]
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)(?:\s*mm)?", text.strip().lower())
    if match is None or not all(1 <= float(side) <= 200 for side in match.groups()):
        raise JournalError(
            f"{text!r} is no sensor size.", f"Write it like 23.5x15.6, or one of: {', '.join(SENSOR_FORMATS)}."
        )
    return float(match[1]), float(match[2])


def _body_cells(row: Any) -> list[object]:
    size = f"{row['sensor_width_mm']:g} × {row['sensor_height_mm']:g} mm" if row["sensor_width_mm"] else ""
    steadied = {None: "", 0: "no", 1: "yes"}[row["is_stabilised"]]
    name = f"{row['make']} {row['model']}" if not row["model"].startswith(row["make"]) else row["model"]
    ahead = f"{row['clock_offset_s']} s" if row["clock_offset_s"] else ""
    return [name, row["serial_number"], size, steadied, row["base_iso"], ahead, row["n_frames"]]


def _lens_cells(row: Any) -> list[object]:
    low, high = row["focal_length_min_mm"], row["focal_length_max_mm"]
    focal = "" if low is None else f"{low:g} mm" if low == high else f"{low:g}–{high:g} mm"
    return [
        row["model"],
        focal,
        format_f_number(row["widest_f_number"]) if row["widest_f_number"] else "",
        row["n_frames"],
    ]
