"""Who may give a verdict through a served journal, what is refused, and that what is sent again is given once."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest
from journals import HOSTILE, small_journal

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.answering import PAGE_POLICY
from analytics.dashboards.desk import Desk
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application
from analytics.pages.judge import FAULT_KEYS, suggestion_words
from journal.records.measures import Suggestion
from journal.store.accepting import LEAST_SURE, verdict_of
from journal.store.opening import open_journal, writing
from journal.store.verdicts import history

HOME = f"http://127.0.0.1:{DEFAULT_PORT}"
CLIENT = "0123456789abcdef"


class Judge:
    """Somebody with the page open: a cookie, a token and an origin, each of which can be taken away."""

    def __init__(self, application: Any, keys: Keys, journal: str) -> None:
        self.application, self.keys, self.journal = application, keys, journal
        self.cookies = {f"thirdstop_{DEFAULT_PORT}": keys.cookie}
        self.headers = {"origin": HOME, "x-thirdstop-token": keys.token, "content-type": "application/json"}

    def ask(self, method: str, path: str, **options: Any) -> httpx.Response:
        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.application)
            async with httpx.AsyncClient(transport=transport, base_url=HOME, cookies=self.cookies) as client:
                return await client.request(method, path, **options)

        return asyncio.run(asked())

    def post(self, path: str, body: dict[str, Any], **headers: str | None) -> httpx.Response:
        given = {**self.headers, **{name.replace("_", "-"): value for name, value in headers.items()}}
        kept = {name: value for name, value in given.items() if value is not None}
        return self.ask("POST", path, content=json.dumps(body), headers=kept)

    def give(self, frame: int, verdict: str, expected: int | None = None, told: int = 1, **more: Any) -> httpx.Response:
        body = {"journal": self.journal, "frame": frame, "verdict": verdict, "faults": [], "expected": expected}
        return self.post("/judge/verdicts", {**body, "told": f"{CLIENT}.{told}", **more})

    def take_back(self, frame: int, told: int = 1) -> httpx.Response:
        return self.post("/judge/take-back", {"journal": self.journal, "frame": frame, "told": f"{CLIENT}.{told}"})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Session 1: bursts 1 and 2 with frames 1 to 5 and 6 to 11, nothing judged."""
    path = small_journal(tmp_path / "test.journal", 2)
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'unjudged' where id <= 11")
    connection.execute("delete from frame_faults")
    connection.close()
    return path


@pytest.fixture
def judge(path: Path) -> Iterator[Judge]:
    keys = Keys()
    with ExitStack() as stack:
        pages = stack.enter_context(application(path, Reach(DEFAULT_PORT), keys))
        yield Judge(pages, keys, pages.desk.journal_id)


def verdicts(path: Path, frame: int) -> list[tuple[str, str | None]]:
    connection = open_journal(path)
    found = [(row["verdict"], row["faults"]) for row in history(connection, frame)]
    connection.close()
    return found


def test_every_fault_has_a_key_of_its_own() -> None:
    letters = [key.letter for key in FAULT_KEYS]
    assert len(set(letters)) == len(letters) == 8
    assert not {"k", "r"} & set(letters)


def test_a_verdict_is_given_and_comes_back_as_it_is_now(judge: Judge, path: Path) -> None:
    answer = judge.give(1, "reject", faults=["noise", "camera shake"])
    assert answer.status_code == 200
    frame = answer.json()["frame"]
    assert (frame["id"], frame["verdict"], set(frame["faults"])) == (1, "reject", {"noise", "camera shake"})
    assert frame["verdict_id"] is not None
    assert verdicts(path, 1) == [("reject", "camera shake; noise")]
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["content-security-policy"] == PAGE_POLICY


def test_what_is_sent_again_is_given_once(judge: Judge, path: Path) -> None:
    first, second = judge.give(1, "keeper"), judge.give(1, "keeper")
    assert (first.status_code, second.status_code) == (200, 200)
    assert first.json() == second.json()
    assert verdicts(path, 1) == [("keeper", None)]
    judge.take_back(1)
    assert judge.give(1, "keeper").json()["frame"]["verdict"] == "unjudged"  # it was taken back, and stays so


