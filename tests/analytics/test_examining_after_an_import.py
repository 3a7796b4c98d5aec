"""What other packages do when an import is stored."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from analytics.cli.examine import examine_imported
from journal.cli import load_commands, run
from journal.cli.app import after_import

Calls = list[tuple[str, list[int], int]]


@pytest.fixture
def calls() -> Iterator[Calls]:
    """A follower of imports that notes what it is called with, instead of the examination."""
    load_commands()
    noted: Calls = []

    def note(connection: sqlite3.Connection, path: Path, session_ids: Sequence[int], is_quiet: bool) -> dict[str, Any]:
        noted.append((path.name, list(session_ids), connection.execute("select count(*) from frames").fetchone()[0]))
        return {"n_noted": len(noted)}

    before = after_import[:]
    after_import[:] = [note]
    yield noted
    after_import[:] = before


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    Image.new("RGB", (48, 32), (10, 80, 90)).save(folder / "a.jpg")
    return folder


def test_the_examination_follows_every_import() -> None:
    load_commands()
    assert examine_imported in after_import


def test_followers_see_the_stored_frames_and_their_sessions(tmp_path: Path, card: Path, calls: Calls) -> None:
    assert run(["import", str(card), "--examine", "--journal", str(tmp_path / "a.journal")]) == 0
    assert calls == [("a.journal", [1], 1)]


def test_no_examine_leaves_followers_out_and_so_does_a_dry_run(tmp_path: Path, card: Path, calls: Calls) -> None:
    assert run(["import", str(card), "--no-examine", "--journal", str(tmp_path / "a.journal")]) == 0
    assert run(["import", str(card), "--examine", "--dry-run", "--journal", str(tmp_path / "b.journal")]) == 0
    assert calls == []


def test_what_a_follower_returns_joins_the_json_of_the_import(
    tmp_path: Path, card: Path, calls: Calls, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["import", str(card), "--examine", "--json", "--journal", str(tmp_path / "a.journal")]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["n_frames"], told["n_noted"]) == (1, 1)
