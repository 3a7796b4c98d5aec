"""The page of keepers and the list of frames: every number is the number of frames behind its link."""

from __future__ import annotations

import asyncio
import json
import re
from typing import TYPE_CHECKING, Any

import httpx
import pytest
from journals import HOSTILE, changed, empty_journal, small_journal
from visiting import plain

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.guard import PAGE_POLICY, Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application
from analytics.dataset import OpenJournal
from analytics.dataset.choosing import Filter, read_filter
from analytics.pages.counting import Counting
from analytics.pages.keepers_page import DRAWN, LISTED, keepers_page, read_asked
from journal.store.opening import open_journal
from journal.store.summaries import refresh

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class Visitor:
    """A browser without a screen that was let in."""

    def __init__(self, application: Any, keys: Keys) -> None:
        self.application, self.cookies = application, {f"thirdstop_{DEFAULT_PORT}": keys.cookie}

    def get(self, path: str) -> httpx.Response:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.application)
            home = f"http://127.0.0.1:{DEFAULT_PORT}"
            async with httpx.AsyncClient(transport=transport, base_url=home, cookies=self.cookies) as client:
                return await client.get(path)

        return asyncio.run(ask())

    def data(self, path: str) -> dict[str, Any]:
        answer = self.get(path)
        assert answer.status_code == 200, answer.text
        return dict(answer.json())


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_journal(tmp_path_factory.mktemp("keepers") / "a.journal", 12)


@pytest.fixture(scope="module")
def visitor(path: Path) -> Iterator[Visitor]:
    keys = Keys()
    with application(path, Reach(DEFAULT_PORT), keys) as served:
        yield Visitor(served, keys)


@pytest.fixture(scope="module")
def of_the_year(simulated_year: Path) -> Iterator[Visitor]:
    keys = Keys()
    with application(simulated_year, Reach(DEFAULT_PORT), keys) as served:
        yield Visitor(served, keys)


QUERIES = [
    "by=exposure-time",
    "by=iso&exposure-time-from=1/250&camera-support=hand-held",
    "by=focal-length&iso-to=1600&stops-below-rule-from=-1&stops-below-rule-to=2",
    "by=lens&by2=pace&f-number-from=4",
    "by=session&light-kind=other&priority=motion",
    "by=month&by2=body&from=2025-03-01",
]


