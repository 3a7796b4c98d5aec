"""Judging again through a served journal: what is offered, what may be sent, and that nothing tells the old verdict."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from anchored import answer_all, old_journal
from journals import HOSTILE, small_journal
from visiting import served

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.answering import PAGE_POLICY
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application
from journal.store.anchors import begin_round
from journal.store.opening import open_journal

HOME = f"http://127.0.0.1:{DEFAULT_PORT}"
CLIENT = "0123456789abcdef"
POSTED = ("/judge/again/verdicts", "/judge/again/take-back", "/judge/again/begin", "/judge/again/put-off")


class Visitor:
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

    def get(self, path: str) -> str:
        answer = self.ask("GET", path)
        assert answer.status_code == 200
        return answer.text

    def post(self, path: str, body: dict[str, Any], **headers: str | None) -> httpx.Response:
        given = {**self.headers, **{name.replace("_", "-"): value for name, value in headers.items()}}
        kept = {name: value for name, value in given.items() if value is not None}
        return self.ask("POST", path, content=json.dumps({"journal": self.journal, **body}), headers=kept)

    def say(self, frame: int, verdict: str, told: int = 1, **more: Any) -> httpx.Response:
        body = {"frame": frame, "verdict": verdict, "faults": [], "expected": None, "told": f"{CLIENT}.{told}"}
        return self.post("/judge/again/verdicts", {**body, **more})

    def take_back(self, frame: int, told: int = 1) -> httpx.Response:
        return self.post("/judge/again/take-back", {"frame": frame, "told": f"{CLIENT}.{told}"})

    def pictures(self, after: int = 0) -> list[dict[str, Any]]:
        bursts = json.loads(self.get(f"/judge/again/bursts?after={after}"))["bursts"]
        return [frame for burst in bursts for frame in burst["frames"]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return old_journal(tmp_path / "old.journal")


@pytest.fixture
def visitor(path: Path) -> Iterator[Visitor]:
    keys = Keys()
    with ExitStack() as stack:
        pages = stack.enter_context(application(path, Reach(DEFAULT_PORT), keys))
        yield Visitor(pages, keys, pages.desk.journal_id)


def rows(path: Path, sql: str) -> list[tuple[Any, ...]]:
    connection = open_journal(path)
    found = [tuple(row) for row in connection.execute(sql)]
    connection.close()
    return found


def test_it_is_offered_in_a_quiet_line_and_can_be_put_off(visitor: Visitor, path: Path) -> None:
    assert visitor.get("/judge").count('href="/judge/again"') == 1
    page = visitor.get("/judge/again")
    assert "It is time to judge some old frames again" in page
    assert visitor.ask("GET", "/judge/again").headers.get_list("content-security-policy") == [PAGE_POLICY]
    assert visitor.post("/judge/again/put-off", {}).status_code == 200
    assert "/judge/again" not in visitor.get("/judge")
    assert "There is nothing to judge again yet." in visitor.get("/judge/again")
    assert visitor.get("/judge/again").count('rel="stylesheet"') == page.count('rel="stylesheet"') - 1  # ordinary width
    assert rows(path, "select count(*) from anchor_rounds") == [(0,)]


def test_a_journal_without_old_verdicts_is_left_in_peace(tmp_path: Path) -> None:
    keys = Keys()
    with application(small_journal(tmp_path / "new.journal"), Reach(DEFAULT_PORT), keys) as pages:
        visitor = Visitor(pages, keys, pages.desk.journal_id)
        assert "/judge/again" not in visitor.get("/judge")
        answer = visitor.post("/judge/again/begin", {})
        assert (answer.status_code, answer.json()["problem"]) == (
            409,
            "Only 0 old keepers and as many rejects of different bursts can be judged again; 15 of each are needed.",
        )


def test_it_is_begun_once_and_goes_on_where_it_was(visitor: Visitor, path: Path) -> None:
    for _ in range(2):
        assert visitor.post("/judge/again/begin", {}).status_code == 200
    assert rows(path, "select count(*) from anchor_rounds") == [(1,)]
    first, second = visitor.pictures()[:2]
    assert (first["place"], second["place"]) == (1, 2)
    assert visitor.say(first["id"], "keeper").json()["frame"]["verdict"] == "keeper"
    assert visitor.pictures()[0] == second
    n = rows(path, "select count(*) from anchors")[0][0]
    assert f"{n - 1} of {n} old pictures are to be judged again." in visitor.get("/judge")
    assert f'data-frames="{n}" data-unjudged="{n - 1}"' in visitor.get("/judge/again")


def test_what_is_sent_twice_is_kept_once_and_can_be_taken_back(visitor: Visitor, path: Path) -> None:
    visitor.post("/judge/again/begin", {})
    frame = visitor.pictures()[0]["id"]
    for _ in range(2):
        answer = visitor.say(frame, "reject", faults=["noise"])
        assert (answer.status_code, answer.json()["frame"]["faults"]) == (200, ["noise"])
    assert visitor.say(frame, "keeper", told=2).json()["frame"]["verdict"] == "keeper"
    assert visitor.take_back(frame, told=2).json()["frame"]["verdict"] == "reject"
    assert rows(path, "select verdict, taken_back_at is not null from anchor_verdicts order by id") == [
        ("reject", 0),
        ("keeper", 1),
    ]


def test_no_page_and_no_answer_tells_what_was_said_before(visitor: Visitor, path: Path) -> None:
    """Every frame is renamed, dated and suggested after its own old verdict; none of it comes through."""
    connection = open_journal(path)
    connection.execute("update frames set file_name = 'OLD-' || verdict || '.jpg', taken_at = '2021-03-01T06:40:59Z'")
    connection.execute(
        "insert into suggestions select id, '1', null, 0.1, 0, '{}', '[\"OLD-' || verdict || '\"]', 'x' from frames"
    )
    connection.close()
    visitor.post("/judge/again/begin", {})
    pictures = visitor.pictures()
    old = dict(rows(path, "select frame_id, old_verdict from anchors"))
    keepers = [picture for picture in pictures if old[picture["id"]] == "keeper"]
    rejects = [picture for picture in pictures if old[picture["id"]] == "reject"]
    assert keepers and rejects
    shared = {"verdict": "unjudged", "faults": [], "verdict_id": None, "preview": True, "original": False}
    for picture in pictures:
        assert {name: picture[name] for name in shared} == shared
        assert set(picture) == {"id", "place", "settings", *shared}
    texts = [
        visitor.get(place) for place in ("/judge/again", "/judge", "/judge/again/bursts", "/judge/again/bursts?after=9")
    ]
    told = visitor.say(pictures[0]["id"], "keeper").text
    for text in (*texts, told):
        assert not re.search(
            "OLD-|06:40:59|camera shake|old_verdict|evidence|suggested|sessions/", _without_words(text)
        )
    words = {picture["verdict"] for picture in visitor.pictures()}
    assert words == {"unjudged"}


def _without_words(text: str) -> str:
    """A page without the names of the faults that its buttons carry, and without the sessions to judge."""
    return re.sub(r'<button type="button" class="fault".*?</button>|<table>.*?</table>', "", text, flags=re.S)


def test_an_open_round_shows_no_results_and_a_finished_one_does(visitor: Visitor, path: Path) -> None:
    now = datetime.now(UTC)
    visitor.post("/judge/again/begin", {})
    connection = open_journal(path)
    answer_all(connection, now, n_rejected=1, n_kept=14)
    last = connection.execute("select frame_id from anchors where place = 1").fetchone()[0]
    connection.execute("update anchor_verdicts set taken_back_at = 'x' where told = ?", [f"test.{last}"])
    connection.close()
    for place in ("/judge/again", "/judge", "/progress"):
        assert not re.search("unless you used|old rejects kept|became milder by|no evidence", visitor.get(place))
    answer = visitor.say(last, rows(path, "select old_verdict from anchors where place = 1")[0][0])
    assert answer.json()["left"] == 0
    page = visitor.get("/judge/again")
    assert re.search(
        r"<h1>Your judging became milder, unless .*: you keep \d+ of \d+ old rejects now and reject \d of", page
    )
    assert "Did your judging become milder or stricter?" in visitor.get("/judge")
    assert "your judging became milder by" in visitor.get("/progress")
    assert "Progress may partly be milder judging." in visitor.get("/progress")


def test_rates_and_verdicts_stay_as_they_are(visitor: Visitor, path: Path) -> None:
    before = [visitor.get(place) for place in ("/", "/sessions/1", "/limits", "/habits")]
    kept = rows(path, "select * from frames"), rows(path, "select * from verdicts"), rows(path, "select * from cells")
    visitor.post("/judge/again/begin", {})
    connection = open_journal(path)
    answer_all(connection, datetime.now(UTC), n_rejected=20, n_kept=2)
    connection.close()
    assert [visitor.get(place) for place in ("/", "/sessions/1", "/limits", "/habits")] == before
    assert kept == (
        rows(path, "select * from frames"),
        rows(path, "select * from verdicts"),
        rows(path, "select * from cells"),
    )


#: What a page of this server never sends, and what it is answered.
FOREIGN: tuple[tuple[dict[str, str | None], int], ...] = (
    ({"origin": "http://evil.example"}, 403),
    ({"origin": "null"}, 403),
    ({"origin": None}, 403),
    ({"sec_fetch_site": "cross-site"}, 403),
    ({"sec_fetch_site": "same-site"}, 403),
    ({"x_thirdstop_token": None}, 403),
    ({"x_thirdstop_token": "x" * 43}, 403),
    ({"content_type": "text/plain"}, 415),
    ({"host": "evil.example"}, 421),
)


@pytest.mark.parametrize("route", POSTED)
def test_a_posting_from_elsewhere_changes_nothing(visitor: Visitor, path: Path, route: str) -> None:
    for headers, status in FOREIGN:
        assert visitor.post(route, _body(route), **headers).status_code == status
    assert rows(path, "select (select count(*) from anchor_rounds) + (select count(*) from settings)") == [(0,)]


def _body(route: str) -> dict[str, Any]:
    if route.endswith("verdicts"):
        return {"frame": 1, "verdict": "keeper", "faults": [], "expected": None, "told": f"{CLIENT}.1"}
    return {"frame": 1, "told": f"{CLIENT}.1"} if route.endswith("take-back") else {}


@pytest.mark.parametrize("route", POSTED)
def test_without_the_cookie_nothing_is_taken_or_shown(visitor: Visitor, path: Path, route: str) -> None:
    visitor.cookies = {}
    assert visitor.post(route, _body(route)).status_code == 403
    for place in ("/judge/again", "/judge/again/bursts"):
        assert visitor.ask("GET", place).status_code == 403
    assert rows(path, "select count(*) from anchor_rounds") == [(0,)]


def test_a_mentor_reads_what_it_says_of_progress_and_nothing_else_of_it(path: Path) -> None:
    connection = open_journal(path)
    begin_round(connection, 1, datetime.now(UTC))
    answer_all(connection, datetime.now(UTC), n_kept=15)
    connection.close()
    with served(path) as place:
        mentor = place.mentor()
        for page in ("/judge/again", "/judge/again/bursts"):
            assert mentor.get(page).status_code == 403
        for route in POSTED:
            body = {"journal": place.application.desk.journal_id, **_body(route)}
            headers = {"origin": HOME, "x-thirdstop-token": place.keys.token, "content-type": "application/json"}
            assert mentor.ask("POST", route, content=json.dumps(body), headers=headers).status_code == 403
        text = mentor.get("/progress").text
        assert "your judging became milder by" in text
        assert "/judge/again" not in text
        assert "/judge/again" in place.photographer().get("/progress").text
    assert rows(path, "select count(*) from anchor_rounds") == [(1,)]


def test_postings_are_only_posted_and_pages_only_read(visitor: Visitor) -> None:
    for route in POSTED:
        for method in ("GET", "HEAD", "PUT", "DELETE"):
            answer = visitor.ask(method, route, headers=visitor.headers)
            assert (answer.status_code, answer.headers["allow"]) == (405, "POST")
    for place in ("/judge/again", "/judge/again/bursts"):
        assert visitor.ask("POST", place, headers=visitor.headers, content="{}").status_code == 405


@pytest.mark.parametrize(
    ("more", "status", "problem"),
    [
        ({"journal": "0" * 16}, 400, "This verdict belongs to another journal."),
        ({"frame": 9999}, 404, "Frame 9999 was not chosen to be judged again."),
        ({"frame": "1"}, 400, "That is no verdict."),
        ({"frame": 2**63}, 400, "That is no verdict."),
        ({"verdict": "unjudged"}, 400, "That is no verdict."),
        ({"verdict": "splendid"}, 400, "'splendid' is no verdict."),
        ({"verdict": "reject", "faults": ["<script>"]}, 400, "'<script>' is no fault this journal knows."),
        ({"faults": ["noise"]}, 400, "Frame {} is no reject, so it has no fault."),
        ({"told": HOSTILE}, 400, "That is no verdict."),
        ({"old_verdict": "keeper"}, 400, "That is no verdict."),
        ({"faults": ["noise"] * 1000}, 413, "That is more than a verdict needs."),
    ],
)
def test_what_is_no_verdict_is_refused(
    visitor: Visitor, path: Path, more: dict[str, Any], status: int, problem: str
) -> None:
    visitor.post("/judge/again/begin", {})
    frame = visitor.pictures()[0]["id"]
    answer = visitor.say(**{"frame": frame, "verdict": "keeper", **more})
    assert (answer.status_code, answer.json()["problem"]) == (status, problem.format(frame))
    assert rows(path, "select count(*) from anchor_verdicts") == [(0,)]


def test_a_place_that_is_none_begins_at_the_first(visitor: Visitor) -> None:
    visitor.post("/judge/again/begin", {})
    for after in ("", "x", "-1", "9" * 30, "²"):
        assert visitor.ask("GET", "/judge/again/bursts", params={"after": after}).json()["bursts"][0]["id"] == 1


def test_a_frame_that_was_not_chosen_is_not_judged_here(visitor: Visitor, path: Path) -> None:
    visitor.post("/judge/again/begin", {})
    other = rows(path, "select min(id) from frames where id not in (select frame_id from anchors)")[0][0]
    assert visitor.say(other, "keeper").status_code == 404
    assert visitor.take_back(other).status_code == 404


def test_a_journal_that_cannot_be_written_says_so(
    visitor: Visitor, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("journal.store.opening.BUSY_TIMEOUT_MS", 50)
    visitor.post("/judge/again/begin", {})
    frame = visitor.pictures()[0]["id"]
    writer = open_journal(path)
    writer.execute("begin immediate")
    answer = visitor.say(frame, "keeper")
    assert (answer.status_code, answer.json()["problem"].startswith("Another program is writing")) == (503, True)
    assert len(visitor.pictures()) > 0
    writer.execute("rollback")
    writer.close()
    assert visitor.say(frame, "keeper").status_code == 200
