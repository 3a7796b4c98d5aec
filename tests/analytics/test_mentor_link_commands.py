"""`serve --mentor`, `review links` and `review withdraw`: links that are shown, listed, and taken back while in use."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import httpx
import pytest
from journals import small_journal

from analytics.cli.serve import links_for
from analytics.dashboards.secret_files import SIGNING_FILE, read_private, signing_secret, write_private
from journal.cli import load_commands, run
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

START = [sys.executable, "-c", "from journal.cli import main; main()"]


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    load_commands()
    return small_journal(tmp_path / "a.journal", 2)


@contextmanager
def serving(path: Path, *options: str) -> Iterator[list[str]]:
    """The lines that `thirdstop serve` prints before it serves; they end where it tells how to end a link."""
    command = [*START, "serve", "--no-browser", "--port", "18733", "--journal", str(path), *options]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    lines: list[str] = []
    while not lines or not ("review withdraw" in lines[-1] or ("End it with" in lines[-1] and not options)):
        lines.append(process.stdout.readline().rstrip())
    try:
        yield lines
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)


def link_in(lines: list[str]) -> str:
    return next(line.split()[-1] for line in lines if "?mentor=" in line)


def test_a_mentors_link_is_shown_with_its_end_and_taken_back_while_the_server_runs(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    until = (datetime.now(UTC) + timedelta(days=14)).date().isoformat()
    with serving(path, "--mentor", "Ada Quill") as lines:
        link = link_in(lines)
        assert any(line.startswith(f"For Ada Quill, until {until}: http://127.0.0.1:") for line in lines)
        with httpx.Client() as client:
            assert client.get(link).status_code == 200
            home = link.partition("?")[0]
            assert client.get(home).status_code == 200
            assert client.get(f"{home}journal").status_code == 403
            assert run(["review", "withdraw", "1", "--journal", str(path)]) == 0
            answer = client.get(home)
            assert (answer.status_code, answer.text) == (
                403,
                "This link was withdrawn. Ask the photographer for a new one.\n",
            )
    assert capsys.readouterr().out == ("Link 1 to Ada Quill is withdrawn. What came through it stays in the journal.\n")


def test_a_link_is_shown_again_while_it_counts_and_made_anew_where_other_days_are_asked_for(path: Path) -> None:
    (first,) = links_for(path, ["Ada Quill"], None)
    again, other = links_for(path, [" Ada Quill", "Bo Ferris"], None)
    (shorter,) = links_for(path, ["Ada Quill"], 3)
    assert again == first
    assert len({first.key, other.key, shorter.key}) == 3
    assert shorter.expires_at < first.expires_at
    assert run(["review", "withdraw", "1", "--journal", str(path)]) == 0
    assert links_for(path, ["Ada Quill"], None) == [shorter]  # it is open still


def test_the_links_are_listed_with_their_state(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", "links", "--journal", str(path)]) == 0
    assert capsys.readouterr().out == "No mentor was given a link yet. Next: thirdstop serve --mentor NAME\n"
    links_for(path, ["Ada Quill", "Bo Ferris"], 2)
    assert run(["review", "withdraw", "1", "--journal", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["mentor"] == "Ada Quill"
    assert run(["review", "links", "--journal", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["links"]
    assert [(one["link"], one["mentor"], one["state"], one["n_comments"]) for one in found] == [
        (2, "Bo Ferris", "open", 0),
        (1, "Ada Quill", "withdrawn", 0),
    ]
    assert not [name for name in found[0] if "key" in name]
    assert run(["review", "links", "--journal", str(path)]) == 0
    assert "withdrawn" in capsys.readouterr().out
    assert run(["review", "withdraw", "7", "--journal", str(path)]) == 1


def test_the_secret_is_made_once_and_nobody_else_may_read_it(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "data"
    first = signing_secret(folder)
    file = folder / SIGNING_FILE
    assert signing_secret(folder) == first
    assert len(first) == 64
    assert file.stat().st_mode & 0o777 == 0o600
    assert [each.name for each in folder.iterdir()] == [SIGNING_FILE]
    write_private(file, "another", is_new=True)
    assert read_private(file).encode() == first
    file.chmod(0o644)
    with pytest.raises(JournalError) as caught:
        signing_secret(folder)
    assert str(caught.value) == (f"Others can read {file}.\n  Next: If nobody has: chmod 600 {file}; else delete it.")
    file.chmod(0o600)
    file.write_text("short", encoding="utf-8")
    with pytest.raises(JournalError) as caught:
        signing_secret(folder)
    assert str(caught.value) == f"{file} is cut short.\n  Next: Delete it; every mentor then needs a new link."