@pytest.mark.parametrize("query", QUERIES)
def test_the_list_behind_a_line_is_as_long_as_the_line_says(of_the_year: Visitor, query: str) -> None:
    page = of_the_year.data(f"/keepers.json?{query}")
    lines = [line for panel in page["panels"] for line in panel["lines"]]
    assert len(lines) > 10
    for line in lines[:: max(1, len(lines) // 12)]:
        text = of_the_year.get(line["frames"]).text
        heading = re.search(r"<h1>.*: ([0-9,]+) judged frames?\.</h1>", text)
        assert heading is not None
        assert int(heading[1].replace(",", "")) == line["n_frames"]
        assert text.count('class="dot ') == min(60, line["n_frames"])
        assert text.count('class="dot keeper"') + text.count('class="dot reject"') == text.count('class="dot ')


def test_a_setting_of_which_no_frame_is_judged_has_no_place_in_a_chart(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 4)
    columns = "frame_key, session_id, burst_id, file_name, tv6, iso, verdict"
    changed(path, f"insert into frames ({columns}) values ('x', 1, 1, 'x.jpg', -66, 25, 'unjudged')")
    connection = open_journal(path)
    refresh(connection, [1])
    connection.close()
    keys = Keys()
    with application(path, Reach(DEFAULT_PORT), keys) as served:
        panels = Visitor(served, keys).data("/keepers.json?by=exposure-time")["panels"]
    for panel in panels:
        drawn = {row["label"] for row in panel["chart"]["datasets"]["lines"]}
        assert set(panel["chart"]["layer"][0]["encoding"]["y"]["scale"]["domain"]) == drawn
        assert "1/2000" not in drawn


@pytest.mark.parametrize("query", QUERIES)
def test_a_chart_shows_what_its_table_says(of_the_year: Visitor, query: str) -> None:
    page = of_the_year.data(f"/keepers.json?{query}")
    html = of_the_year.get(f"/keepers?{query}").text
    assert page["sentence"] in plain(html)
    for panel in page["panels"]:
        rows = {row["label"]: row for row in panel["chart"]["datasets"]["lines"]}
        assert len(rows) <= DRAWN and len(panel["lines"]) <= LISTED
        domain = panel["chart"]["layer"][0]["encoding"]["y"]["scale"]["domain"]
        assert set(rows) <= set(domain)
        for line in panel["lines"]:
            if line["label"] in rows:
                assert rows[line["label"]]["counts"] == f"{line['n_frames']:,} · {line['n_bursts']:,}"
                assert rows[line["label"]]["frames"] == line["frames"]
        if not panel["left_out"]:
            assert set(rows) == {line["label"] for line in panel["lines"]}


def test_all_pages_of_a_list_together_are_every_frame_once(of_the_year: Visitor, simulated_year: Path) -> None:
    query, seen, page = "iso-from=800&camera-support=hand-held&verdict=reject", [], 1
    address: str | None = f"/frames?{query}"
    while address:
        text = of_the_year.get(address).text
        seen += re.findall(r'href="/frames/(\d+)">Frame ', text)
        following = re.search(r'href="([^"]+)">Next page', text)
        address, page = (following[1].replace("&amp;", "&") if following else None), page + 1
    n_pages = re.search(r"Page (\d+) of (\d+)", text)
    assert n_pages is not None and n_pages[1] == n_pages[2] == str(page - 1)
    assert len(seen) == len(set(seen)) > 120
    with OpenJournal(simulated_year) as journal:
        sql = (
            "select frames.id from frames join sessions on sessions.id = session_id where sv6 >= 17 "
            "and coalesce(frames.camera_support, sessions.camera_support) = 'hand-held' and verdict = 'reject' "
            "and burst_id is not null"
        )
        assert {str(row["id"]) for row in journal.rows(sql)} == set(seen)


def test_frames_of_a_session_are_listed_in_the_order_of_time_across_the_pages(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 3)
    connection = open_journal(path)
    for burst in range(100, 170):  # each is older than the one before it
        began = f"2025-12-31T{23 - burst // 60}:{59 - burst % 60:02d}:00Z"
        connection.execute("insert into bursts (id, session_id, started_at) values (?, 2, ?)", [burst, began])
        connection.execute(
            "insert into frames (frame_key, session_id, burst_id, file_name, taken_at, tv6, verdict) "
            "values (?, 2, ?, 'a.jpg', ?, -36, 'keeper')",
            [f"key {burst}", burst, began],
        )
    refresh(connection, [2])
    connection.close()
    seen = []
    with application(path, Reach(DEFAULT_PORT), keys := Keys()) as served:
        for page in (1, 2):
            text = Visitor(served, keys).get(f"/frames?verdict=keeper&page={page}").text
            seen += [int(number) for number in re.findall(r'href="/frames/(\d+)">Frame ', text)]
    with OpenJournal(path) as journal:
        sql = (
            "select frames.id from frames join bursts on bursts.id = burst_id where verdict = 'keeper' "
            "order by frames.session_id desc, bursts.started_at, burst_id, taken_at, frames.id"
        )
        assert seen == [row["id"] for row in journal.rows(sql)]
    assert len(seen) == 85 and seen != sorted(seen)


def test_a_grid_has_every_pair_in_its_place(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        counting = Counting(journal.choices())
        page = keepers_page(counting, read_asked([("by", "iso"), ("by2", "camera-support")]), journal.totals(), None)
    panel = page.panels[0]
    assert panel.columns == ("hand-held", "monopod", "tripod")
    in_grid = [shown for _, cells in panel.rows for shown in cells if shown is not None]
    assert in_grid == panel.lines
    for label, cells in panel.rows:
        assert all(
            shown is None or shown.labels == (label, column) for shown, column in zip(cells, panel.columns, strict=True)
        )
    assert sum(shown.line.n_frames for shown in in_grid) == page.n_frames


def test_a_range_leaves_its_own_chart_whole_and_marks_what_is_outside(visitor: Visitor) -> None:
    page = visitor.data("/keepers.json?exposure-time-to=1/250")
    times, speeds = page["panels"][0], page["panels"][1]
    assert [(line["label"], line["n_frames"], line["note"]) for line in times["lines"]] == [
        ("1/500", 60, ""),
        ("1/15", 60, "outside the range"),
    ]
    assert [row["place"] for row in times["chart"]["datasets"]["lines"]] == ["inside", "outside"]
    assert [(line["label"], line["n_frames"], line["kept"]) for line in speeds["lines"]] == [("ISO 400", 60, "80")]
    assert page["sentence"].startswith("1/250 and faster: 80 of 100 kept (")
    assert page["parts"] == [{"words": "1/250 and faster", "without": "/keepers?by=exposure-time"}]


def test_the_interval_of_chosen_frames_is_that_of_the_journals_correlation(path: Path) -> None:
    with OpenJournal(path) as journal:
        counting = Counting(journal.choices())
    by_time = {line.label: line for line in counting.lines(["exposure_time"], Filter())}
    slow = counting.whole(read_filter([("exposure-time-from", "1/30")]))
    assert slow is not None
    assert (slow.low, slow.high) == pytest.approx((by_time["1/15"].low, by_time["1/15"].high))


def test_the_page_says_what_is_wrong_with_an_address(visitor: Visitor) -> None:
    for query, problem in (
        ("by=luck", "Keepers cannot be counted by 'luck'."),
        ("by=iso&by2=lens&by=body", "Keepers cannot be counted by 3 settings."),
        ("iso=fast", "iso: 'fast' is no ISO speed."),
        ("lens=none", "There is no lens 'none' in this journal."),
        ("where=1", "Frames cannot be chosen by 'where'."),
        ("&".join(["iso="] * 101), "The address has more than 100 parts."),
        ("from=2026-99-99", "'2026-99-99' is no day."),
    ):
        for place in ("/keepers", "/frames", "/keepers.json"):
            if place == "/frames" and "by=" in query:
                continue
            answer = visitor.get(f"{place}?{query}")
            assert answer.status_code == 400
            said = answer.json()["problem"] if place.endswith("json") else plain(answer.text)
            assert problem in said


#: What an address may hold instead of a value.
ODD_VALUES = (
    "%00", "%ff%fe", "%f0%9f%8e%89", "9" * 400, "-" * 50, "%239999", "%27%3B%20drop%20table%20frames--", "nan", "1e999",
    "%3Cscript%3Ealert(1)%3C/script%3E", "%7B%7B7*7%7D%7D", "-1", "0", "%2B1", "٣", "%0d%0aX-Evil:%201",
)  # fmt: skip
NAMES = ("by", "by2", "lens", "iso", "iso-from", "month", "session", "page", "verdict", "x", "to")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("value", ODD_VALUES)
def test_whatever_stands_in_an_address_is_answered(visitor: Visitor, name: str, value: str) -> None:
    for place in ("/keepers", "/frames", "/keepers.json"):
        answer = visitor.get(f"{place}?{name}={value}")
        assert answer.status_code in (200, 400)
        kind = "application/json" if place.endswith("json") else "text/html"
        assert answer.headers["content-type"] == f"{kind}; charset=utf-8"
        assert kind == "application/json" or "<script>alert(1)" not in answer.text
        assert answer.headers["content-security-policy"] == PAGE_POLICY
        assert "x-evil" not in answer.headers


def test_a_hostile_lens_is_shown_as_text_and_its_frames_are_found(tmp_path: Path) -> None:
    path, keys = small_journal(tmp_path / "a.journal", 4), Keys()
    writer = open_journal(path)
    writer.executemany("update lenses set model = ? where id = ?", [(HOSTILE, 1)])
    writer.close()
    with application(path, Reach(DEFAULT_PORT), keys) as served:
        visitor = Visitor(served, keys)
        page = visitor.data("/keepers.json?by=lens")
        line = page["panels"][0]["lines"][0]
        assert line["label"] == HOSTILE
        text = visitor.get(line["frames"]).text
        assert text.count('class="dot ') == line["n_frames"] == 40
        for answer in (text, visitor.get("/keepers?by=lens").text):
            assert "<img src=x" not in answer and "&lt;img src=x onerror=alert(1)&gt;{{7*7}}" in answer


def test_what_is_written_shows_at_the_next_look(tmp_path: Path) -> None:
    path, keys = small_journal(tmp_path / "a.journal", 4), Keys()
    with application(path, Reach(DEFAULT_PORT), keys) as served:
        visitor = Visitor(served, keys)
        before = visitor.data("/keepers.json")
        assert before["n_frames"] == 40
        assert visitor.get("/keepers").text == visitor.get("/keepers").text
        writer = open_journal(path)
        writer.execute("update frames set verdict = 'unjudged' where id <= 3")
        refresh(writer, [1])
        writer.close()
        assert visitor.data("/keepers.json")["n_frames"] == 37
        assert "37 judged frames" in visitor.get("/keepers").text
        assert "37 judged frames" in visitor.get("/frames").text


def test_an_empty_journal_says_what_comes_next(tmp_path: Path) -> None:
    path, keys = empty_journal(tmp_path / "a.journal"), Keys()
    with application(path, Reach(DEFAULT_PORT), keys) as served:
        visitor = Visitor(served, keys)
        heading = re.search("<h1.*</h1>", visitor.get("/keepers").text)
        assert heading is not None
        assert "<code>" in heading[0]  # what is typed is told from what is said
        assert plain(heading[0]) == "There are no frames in this journal yet. Next: thirdstop import CARD"
        assert visitor.data("/keepers.json")["panels"] == []
        assert "<h1>0 judged frames.</h1>" in visitor.get("/frames").text


def test_a_page_that_there_is_not_is_refused(visitor: Visitor) -> None:
    answer = visitor.get("/frames?iso=400&page=3")
    assert answer.status_code == 400
    assert "The list has no page 3. Use a page from 1 to 2." in " ".join(plain(answer.text).split())


def test_a_journal_of_many_sessions_shows_the_last_ones(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 3)
    writer = open_journal(path)
    with OpenJournal(path) as journal:
        for number in range(4, 4 + LISTED):
            writer.execute(
                "insert into sessions (id, started_at, ended_at, created_at, changed_at) "
                "values (?, '2026-04-01T06:40:00Z', '2026-04-01T06:40:00Z', '', '')",
                [number],
            )
            writer.execute("insert into bursts (id, session_id) values (?, ?)", [100 + number, number])
            writer.execute(
                "update frames set session_id = ?, burst_id = ? where id = ?", [number, 100 + number, number % 30]
            )
            writer.execute(
                "insert into choices (session_id, burst_id, n_frames, n_judged, n_keepers) values (?, ?, 2, 2, 1)",
                [number, 100 + number],
            )
            writer.execute("insert into choice_stamps values (?, 1)", [number])
        page = keepers_page(Counting(journal.choices()), read_asked([("by", "session")]), {"n_frames": 9}, None)
    writer.close()
    panel = page.panels[0]
    assert (len(panel.lines), panel.lines[-1].label) == (LISTED, f"session {3 + LISTED}")
    assert (
        panel.left_out == f"The chart shows {DRAWN} of {3 + LISTED} lines, the last. The table holds the last {LISTED}."
    )
    assert panel.chart is not None and len(panel.chart["datasets"]["lines"]) == DRAWN
    assert json.dumps(page.as_json())
