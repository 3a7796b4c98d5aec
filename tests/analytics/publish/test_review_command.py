"""The mentor's round trip on the command line: made, answered, read once, shown beside the own verdicts."""

from __future__ import annotations

import base64
import json
import re
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from journals import PREVIEW, changed, small_journal

from analytics.pages.bare_picture import only_pixels
from journal.cli import load_commands, run

AT = "2026-04-02T18:00:00.000Z"


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    load_commands()
    return small_journal(tmp_path / "a.journal", 12, is_simulated=True)


def made(journal: Path, file: Path, *more: str) -> str:
    """The key of a review that is made now."""
    assert run(["review", "--journal", str(journal), "--output", str(file), *more]) == 0
    found = re.search(
        r'"review":\{"format":"thirdstop comments","version":1,"key":"([0-9a-f]{32})"\}', file.read_text("utf-8")
    )
    assert found is not None
    return found[1]


def answered(folder: Path, review: str, **parts: Any) -> Path:
    file = folder / "comments.json"
    whole = {"format": "thirdstop comments", "version": 1, "review": review, "mentor": "Ida", "saved_at": AT}
    file.write_text(json.dumps({**whole, "comments": [], "verdicts": [], **parts}), encoding="utf-8")
    return file


def verdicts(said: dict[int, str]) -> list[dict[str, Any]]:
    return [
        {"key": f"{frame:032x}", "frame": frame, "verdict": verdict, "faults": [], "said_at": AT}
        for frame, verdict in said.items()
    ]


