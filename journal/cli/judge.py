"""`thirdstop judge` and `thirdstop frames`: which frames are keepers, and why the others failed."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.app import app
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say, table
from journal.errors import JournalError
from journal.notation import format_exposure_time, format_f_number
from journal.records.verdicts import Verdict

if TYPE_CHECKING:
    import sqlite3


@app.command()
def judge(
    frames: Annotated[list[str] | None, typer.Argument(help="Frames by number, single or ranges: 12 20-31.")] = None,
    journal: JournalOption = None,
    keeper: Annotated[bool, typer.Option("--keeper", help="These frames are keepers.")] = False,
    reject: Annotated[bool, typer.Option("--reject", help="These frames are rejects; say why with --fault.")] = False,
    unjudged: Annotated[bool, typer.Option("--unjudged", help="Take the verdicts back.")] = False,
    fault: Annotated[list[str] | None, typer.Option(help="A visible fault; say every one you see.")] = None,
    ratings: Annotated[bool, typer.Option("--ratings", help="Take xmp:Rating of the frames: -1 rejects.")] = False,
    keep_from: Annotated[
        int | None, typer.Option(help="With --ratings: the lowest rating of a keeper; remembered.")
    ] = None,
    by: Annotated[str, typer.Option(help="Who judges.")] = "photographer",
    as_json: JsonOption = False,
) -> None:
    """Judge frames: keeper or reject, with every visible fault. Nothing is overwritten; the newest verdict counts."""
    from journal.cli.takeaway import print_takeaways
    from journal.store.opening import open_journal
    from journal.store.verdicts import record

    connection = open_journal(journal_path(journal), must_exist=True)
    if ratings:
        verdicts, source = verdicts_of_ratings(connection, keep_from), "xmp"
    else:
        word = _one_word(keeper, reject, unjudged)
        verdicts = [Verdict(number, word, tuple(fault or ())) for number in parse_frames(frames or [])]
        source = "command line"
    if not verdicts:
        raise JournalError("There is nothing to judge.", "Name frames, like: thirdstop judge 12 20-31 --keeper")
    touched = record(connection, verdicts, judged_by=by, source=source, judged_at=datetime.now(UTC))
    if as_json:
        print_json({"n_verdicts": len(verdicts), "session_ids": touched})
        return
    say(f"{len(verdicts)} verdicts taken.")
    print_takeaways(connection, touched)


def parse_frames(texts: list[str]) -> list[int]:
    """Frame numbers from single numbers and ranges."""
    numbers: dict[int, None] = {}
    for text in texts:
        match = re.fullmatch(r"(\d{1,12})(?:-(\d{1,12}))?", text)
        if match is None:
            raise JournalError(f"{text!r} is no frame or range of frames.", "Write numbers, like 12 or 20-31.")
        low, high = int(match[1]), int(match[2] or match[1])
        if not low <= high <= low + 100_000:
            raise JournalError(f"{text!r} is no range of frames.", "Write the lower number first, like 20-31.")
        numbers |= dict.fromkeys(range(low, high + 1))
    return list(numbers)


def _one_word(keeper: bool, reject: bool, unjudged: bool) -> str:
    words = [word for word, is_said in (("keeper", keeper), ("reject", reject), ("unjudged", unjudged)) if is_said]
    if len(words) != 1:
        raise JournalError("It is not clear what the verdict is.", "Give one of --keeper, --reject and --unjudged.")
    return words[0]


def verdicts_of_ratings(connection: sqlite3.Connection, keep_from: int | None) -> list[Verdict]:
    """What the frames' xmp:Rating says: -1 is a reject, a high enough one a keeper; 0 and none say nothing."""
    if keep_from is None:
        row = connection.execute("select value from settings where name = 'keep_from'").fetchone()
        if row is None:
            raise JournalError(
                "It is not said which ratings are keepers.", "Say it once: thirdstop judge --ratings --keep-from 3"
            )
        keep_from = int(row[0])
    else:
        connection.execute(
            "insert into settings values ('keep_from', ?) on conflict (name) do update set value = excluded.value",
            [str(keep_from)],
        )
    rows = connection.execute(RATED).fetchall()
    return [Verdict(row["id"], "keeper" if row["rating"] >= keep_from else "reject") for row in rows]


#: Frames with a rating that nobody judged otherwise; what was said in the journal outweighs what a file says.
RATED = """
select id, rating from frames
where rating is not null and rating <> 0
    and not exists (select 1 from verdicts where frame_id = frames.id and source <> 'xmp')
"""

#: Frames with their facts. Parameters: :session - or null for all; :unjudged - 1 to leave out judged frames.
LIST = """
select id, file_name, taken_at_local, session_id, exposure_time_s, f_number, iso, focal_length_mm, verdict,
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
    from journal.store.opening import open_read_only

    connection = open_read_only(journal_path(journal))
    rows = connection.execute(LIST, {"session": session, "unjudged": int(unjudged)}).fetchall()
    if as_json:
        print_json([dict(row) for row in rows])
        return
    if not rows:
        say("There are no such frames.")
        return
    table(
        ["frame", "file", "taken at", "time", "aperture", "ISO", "focal length", "verdict", "faults"],
        [_cells(row) for row in rows],
        right=["frame", "ISO"],
    )


def _cells(row: sqlite3.Row) -> list[object]:
    return [
        row["id"],
        row["file_name"],
        (row["taken_at_local"] or "").replace("T", " "),
        format_exposure_time(row["exposure_time_s"]) if row["exposure_time_s"] else "",
        format_f_number(row["f_number"]) if row["f_number"] else "",
        row["iso"],
        f"{row['focal_length_mm']:g} mm" if row["focal_length_mm"] else "",
        row["verdict"],
        row["faults"],
    ]
