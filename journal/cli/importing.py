"""`thirdstop import`: a card or folder into the journal."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from journal.cli.app import app
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, progress, say, table

if TYPE_CHECKING:
    from datetime import tzinfo

    from journal.importing.run import Summary


@app.command("import")
def import_(
    paths: Annotated[list[Path], typer.Argument(help="Files or folders, a card for example.")],
    journal: JournalOption = None,
    session: Annotated[int | None, typer.Option(help="Put every frame into this session.")] = None,
    zone: Annotated[str, typer.Option(help="Zone of the body's clock where files do not say.")] = "local",
    clock_offset: Annotated[str, typer.Option(help="How far the body's clock was ahead, like +1:00:00.")] = "0",
    previews: Annotated[bool, typer.Option(help="Keep a small preview of each frame in the journal.")] = True,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would happen; write nothing.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Import the metadata of frames; originals are only read.

    Files that are already in the journal are skipped, so an import can be repeated or taken up again.
    """
    from journal.importing.run import import_files, preview_import
    from journal.importing.storing import Circumstances
    from journal.importing.walking import find_files
    from journal.store.opening import open_journal, open_read_only
    from journal.store.sessions import get_session

    path = journal_path(journal)
    if dry_run:
        connection = open_read_only(path) if path.exists() else None
        _report(preview_import(connection, paths), as_json, "would be new")
        return
    total = len(find_files(paths)[0])
    connection = open_journal(path)
    if session is not None:
        get_session(connection, session)
    circumstances = Circumstances(_zone(zone), session, parse_clock_offset(clock_offset))
    with progress(total, "Importing") as advance:
        summary = import_files(connection, paths, circumstances, previews, advance)
    _report(summary, as_json, "new")
    if not as_json:
        from journal.cli.takeaway import print_takeaways

        print_takeaways(connection, summary.session_ids)


def parse_clock_offset(text: str) -> timedelta:
    """How far a clock was ahead: "+1:00:00", "-0:02", "90" (seconds)."""
    import re

    from journal.errors import JournalError

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
    counts = [f"{summary.n_frames} frames {word}", f"{summary.n_bursts} bursts"] if word == "new" else []
    counts = counts or [f"{summary.n_frames} frames {word}"]
    if summary.n_known:
        counts.append(f"{summary.n_known} known frames brought up to date")
    if summary.n_unchanged:
        counts.append(f"{summary.n_unchanged} files unchanged")
    say(f"{', '.join(counts)}, {len(summary.session_ids)} sessions, {len(summary.problems)} problems.")
    for number in summary.suggested_ids[:3]:
        say(
            f"Session {number} is suggested from the times of its frames; say what it was with: thirdstop edit {number}"
        )
    if len(summary.suggested_ids) > 3:
        say(f"... and {len(summary.suggested_ids) - 3} more sessions are suggested.")
    if summary.problems:
        rows = [(Path(one.file).name, one.problem, one.next_step) for one in summary.problems]
        table(["file", "problem", "what to do"], rows)
