"""`thirdstop backup` and `thirdstop check`: keeping the journal file sound."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from journal.cli.app import app
from journal.cli.options import JournalOption, JsonOption, journal_path
from journal.cli.output import print_json, say
from journal.errors import JournalError
from journal.notation import format_count


@app.command()
def backup(
    target: Annotated[Path | None, typer.Argument(help="Where to; else beside the journal, with the date.")] = None,
    journal: JournalOption = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file of that name.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write a consistent copy of the journal. It may be in use meanwhile."""
    from journal.cli.opened import open_read_only
    from journal.store.upkeep import back_up

    path = journal_path(journal)
    today = datetime.now().astimezone().date().isoformat()
    target = target or path.with_name(f"{path.stem}-{today}{path.suffix}")
    size = back_up(open_read_only(path), target, overwrite)
    if as_json:
        print_json({"target": str(target), "size_bytes": size})
    else:
        say(f"The journal is copied to {target} ({size / 1e6:.1f} MB).")


@app.command()
def check(journal: JournalOption = None, as_json: JsonOption = False) -> None:
    """Check the journal file. Integrity, references, schema version, summaries, missing originals."""
    from journal.cli.opened import open_read_only
    from journal.store import upkeep

    path = journal_path(journal)
    findings = upkeep.check(open_read_only(path))
    if as_json:
        print_json(asdict(findings))
    elif not findings.faults:
        say(f"The journal is sound: schema {findings.schema_version}, {format_count(findings.n_frames, 'frame')}.")
        if findings.n_missing_originals:
            say(
                f"{findings.n_missing_originals} of {findings.n_files} originals are not where they were imported from."
            )
    if findings.faults:
        raise JournalError(
            f"The journal {path} is not sound: {' '.join(findings.faults)}", "Keep it, and go on from a backup."
        )
