"""What is said of rounds that are over: on the terminal, as JSON, beside progress, and in a chart."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from anchored import answer_all, old_journal
from journals import empty_journal, small_journal

from analytics.charts.strictness import strictness_chart
from analytics.dataset import OpenJournal
from analytics.pages.again_rounds import rounds, shown_change
from journal.cli import load_commands, run
from journal.store.anchors import begin_round, put_off
from journal.store.opening import open_journal

NOW = datetime.now(UTC)


@pytest.fixture(autouse=True)
def _commands() -> None:
    load_commands()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return old_journal(tmp_path / "old.journal", 28)


def judged_again(path: Path, days_ago: int, n_rejected: int, n_kept: int) -> None:
    connection = open_journal(path)
    moment = NOW - timedelta(days=days_ago)
    begin_round(connection, days_ago, moment)
    answer_all(connection, moment, n_rejected, n_kept)
    connection.close()


def said(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert run([str(argument) for argument in arguments]) == 0
    return capsys.readouterr().out


def found(capsys: pytest.CaptureFixture[str], path: Path, command: str = "again") -> dict[str, Any]:
    return dict(json.loads(said(capsys, command, "--journal", path, "--json")))


@pytest.mark.parametrize(
    ("n_rejected", "n_kept", "beginning", "verdict", "beside_progress"),
    [
        (2, 20, "Your judging became milder, unless you used to keep only the best of a burst: you keep 20 of ",
         "milder", "Progress may partly be milder judging."),
        (20, 2, "Your judging became stricter: you keep 2 of ", "stricter", "Progress may be larger than it looks."),
        (6, 6, "There is no evidence that your judging became milder or stricter: you keep 6 of ", "no evidence",
         "there is no evidence that your judging became milder or stricter"),
    ],
)  # fmt: skip
def test_one_sentence_says_milder_stricter_or_neither(
    path: Path,
    capsys: pytest.CaptureFixture[str],
    n_rejected: int,
    n_kept: int,
    beginning: str,
    verdict: str,
    beside_progress: str,
) -> None:
    judged_again(path, 1, n_rejected, n_kept)
    told = found(capsys, path)
    assert told["sentence"].startswith(beginning)
    (line,) = told["rounds"]
    assert (line["verdict"], line["counts"]["n_keepers_rejected"]) == (verdict, n_rejected)
    assert line["found"]["low"] < line["found"]["change"] < line["found"]["high"]
    assert said(capsys, "again", "--journal", path).startswith(beginning)
    assert beside_progress in said(capsys, "progress", "--journal", path)
    assert beside_progress in found(capsys, path, "progress")["judging"]


def test_too_few_of_an_earlier_quarter_are_not_enough_evidence_yet(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    judged_again(path, 100, 0, 0)
    connection = open_journal(path)
    connection.execute("delete from anchor_verdicts where anchor_id % 5 <> 0")
    begin_round(connection, 5, NOW)
    connection.close()
    told = found(capsys, path)
    (line,) = told["rounds"]
    assert line["sentence"].startswith("There is not enough evidence yet to say whether your judging became milder or")
    assert line["sentence"].endswith("were judged again; 15 of each are needed.")
    assert "not enough yet" in said(capsys, "again", "--journal", path)
    assert found(capsys, path, "progress")["judging"] == ""


def test_rounds_are_compared_with_the_one_before(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    judged_again(path, 200, 3, 3)
    judged_again(path, 100, 1, 15)
    latest, first = found(capsys, path)["rounds"]
    assert first["since_last"] is None
    change, low, high = latest["since_last"]
    assert change == pytest.approx(latest["found"]["change"] - first["found"]["change"])
    assert low < change < high
    assert latest["since_first"] == latest["since_last"]
    assert shown_change(change, low, high) in said(capsys, "again", "--journal", path)


def test_a_later_round_that_is_milder_than_the_first_needs_no_condition(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    judged_again(path, 200, 4, 2)
    judged_again(path, 100, 1, 20)
    latest = found(capsys, path)["rounds"][0]
    assert (latest["verdict"], latest["is_sure"]) == ("milder", True)
    assert latest["sentence"].startswith("Your judging became milder since the first round: you keep 20 of ")
    assert f"against the first round it is {shown_change(*latest['since_first'])}." in latest["sentence"]
    assert "unless" not in found(capsys, path, "progress")["judging"]


def test_who_always_kept_only_the_best_of_a_burst_is_not_called_milder_for_it(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    judged_again(path, 200, 1, 25)
    judged_again(path, 100, 1, 17)
    latest, first = found(capsys, path)["rounds"]
    assert (first["verdict"], first["is_sure"], latest["is_sure"]) == ("milder", False, False)
    assert latest["since_first"][1] < 0 < latest["since_first"][2]
    assert "unless you used to keep only the best of a burst" in latest["sentence"]
    assert "unless you used to keep only the best of a burst" in found(capsys, path, "progress")["judging"]


def test_what_is_due_or_begun_is_said_where_progress_is(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    due = "It is time to judge some old frames again, or to put it off: thirdstop again"
    assert said(capsys, "progress", "--journal", path).splitlines()[-1] == due
    connection = open_journal(path)
    n = begin_round(connection, 5, NOW).n_pictures
    begun = f"{n} of {n} old pictures are to be judged again. Next: thirdstop serve, then Judge."
    assert said(capsys, "progress", "--journal", path).splitlines()[-1] == begun
    assert found(capsys, path)["state"] == {"kind": "open", "round_id": 1, "n_pictures": n, "n_left": n}
    connection.execute("delete from anchor_rounds")
    put_off(connection, NOW)
    connection.close()
    assert "again, or to put it off" not in said(capsys, "progress", "--journal", path)


def test_it_is_put_off_on_the_terminal(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "again", "--journal", path).startswith("It is time to judge some old frames again")
    assert said(capsys, "again", "--journal", path, "--put-off").startswith("There is nothing to judge again yet.")
    assert said(capsys, "again", "--journal", path).startswith("There is nothing to judge again yet.")


@pytest.mark.parametrize("make", [empty_journal, small_journal])
def test_without_old_verdicts_nothing_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str], make: Any) -> None:
    path = make(tmp_path / "new.journal")
    assert said(capsys, "again", "--journal", path).startswith("There is nothing to judge again yet.")
    assert found(capsys, path)["rounds"] == []


def test_a_round_whose_frames_were_all_removed_is_passed_over(path: Path) -> None:
    judged_again(path, 100, 3, 3)
    connection = open_journal(path)
    connection.execute("delete from anchors")
    connection.close()
    with OpenJournal(path) as journal:
        assert rounds(journal) == []


def test_a_change_of_nought_has_no_sign_of_its_own() -> None:
    assert shown_change(-0.001, -0.05, 0.04) == "0 (-5 to +4)"
    assert shown_change(0.126, 0.05, 0.2) == "+13 (+5 to +20)"


def test_the_chart_draws_every_interval_and_says_it_in_words(path: Path) -> None:
    judged_again(path, 200, 3, 3)
    judged_again(path, 100, 1, 15)
    with OpenJournal(path) as journal:
        lines = rounds(journal)[::-1]
    rows = [
        {"date": line.judged_on, "change": line.found.change, "low": line.found.low, "high": line.found.high,
         "n_judged": line.found.n_judged}
        for line in lines
    ]  # fmt: skip
    chart = strictness_chart(rows, "Did it?", "It did.")
    assert (chart["title"]["text"], chart["description"]) == ("Did it?", "Did it? It did.")
    data = chart["layer"][1]["data"]
    values = data["values"] if "values" in data else chart["datasets"][data["name"]]
    assert [value["change"] for value in values] == [100 * line.found.change for line in lines]
    ends = [f"{value['low']:+.0f} to {value['high']:+.0f}".replace("-", "−") for value in values]
    assert all(said in value["description"] for said, value in zip(ends, values, strict=True))
    reach = chart["layer"][1]["encoding"]["x"]["scale"]["domain"]
    assert reach[0] == -reach[1] and math.isfinite(reach[1])
