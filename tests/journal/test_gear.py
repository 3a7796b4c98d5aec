"""Gear that is named in a log: it has a name, and it is one piece however it was typed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from journal.cli import load_commands, run
from journal.errors import JournalError
from journal.records.sessions import Session
from journal.store.gear import gear_of_session, link_gear, list_bodies, list_lenses, state_body, state_lens
from journal.store.opening import open_journal
from journal.store.sessions import add_session

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = open_journal(tmp_path / "test.journal")
    add_session(connection, Session("2026-03-01T06:40:00Z", "2026-03-01T07:40:00Z", intent="rowing at dawn"))
    yield connection
    connection.close()


def test_a_body_or_lens_without_a_model_is_refused(journal: sqlite3.Connection) -> None:
    with pytest.raises(JournalError, match="A body without a model cannot be told from others"):
        state_body(journal, "  ", base_iso=100)
    with pytest.raises(JournalError, match="A lens without a model cannot be told from others"):
        state_lens(journal, "")
    assert (list_bodies(journal), list_lenses(journal)) == ([], [])


def test_spaces_around_a_model_make_no_second_body(journal: sqlite3.Connection) -> None:
    link_gear(journal, 1, ["Tidewell M1", " tidewell m1 "], ["35 mm", "35 mm "])
    assert gear_of_session(journal, 1) == (["Tidewell M1"], ["35 mm"])


def test_a_session_without_stated_gear_has_none(journal: sqlite3.Connection) -> None:
    assert gear_of_session(journal, 1) == ([], [])


def test_what_is_stated_of_gear_is_given_back_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    load_commands()
    where = ["--journal", str(tmp_path / "a.journal"), "--json"]
    assert run(["gear", "body", "Tidewell M1", "--sensor", "full-frame", "--stabilised", *where]) == 0
    body = json.loads(capsys.readouterr().out)
    assert (body["model"], body["sensor_width_mm"], body["is_stabilised"], body["n_frames"]) == (
        "Tidewell M1",
        36,
        1,
        0,
    )
    assert run(["gear", "lens", "Tidewell 35 mm f/1.8", "--focal", "35", "--widest", "f/1.8", *where]) == 0
    lens = json.loads(capsys.readouterr().out)
    assert (lens["focal_length_min_mm"], lens["widest_f_number"], lens["n_frames"]) == (35, 1.8, 0)
