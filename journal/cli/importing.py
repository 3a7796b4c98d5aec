"""`thirdstop import`: a card or folder into the journal."""

from __future__ import annotations

import re
from dataclasses import asdict
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.app import after_import, app
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, progress, say, table
from journal.errors import JournalError
from journal.notation import format_count

if TYPE_CHECKING:
    import sqlite3
    from datetime import tzinfo

    from journal.importing.run import Summary
    from journal.importing.storing import Circumstances

#: Suggested sessions that are named one by one after an import.
MOST_SUGGESTED = 3


@app.command("import")
def import_(
    paths: Annotated[
        list[Path] | None, typer.Argument(readable=False, help="Files or folders, a card for example.")
    ] = None,
    journal: JournalOption = None,
    table_file: Annotated[
        Path | None, typer.Option("--table", help="Frames written down by hand: CSV with Exif's names as headings.")
    ] = None,
    session: Annotated[int | None, typer.Option(help="Put every frame into this session.")] = None,
    zone: Annotated[str, typer.Option(help="Zone of the body's clock where files do not say.")] = "local",
    clock_offset: Annotated[
        str, typer.Option(help="How far every body's clock was ahead, like +1:00:00; for one body, see gear body.")
    ] = "0",
    previews: Annotated[bool, typer.Option(help="Keep a small preview of each frame in the journal.")] = True,
    examine: Annotated[
        bool,
        typer.Option(envvar="THIRDSTOP_EXAMINE", help="Examine the pictures afterwards; later with thirdstop examine."),
    ] = True,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would happen; write nothing.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Import the metadata of frames; originals are only read.

    Files that are already in the journal are skipped, so an import can be repeated or taken up again.
    """
    from journal.cli.opened import open_journal
    from journal.importing.storing import Circumstances
    from journal.store.sessions import get_session

    if not paths and table_file is None:
        raise JournalError("It is not said what to import.", "Name a card or folder: thirdstop import CARD")
    if paths and table_file is not None:
        raise JournalError("Files and a table cannot be imported at one go.", "Import the files first, then the table.")
    path = journal_path(journal)
    circumstances = Circumstances(_zone(zone), session, parse_clock_offset(clock_offset))
    if dry_run:
        _report(_dry_run(path, paths or [], table_file, circumstances), as_json, "would be new")
        return
    connection = open_journal(path)
    if session is not None:
        get_session(connection, session)
    summary = _import(connection, paths or [], table_file, circumstances, previews)
    if as_json:
        told = asdict(summary)
        for follow in after_import if examine else []:
            told |= follow(connection, path, summary.session_ids, is_quiet=True)
        print_json(told)
        return
    _report(summary, False, "new")
    for follow in after_import if examine else []:
        follow(connection, path, summary.session_ids, is_quiet=False)
    from journal.cli.takeaway import print_takeaways

    print_takeaways(connection, summary.session_ids)


def _import(
    connection: sqlite3.Connection,
    paths: list[Path],
    table_file: Path | None,
    circumstances: Circumstances,
    previews: bool,
) -> Summary:
    from journal.importing.run import import_files, import_table
    from journal.importing.walking import find_files

    if table_file is not None:
        return import_table(connection, table_file, circumstances)
    done = 0
    with progress(len(find_files(paths)[0]), "Importing") as show:

        def advance(steps: int) -> None:
            nonlocal done
            done += steps
            show(steps)

        try:
            return import_files(connection, paths, circumstances, previews, advance)
        except KeyboardInterrupt:
            say(f"{done} files are in; the same command takes the rest.", err=True)
            raise


def _dry_run(path: Path, paths: list[Path], table_file: Path | None, circumstances: Circumstances) -> Summary:
    from journal.cli.opened import open_read_only
    from journal.importing.foretelling import foretell_import, foretell_table
    from journal.store.sessions import get_session

    connection = open_read_only(path) if path.exists() or circumstances.session_id is not None else None
    if circumstances.session_id is not None and connection is not None:
        get_session(connection, circumstances.session_id)
    if table_file is not None:
        return foretell_table(connection, table_file, circumstances)
    return foretell_import(connection, paths, circumstances)


def parse_clock_offset(text: str) -> timedelta:
    """How far a clock was ahead: "+1:00:00", "-0:02", "90" (seconds)."""
    match = re.fullmatch(r"([+-]?)(?:(\d+):)?(?:(\d+):)?(\d+)", text.strip())
    if match is None:
        raise JournalError(f"{text!r} is no clock offset.", "Write hours, minutes and seconds, like +1:00:00.")
    parts = [int(part) for part in match.groups()[1:] if part is not None]
    if len(parts) == 2:
        parts.append(0)
    seconds = sum(part * 60**power for power, part in enumerate(reversed(parts)))
    return timedelta(seconds=-seconds if match[1] == "-" else seconds)


def _zone(text: str) -> tzinfo:
    from datetime import UTC, datetime

    from journal.notation import parse_zone

    return datetime.now().astimezone().tzinfo or UTC if text == "local" else parse_zone(text)


def _report(summary: Summary, as_json: bool, word: str) -> None:
    if as_json:
        print_json(asdict(summary))
        return
    frames = f"{format_count(summary.n_frames, 'frame')} {word}"
    counts = [frames, format_count(summary.n_bursts, "burst")] if word == "new" else [frames]
    if summary.n_known:
        counts.append(f"{format_count(summary.n_known, 'known frame')} brought up to date")
    if summary.n_unchanged:
        counts.append(f"{format_count(summary.n_unchanged, 'file')} unchanged")
    counts.append(format_count(len(summary.session_ids), "session"))
    if summary.n_to_be_suggested:
        counts.append(f"{format_count(summary.n_to_be_suggested, 'session')} to be suggested")
    counts.append(format_count(len(summary.problems), "problem"))
    say(f"{', '.join(counts)}.")
    if summary.n_undated:
        undated = format_count(summary.n_undated, "frame")
        say(f"{undated} without a capture time: the time of the file decided on the session.")
    shown = summary.suggested_ids[:MOST_SUGGESTED]
    for number in shown:
        say(
            f"Session {number} is suggested from the times of its frames; say what it was with: thirdstop edit {number}"
        )
    if n_more := len(summary.suggested_ids) - len(shown):
        say(f"... and {format_count(n_more, 'more session')} {'is' if n_more == 1 else 'are'} suggested.")
    if summary.problems:
        rows = [(Path(one.file).name, one.problem, one.next_step) for one in summary.problems]
        table(["file", "problem", "what to do"], rows)