def test_a_verdict_is_taken_back_once_and_only_by_its_name(judge: Judge, path: Path) -> None:
    judge.give(1, "keeper")
    assert judge.take_back(1, told=2).json()["frame"]["verdict"] == "keeper"
    assert judge.take_back(2, told=1).json()["frame"]["verdict"] == "unjudged"
    for _ in range(2):
        answer = judge.take_back(1)
        assert (answer.status_code, answer.json()["frame"]["verdict"]) == (200, "unjudged")


def test_a_frame_that_somebody_judged_meanwhile_is_left_alone(judge: Judge, path: Path) -> None:
    judge.give(1, "keeper", told=1)
    answer = judge.give(1, "reject", expected=None, told=2)
    assert answer.status_code == 409
    told = answer.json()
    assert (told["problem"], told["next_step"]) == (
        "Frame 1 was judged meanwhile: it is keeper now.",
        "Look at it again, then judge it.",
    )
    assert told["frame"]["verdict"] == "keeper"
    assert judge.give(1, "reject", expected=told["frame"]["verdict_id"], told=3).status_code == 200
    assert [verdict for verdict, _ in verdicts(path, 1)] == ["keeper", "reject"]


@pytest.mark.parametrize("route", ["/judge/verdicts", "/judge/take-back"])
@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example"}, 403),
        ({"origin": f"http://localhost:{DEFAULT_PORT}"}, 403),
        ({"origin": f"https://127.0.0.1:{DEFAULT_PORT}"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": None}, 403),
        ({"sec_fetch_site": "cross-site"}, 403),
        ({"sec_fetch_site": "same-site"}, 403),
        ({"x_thirdstop_token": None}, 403),
        ({"x_thirdstop_token": ""}, 403),
        ({"x_thirdstop_token": "x" * 43}, 403),
        ({"content_type": "text/plain"}, 415),
        ({"content_type": "application/x-www-form-urlencoded"}, 415),
        ({"host": "evil.example"}, 421),
    ],
)
def test_a_posting_from_elsewhere_changes_nothing(
    judge: Judge, path: Path, route: str, headers: dict[str, str | None], status: int
) -> None:
    body: dict[str, Any] = {"journal": judge.journal, "frame": 1, "told": f"{CLIENT}.1"}
    if route == "/judge/verdicts":
        body |= {"verdict": "keeper", "faults": [], "expected": None}
    assert judge.post(route, body, **headers).status_code == status
    assert verdicts(path, 1) == []


@pytest.mark.parametrize("cookie", [None, "", "wrong"])
@pytest.mark.parametrize("route", ["/judge/verdicts", "/judge/take-back"])
def test_without_the_cookie_nothing_is_taken_even_with_the_token(
    judge: Judge, path: Path, route: str, cookie: str | None
) -> None:
    judge.cookies = {} if cookie is None else {f"thirdstop_{DEFAULT_PORT}": cookie}
    assert judge.give(1, "keeper").status_code == 403
    assert judge.take_back(1).status_code == 403
    for place in ("/judge", "/judge/1", "/judge/1/bursts", "/judge/token"):
        answer = judge.ask("GET", place)
        assert answer.status_code == 403
        assert judge.keys.token not in answer.text
    assert verdicts(path, 1) == []


@pytest.mark.parametrize("method", ["GET", "HEAD", "PUT", "DELETE", "PATCH", "OPTIONS"])
@pytest.mark.parametrize("route", ["/judge/verdicts", "/judge/take-back"])
def test_verdicts_are_only_posted(judge: Judge, route: str, method: str) -> None:
    answer = judge.ask(method, route, headers=judge.headers)
    assert (answer.status_code, answer.headers["allow"]) == (405, "POST")


@pytest.mark.parametrize("place", ["/judge", "/judge/1", "/judge/1/bursts", "/judge/token", "/frames/1", "/sessions/1"])
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_pages_are_only_read(judge: Judge, place: str, method: str) -> None:
    assert judge.ask(method, place, headers=judge.headers, content="{}").status_code == 405