def test_a_review_holds_the_chosen_sessions_the_questions_and_the_chosen_frames(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made(journal, tmp_path / "r.html", "--session", "2", "--question", "Too <b>slow</b>?", "--frame", "1")
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith(f"Simulated data. Review 1: {tmp_path / 'r.html'} (")
    html = (tmp_path / "r.html").read_text("utf-8")
    assert "Too &lt;b&gt;slow&lt;/b&gt;?" in html
    assert 'href="#session-2"' in html and 'href="#session-3"' not in html
    connection = sqlite3.connect(journal)
    assert connection.execute("select questions, is_simulated from reviews").fetchone() == ('["Too <b>slow</b>?"]', 1)
    assert connection.execute("select session_id from review_sessions").fetchall() == [(2,)]
    assert (1,) in connection.execute("select frame_id from review_frames").fetchall()
    connection.close()


def test_a_period_that_is_none_and_a_file_that_is_there_are_refused(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--journal", str(journal), "--output", str(tmp_path / "r.html")]
    assert run(["review", *options, "--since", "spring"]) == 1
    assert capsys.readouterr().err == ("Error: 'spring' is no day for --since.\n  Next: Write it like 2026-03-01.\n")
    made(journal, tmp_path / "r.html", "--since", "2026-03-03", "--until", "2026-03-05")
    assert run(["review", *options]) == 1
    assert "There is a file at" in capsys.readouterr().err
    connection = sqlite3.connect(journal)
    assert connection.execute("select session_id from review_sessions").fetchall() == [(3,), (4,), (5,)]
    assert connection.execute("select count(*) from reviews").fetchone() == (1,)
    connection.close()


def test_an_answer_is_shown_first_and_taken_in_once(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    key = made(journal, tmp_path / "r.html", "--session", "2")
    comment = {"key": "c" * 32, "about": "session", "session": 2, "body": "=Go closer.", "said_at": AT}
    elsewhere = {"key": "d" * 32, "about": "session", "session": 3, "body": "Where?", "said_at": AT}
    file = answered(tmp_path, key, comments=[comment, elsewhere], verdicts=verdicts({12: "reject"}))
    capsys.readouterr()
    read = ["review", "read", str(file), "--journal", str(journal)]
    assert run([*read, "--dry-run"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "Review 1, from somebody who gives the name Ida (not verified): 1 new comments, 1 new verdicts.",
        "- session 2: =Go closer.",
        "- frame 12: reject",
        "1 are about nothing in this review and are left out.",
        "Nothing was written.",
    ]
    monkeypatch.setattr("typer.confirm", lambda _: False)
    assert run(read) == 0
    assert run([*read, "--json"]) == 1
    capsys.readouterr()
    assert run([*read, "--yes"]) == 0
    assert run([*read, "--yes", "--json"]) == 0
    told = json.loads(capsys.readouterr().out.split("comments\n", 1)[1])
    assert told == {
        **{"review": 1, "mentor": "Ida", "n_comments": 0, "n_verdicts": 0, "n_known": 2},
        **{"n_elsewhere": 1, "is_dry_run": False},
    }
    assert run(["review", "list", "--journal", str(journal), "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["reviews"][0]
    assert (listed["n_sessions"], listed["n_comments"], listed["n_verdicts"]) == (1, 1, 1)


def test_the_answer_to_a_review_of_another_journal_is_refused(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = small_journal(tmp_path / "b.journal")
    file = answered(tmp_path, made(other, tmp_path / "r.html"))
    capsys.readouterr()
    assert run(["review", "read", str(file), "--journal", str(journal), "--yes"]) == 1
    assert "a review that this journal did not make" in capsys.readouterr().err


def test_verdicts_are_shown_beside_the_own_with_the_agreement(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The photographer keeps frames 1 to 4 and 6 of each session's ten, the mentor 1 to 5: two of ten differ."""
    key = made(journal, tmp_path / "r.html")
    said = {
        11 * session + place + 1: "keeper" if place < 5 else "reject" for session in range(12) for place in range(10)
    }
    file = answered(tmp_path, key, verdicts=verdicts(said))
    assert run(["review", "read", str(file), "--journal", str(journal), "--yes"]) == 0
    capsys.readouterr()
    assert run(["review", "comments", "--journal", str(journal), "--json"]) == 0
    page = json.loads(capsys.readouterr().out)
    found = page["agreements"][0]["found"]
    assert (found["n_frames"], found["n_bursts"], found["n_same"], found["is_enough"]) == (120, 24, 96, True)
    assert found["kappa"] == pytest.approx((0.8 - 0.5) / 0.5)  # both keep half
    assert page["verdicts"][4] == {
        **{"frame_id": 5, "mentor": "Ida", "theirs": "keeper", "own": "reject: camera shake", "is_same": False}
    }
    assert run(["review", "comments", "--journal", str(journal)]) == 0
    text = capsys.readouterr().out
    assert "You and Ida say the same of 96 of 120 frames; beyond chance that is kappa 0.60 (" in text
    assert "A review shows your verdicts beside the frames" in text


def test_few_verdicts_say_nothing_of_the_agreement(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = answered(tmp_path, made(journal, tmp_path / "r.html"), verdicts=verdicts({1: "keeper", 11: "keeper"}))
    assert run(["review", "read", str(file), "--journal", str(journal), "--yes"]) == 0
    capsys.readouterr()
    assert run(["review", "comments", "--journal", str(journal), "--review", "1"]) == 0
    assert "You and Ida say the same of 1 of 1 frame: not enough yet" in capsys.readouterr().out
    assert run(["review", "comments", "--journal", str(journal), "--review", "7"]) == 1
    assert "There is no review 7 in this journal." in capsys.readouterr().err


def test_an_option_before_a_command_of_the_group_is_refused(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", "--journal", str(journal), "list"]) == 1
    assert capsys.readouterr().err == (
        "Error: --journal stands before list.\n  Next: Put it behind: thirdstop review list ... --journal\n"
    )


def shown_in(html: str) -> tuple[set[int], set[int]]:
    """The frames that a file names, in its table of numbers and on its pages, and those of which it has a picture."""
    found = re.search(r"window\.thirdstopData = (\{.*\});\n", html)
    assert found is not None
    data = json.loads(found[1].replace("<\\/script", "</script"))
    on_pages = {int(number) for listed in re.findall(r'data-frames="([\d ]*)"', html) for number in listed.split()}
    return on_pages | set(data["frames"]["number"]), {int(number) for number in data["pictures"]}


def test_only_frames_that_were_chosen_are_in_a_review(simulated_year: Path, tmp_path: Path) -> None:
    load_commands()
    path = tmp_path / "year.journal"
    shutil.copy(simulated_year, path)
    connection = sqlite3.connect(path)
    sessions = dict(connection.execute("select id, session_id from frames").fetchall())
    connection.execute("delete from previews")
    connection.executemany("insert into previews values (?, ?)", [(frame, PREVIEW) for frame in sessions])
    connection.commit()
    connection.close()
    last, other = max(sessions.values()), min(frame for frame, session in sessions.items() if session == 3)
    made(path, tmp_path / "r.html", "--session", str(last), "--session", "2", "--frame", str(other))
    html = (tmp_path / "r.html").read_text("utf-8")
    named, pictured = shown_in(html)
    assert {sessions[frame] for frame in named - {other}} == {2, last}
    assert other in named and pictured <= named
    assert re.search(
        r"Lost at the limit and beyond, each from another burst: \d+ shown from the chosen sessions( and frames)?, "
        r"of [\d,]+ rejects in the journal",
        html,
    )
    assert html.count(base64.b64encode(only_pixels(PREVIEW) or b"").decode()) == len(pictured)


def test_a_review_says_where_no_chosen_frame_shows_a_habit(simulated_year: Path, tmp_path: Path) -> None:
    load_commands()
    path = tmp_path / "year.journal"
    shutil.copy(simulated_year, path)
    names = "intent, priority, camera_support, started_at, ended_at, created_at, changed_at, is_simulated"
    changed(path, f"insert into sessions (id, {names}) select 900, {names} from sessions where id = 1")
    made(path, tmp_path / "r.html", "--session", "900")
    html = (tmp_path / "r.html").read_text("utf-8")
    assert shown_in(html) == (set(), set())
    said = html.count("None of the frames that show it is in the chosen sessions.")
    assert said + html.count("None of the rejects that count here is in the chosen sessions.") >= 3


def test_a_review_says_who_you_are(journal: Path, tmp_path: Path) -> None:
    made(journal, tmp_path / "r.html", "--session", "2", "--session", "3", "--frame", "1")
    html = (tmp_path / "r.html").read_text("utf-8")
    first, *others = html.split('<section class="page"')[1:]
    spoken_to = "“you” is the photographer"
    assert f"On the other pages {spoken_to}" in first and f"On this page {spoken_to}" not in first
    assert all(f"On this page {spoken_to}" in page for page in others if not page.startswith(' id="chosen"'))


def test_a_review_counts_only_what_it_would_have_held_as_left_out(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made(journal, tmp_path / "r.html", "--session", "2", "--session", "3", "--frame", "1")
    said = capsys.readouterr().out
    held = re.search(r"In it: 2 sessions, (\d+) frames,", said)
    assert held is not None
    assert "Left out: intents in words of 2 sessions (--with-intents).\n" in said
    assert f"Left out: file names of {held[1]} frames (--with-file-names).\n" in said


def test_a_review_says_how_much_of_the_journal_is_in_it(journal: Path, tmp_path: Path) -> None:
    made(journal, tmp_path / "r.html", "--session", "2", "--session", "3", "--frame", "1")
    html = (tmp_path / "r.html").read_text("utf-8")
    assert '<h1 tabindex="-1">2 of 12 sessions were chosen, the newest first.</h1>' in html
    assert "<h2>The chosen frame</h2>" in html
    assert "<h2>The newest of the chosen sessions</h2>" in html and "The last session" not in html
    made(journal, tmp_path / "one.html", "--session", "2", "--frame", "1", "--frame", "12")
    html = (tmp_path / "one.html").read_text("utf-8")
    assert "1 of 12 sessions was chosen." in html and "<h2>The chosen frames</h2>" in html
