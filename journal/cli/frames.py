"""`thirdstop frames`: frames with their settings and verdicts."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.app import app
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.notation import format_exposure_time, format_f_number

if TYPE_CHECKING:
    import sqlite3

#: Frames with their facts. Parameters: :session - or null for all; :unjudged - 1 to leave out judged frames.
LIST = """
select id, file_name, taken_at, taken_at_local, utc_offset_min, clock_offset_s, session_id, exposure_time_s, f_number,
    iso, focal_length_mm, verdict,
    (select group_concat(fault, '; ') from frame_faults where frame_id = frames.id) as faults
from frames
where (:session is null or session_id = :session) and (:unjudged = 0 or verdict = 'unjudged')
order by taken_at, id
"""


@app.command("frames")
def frames_(
    journal: JournalOption = None,
    session: Annotated[int | None, typer.Option(help="Only frames of this session.")] = None,
    unjudged: Annotated[bool, typer.Option("--unjudged", help="Only frames nobody has judged yet.")] = False,
    as_json: JsonOption = False,
) -> None:
    """List frames with their settings and verdicts."""
    from journal.cli.opened import open_read_only, say_if_simulated

    connection = open_read_only(journal_path(journal))
    rows = connection.execute(LIST, {"session": session, "unjudged": int(unjudged)}).fetchall()
    if as_json:
        print_json([dict(row) for row in rows])
        return
    if not rows:
        say("There are no such frames.")
        return
    say_if_simulated(connection)
    table(
        ["frame", "file", "taken at", "time", "aperture", "ISO", "focal length", "verdict", "faults"],
        [_cells(row) for row in rows],
        right=["frame", "ISO"],
    )


def _taken(row: sqlite3.Row) -> str:
    """What the body's clock showed; if it was wrong, what it should have shown."""
    if not row["clock_offset_s"]:
        return str(row["taken_at_local"] or "").replace("T", " ")
    moment = datetime.fromisoformat(row["taken_at"]) + timedelta(minutes=row["utc_offset_min"] or 0)
    return moment.strftime("%Y-%m-%d %H:%M:%S")


def _cells(row: sqlite3.Row) -> list[object]:
    return [
        row["id"],
        row["file_name"],
        _taken(row),
        format_exposure_time(row["exposure_time_s"]) if row["exposure_time_s"] else "",
        format_f_number(row["f_number"]) if row["f_number"] else "",
        row["iso"],
        f"{row['focal_length_mm']:g} mm" if row["focal_length_mm"] else "",
        row["verdict"],
        row["faults"],
    ]