@pytest.mark.parametrize(
    ("more", "status", "problem"),
    [
        ({"journal": "0" * 16}, 400, "This verdict belongs to another journal."),
        ({"frame": 999}, 404, "There is no frame 999 in this journal."),
        ({"frame": 2**63 - 1}, 404, "There is no frame 9223372036854775807 in this journal."),
        ({"frame": 2**63}, 400, "That is no verdict."),
        ({"frame": "1"}, 400, "That is no verdict."),
        ({"frame": True}, 400, "That is no verdict."),
        ({"frame": 1.0}, 400, "That is no verdict."),
        ({"verdict": "splendid"}, 400, "'splendid' is no verdict."),
        ({"verdict": None}, 400, "That is no verdict."),
        ({"verdict": "reject", "faults": ["<script>"]}, 400, "'<script>' is no fault this journal knows."),
        ({"verdict": "keeper", "faults": ["noise"]}, 400, "Frame 1 is no reject, so it has no fault."),
        ({"faults": "noise"}, 400, "That is no verdict."),
        ({"expected": "1"}, 400, "That is no verdict."),
        ({"expected": -1}, 400, "That is no verdict."),
        ({"told": "one"}, 400, "That is no verdict."),
        ({"told": HOSTILE}, 400, "That is no verdict."),
        ({"path": "/etc/passwd"}, 400, "That is no verdict."),
        ({"faults": ["noise"] * 1000}, 413, "That is more than a verdict needs."),
    ],
)
def test_what_is_no_verdict_is_refused(
    judge: Judge, path: Path, more: dict[str, Any], status: int, problem: str
) -> None:
    answer = judge.give(**{"frame": 1, "verdict": "keeper", **more})
    assert (answer.status_code, answer.json()["problem"]) == (status, problem)
    assert verdicts(path, 1) == []


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b"\xff", b"null", b"[" * 4000])
def test_what_is_no_json_is_refused(judge: Judge, body: bytes) -> None:
    assert judge.ask("POST", "/judge/verdicts", content=body, headers=judge.headers).status_code == 400


def test_the_keys_of_one_journal_open_no_other(judge: Judge, tmp_path: Path) -> None:
    other = small_journal(tmp_path / "other.journal", 1)
    with application(other, Reach(DEFAULT_PORT), Keys()) as pages:
        judge.application = pages
        assert judge.give(1, "keeper").status_code == 403
    assert verdicts(other, 1) == []


def test_a_journal_that_cannot_be_written_says_so_and_keeps_the_page(
    judge: Judge, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("journal.store.opening.BUSY_TIMEOUT_MS", 50)
    writer = open_journal(path)
    writer.execute("begin immediate")
    answer = judge.give(1, "keeper")
    assert (answer.status_code, answer.json()["problem"].startswith("Another program is writing")) == (503, True)
    assert judge.ask("GET", "/judge/1").status_code == 200
    assert judge.ask("GET", "/judge/1/bursts").status_code == 200
    writer.execute("rollback")
    writer.close()
    assert judge.give(1, "keeper").status_code == 200


def test_verdicts_are_given_while_somebody_else_writes_all_the_time(judge: Judge, path: Path) -> None:
    stopping = threading.Event()

    def write() -> None:
        connection = open_journal(path)
        while not stopping.is_set():
            with writing(connection):
                connection.execute("update sessions set notes = notes || '.' where id = 2")
        connection.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        answers = [judge.give(frame, "keeper", told=frame).status_code for frame in range(1, 12)]
        assert judge.ask("GET", "/judge/1/bursts?all=1").status_code == 200
    finally:
        stopping.set()
        writer.join()
    assert answers == [200] * 11
    assert [verdicts(path, frame) for frame in range(1, 12)] == [[("keeper", None)]] * 11


def test_bursts_come_in_order_and_hostile_names_stay_data(judge: Judge) -> None:
    answer = judge.ask("GET", "/judge/1/bursts")
    assert answer.headers["content-type"] == "application/json; charset=utf-8"
    assert answer.headers["x-content-type-options"] == "nosniff"
    found = answer.json()
    assert [burst["id"] for burst in found["bursts"]] == [1, 2]
    assert [frame["id"] for burst in found["bursts"] for frame in burst["frames"]] == list(range(1, 12))
    assert found["bursts"][0]["frames"][1]["name"] == HOSTILE
    assert found["more"] is False
    assert judge.ask("GET", "/judge/1/bursts?after=1").json()["bursts"][0]["id"] == 2
    assert judge.ask("GET", "/judge/1/bursts?after=2").json()["bursts"] == []
    for gone in ("999", "x", "9" * 30):
        assert judge.ask("GET", f"/judge/1/bursts?after={gone}").json() == found
    assert judge.ask("GET", "/judge/99/bursts").json() == {"bursts": [], "more": False}


def test_judged_bursts_are_passed_over_unless_all_are_asked_for(judge: Judge) -> None:
    for frame in range(1, 6):
        judge.give(frame, "keeper", told=frame)
    assert [burst["id"] for burst in judge.ask("GET", "/judge/1/bursts").json()["bursts"]] == [2]
    assert [burst["id"] for burst in judge.ask("GET", "/judge/1/bursts?all=1").json()["bursts"]] == [1, 2]


def test_a_burst_is_called_by_its_place_in_the_session_whatever_is_judged(judge: Judge) -> None:
    places = [(burst["id"], burst["place"]) for burst in judge.ask("GET", "/judge/2/bursts?all=1").json()["bursts"]]
    assert places == [(3, 1), (4, 2)]
    for frame in range(1, 6):
        judge.give(frame, "keeper", told=frame)
    assert [burst["place"] for burst in judge.ask("GET", "/judge/1/bursts").json()["bursts"]] == [2]


def test_the_pages_show_what_is_left_and_trust_no_text(judge: Judge) -> None:
    text = judge.ask("GET", "/judge/1").text
    assert "<img src=x" not in text
    assert "&lt;img src=x onerror=alert(1)&gt;" in text
    assert text.count('class="fault"') == 8
    assert judge.keys.token not in text
    assert judge.ask("GET", "/judge/1").headers.get_list("content-security-policy") == [PAGE_POLICY]
    assert 'href="/judge/1"' in judge.ask("GET", "/sessions/1").text
    assert 'aria-label="Judge session 2"' in judge.ask("GET", "/judge").text
    assert judge.ask("GET", "/judge/99").status_code == 404


def test_a_suggestion_is_taken_only_where_it_can_be_told() -> None:
    def told(fault: str | None, unsure: bool, **chances: float) -> str:
        named = {name.replace("_", " "): chance for name, chance in chances.items()}
        suggestion = Suggestion(fault, max(named.values(), default=None), unsure, named, (), "1")
        return suggestion_words(suggestion, verdict_of(1, suggestion, LEAST_SURE))

    assert told("noise", False, noise=0.8, camera_shake=0.6) == (
        "reject for noise (probability 0.80) and camera shake (probability 0.60)"
    )
    assert told("overexposed", False, overexposed=0.8) == "reject as overexposed (probability 0.80)"
    assert told(None, False, noise=0.1) == "keeper; no fault stands out"
    assert told(None, True, noise=0.4) == "none, for the picture does not tell"
    assert told("noise", True, noise=0.7) == "none, for the picture does not tell; perhaps noise (probability 0.70)"
    assert suggestion_words(None, None) == "none, not examined yet (thirdstop examine)"


def test_journals_are_told_apart_by_where_they_are_without_saying_it(tmp_path: Path) -> None:
    desks = [Desk(small_journal(tmp_path / name, 1)) for name in ("one.journal", "two.journal")]
    names = [desk.journal_id for desk in desks]
    assert len(set(names)) == 2
    assert not any("journal" in name or len(name) != 16 for name in names)
    for desk in desks:
        desk.close()
