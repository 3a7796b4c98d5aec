"""Several journals side by side: one page for all, each behind its own port and cookie, none reachable from another."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from contextlib import ExitStack
from dataclasses import replace
from html import unescape
from typing import TYPE_CHECKING, Any

import httpx
import pytest
from browsing import Seen, barriers, needs_chromium
from journals import HOSTILE, empty_journal, small_journal
from visiting import Browser, new_link, plain

from analytics.charts.learners import COLOURS, MARKS, by_setting_chart, ends_chart, over_time_chart
from analytics.charts.look import KEEPER, REJECT, UNJUDGED
from analytics.dashboards.answering import PAGE_POLICY
from analytics.dashboards.guard import Keys
from analytics.dashboards.serving import side_by_side
from analytics.dashboards.side_by_side import SideBySide, names_of
from analytics.dataset import OpenJournal
from analytics.pages.judged import ground
from analytics.pages.keepers import KeeperLine
from analytics.pages.learners import MOST_LEARNERS, Learner, learner, learners_page, place_of_limit, runs
from analytics.pages.limit_words import SUBJECTS
from analytics.pages.standing import standing
from journal.cli import load_commands, run
from journal.errors import JournalError
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser as Chromium

#: What an empty journal says across the columns that it has nothing for.
EMPTY = "No session has a frame yet."
PORTS = (18801, 18802, 18803)
FRONT, HERON, TERN = (f"http://127.0.0.1:{port}" for port in PORTS)


def better_journal(path: Path) -> Path:
    """A small journal whose every judged frame of the first burst of each session is kept, five sessions of them."""
    connection = open_journal(small_journal(path, 5))
    connection.execute("update frames set verdict = 'keeper' where burst_id % 2 = 1")
    connection.execute("delete from frame_faults where frame_id in (select id from frames where verdict = 'keeper')")
    refresh_all(connection)
    connection.close()
    return path


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("learners")
    return {"heron": small_journal(folder / "heron.journal", 4), "tern": better_journal(folder / "tern.journal")}


@pytest.fixture(scope="module")
def keys() -> Keys:
    return Keys()


@pytest.fixture(scope="module")
def served(paths: dict[str, Path], keys: Keys) -> Iterator[SideBySide]:
    with ExitStack() as stack:
        yield stack.enter_context(side_by_side(paths, PORTS, keys))


class Everywhere(Browser):
    """One browser at all ports of this machine: cookies know no ports."""

    def at(self, home: str, path: str, **options: object) -> httpx.Response:
        self.home = home
        return self.get(path, **options)


@pytest.fixture
def visitor(served: SideBySide, keys: Keys) -> Everywhere:
    found = Everywhere(served, FRONT)
    assert found.get("/", params={"key": keys.link}).status_code == 200
    return found


def test_one_link_opens_the_page_for_all_and_every_journal(served: SideBySide, keys: Keys) -> None:
    answer = Everywhere(served, FRONT).get("/", params={"key": keys.link})
    cookies = answer.headers.get_list("set-cookie")
    assert [cookie.partition("=")[0] for cookie in cookies] == [f"thirdstop_{port}" for port in PORTS]
    assert len({cookie.partition("=")[2] for cookie in cookies}) == 3
    assert all(cookie.endswith("; Path=/; HttpOnly; SameSite=Strict") for cookie in cookies)


def test_each_journal_is_a_line_that_leads_to_its_own_pages(visitor: Everywhere) -> None:
    answer = visitor.at(FRONT, "/")
    assert answer.headers.get_list("content-security-policy") == [PAGE_POLICY]
    text = unescape(answer.text)
    assert text.count(' scope="row">') == 2
    for name, home, judged in (("heron", HERON, 40), ("tern", TERN, 50)):
        assert f' scope="row"><a href="{home}/standing">{name}</a></th>' in text
        assert f' class="number">{judged}</td>' in text
    for link in set(re.findall(r'href="(http://127\.0\.0\.1:\d+)(/[^"]*)"', text)):
        assert visitor.at(*link).status_code == 200, link
    assert text.count('<figure class="chart"') == 2  # months and times: sessions that are copies have no change
    assert HOSTILE not in text


def test_the_rates_are_those_of_each_journal(paths: dict[str, Path], visitor: Everywhere) -> None:
    table = plain(visitor.at(FRONT, "/").text.partition("<h2")[0])
    shares = re.findall(r"(\d+) \((\d+)–(\d+)\)", table)
    assert [int(share) for share, _, _ in shares] == [50, 60]  # 20 of 40; 25 and 5 of 50
    for _, low, high in shares:
        assert int(low) < 50 < int(high) or int(low) < 60 < int(high)


def test_no_journal_can_be_reached_with_another_ones_cookie(served: SideBySide, visitor: Everywhere) -> None:
    for mine, theirs in ((HERON, TERN), (TERN, HERON), (FRONT, HERON)):
        port, other = mine.rpartition(":")[2], theirs.rpartition(":")[2]
        alone = Everywhere(served, theirs)
        alone.cookies = {f"thirdstop_{port}": visitor.cookies[f"thirdstop_{port}"]}
        assert alone.get("/").status_code == 403
        alone.cookies = {f"thirdstop_{other}": visitor.cookies[f"thirdstop_{port}"]}
        assert alone.get("/journal.json").status_code == 403
    stranger = Everywhere(served, FRONT)
    assert stranger.at(FRONT, "/").status_code == stranger.at(HERON, "/").status_code == 403


def test_a_page_of_one_journal_posts_nothing_to_another(visitor: Everywhere) -> None:
    token = visitor.at(TERN, "/judge/token").json()["token"]
    sent = {"x-thirdstop-token": token, "content-type": "application/json"}
    for headers in ({"origin": HERON}, {"origin": FRONT}, {"origin": TERN, "sec-fetch-site": "same-site"}):
        visitor.home = TERN
        assert visitor.ask("POST", "/judge/verdicts", content="{}", headers={**sent, **headers}).status_code == 403
    assert visitor.ask("POST", "/judge/verdicts", content="{}", headers={**sent, "origin": TERN}).status_code == 400


def test_a_mentors_link_is_for_one_journal_and_not_for_the_page_of_all(
    paths: dict[str, Path], served: SideBySide
) -> None:
    mentor = Everywhere(served, FRONT)
    _, token = new_link(paths["heron"])
    for home in (FRONT, TERN, HERON):  # these are served with secrets of their own, so no link of another run counts
        assert mentor.at(home, "/", params={"mentor": token}).status_code == 403


@pytest.mark.parametrize("path", ["/journal", "/judge", "/standing", "/sign-in", "/side-by-side", "/-/plugins.json"])
def test_the_page_of_all_holds_nothing_else(visitor: Everywhere, path: str) -> None:
    answer = visitor.at(FRONT, path)
    assert answer.status_code == 404
    assert "<h1>There is no page at this address.</h1>" in answer.text
    assert f'<a href="{HERON}/">heron</a>' in answer.text
    assert '<a href="/">Back to all journals side by side</a>' in answer.text


def test_the_page_of_all_is_only_read_and_only_under_its_own_name(visitor: Everywhere, served: SideBySide) -> None:
    visitor.home = FRONT
    assert visitor.ask("POST", "/").status_code == 405
    assert visitor.get("/", headers={"host": "evil.example"}).status_code == 421
    assert visitor.get("/", headers={"host": f"127.0.0.1:{PORTS[1]}"}).status_code == 421


def test_each_journal_leads_back_under_the_name_that_was_used(visitor: Everywhere) -> None:
    assert 'href="/side-by-side"' in visitor.at(HERON, "/standing").text
    assert visitor.at(HERON, "/side-by-side").headers["location"] == f"{FRONT}/"


def test_a_journal_that_changes_shows_at_the_next_look(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 4)
    keys = Keys()
    with side_by_side({"a": path, "b": empty_journal(tmp_path / "b.journal")}, PORTS, keys) as served:
        visitor = Everywhere(served, FRONT)
        visitor.get("/", params={"key": keys.link})
        assert "50 (" in visitor.at(FRONT, "/").text
        connection = open_journal(path)
        connection.execute("update frames set verdict = 'keeper' where id in (5, 7)")
        connection.execute("delete from frame_faults where frame_id in (5, 7)")
        refresh_all(connection)
        connection.close()
        text = visitor.at(FRONT, "/").text
        assert "55 (" in text
        assert [plain(found) for found in re.findall(r'<td[^>]* colspan="4">(.*?)</td>', text)] == [EMPTY]


def test_an_improvement_is_said_of_whoever_shows_it(paths: dict[str, Path]) -> None:
    with OpenJournal(paths["heron"]) as journal:
        found = ground(journal)
        one = learner(journal, found, standing(journal, found))
    assert (one.n_judged, one.change_verdict) == (40, "not enough")
    few = learners_page([("heron", one), ("tern", one)])
    assert few.sentence == "2 journals side by side; of none is there enough yet to say whether they improve."
    better = _changed(one, "better", (0.1, 0.05, 0.15))
    same = _changed(one, "no clear change", (0.0, -0.1, 0.1))
    said = [learners_page(pairs).sentence for pairs in ([("a", better), ("b", same)], [("a", same), ("b", one)])]
    assert said == [
        "2 journals side by side: at equal scenes a clearly keeps more than at the beginning.",
        "2 journals side by side: at equal scenes nobody keeps clearly more than at the beginning; of 1 there is not "
        "enough yet to say.",
    ]
    panel = learners_page([("a", better), ("b", same)]).panels[0]
    assert (panel.key, panel.rows[0][0], panel.rows[0][2]) == ("change", "a", "better")
    text = json.dumps(panel.chart)
    assert '"low": 5.0' in text
    assert '"high": 15.0' in text


def _changed(one: Learner, verdict: str, change: tuple[float, float, float]) -> Learner:
    return replace(one, change=change, change_verdict=verdict, change_shown="shown", change_lacks="")


def test_every_learner_is_drawn_as_a_line_of_its_own_with_intervals(paths: dict[str, Path]) -> None:
    with OpenJournal(paths["heron"]) as journal:
        found = ground(journal)
        one = learner(journal, found, standing(journal, found))
    panels = {panel.key: panel for panel in learners_page([("heron", one), (HOSTILE, one)]).panels}
    for key in ("months", "times"):
        layers = panels[key].chart["layer"]
        # of none is there enough in two neighbouring places, so no line joins any
        assert [layer["mark"]["type"] for layer in layers] == ["rule", "point", "rule", "point"]
        assert layers[0]["encoding"]["y2"]["field"] == "high"
        assert len({layer["mark"]["xOffset"] for layer in layers}) == 2  # no interval hides another
        scale = layers[1]["encoding"]["color"]["scale"]
        assert (scale["domain"], scale["range"]) == (["heron", HOSTILE], list(COLOURS[:2]))
        assert layers[1]["encoding"]["shape"]["scale"]["range"] == list(MARKS[:2])
        assert panels[key].chart["title"]["text"] == panels[key].question
        assert panels[key].question.endswith("?")
        assert len(panels[key].rows) == 2 * len(one.months if key == "months" else one.times)


def test_no_colour_of_a_learner_is_that_of_a_verdict_and_only_who_is_drawn_has_a_name() -> None:
    assert not {KEEPER, REJECT, UNJUDGED} & set(COLOURS)
    point = {
        "name": "b",
        "label": "2026-01",
        "estimate": 0.5,
        "low": 0.4,
        "high": 0.6,
        "n_frames": 9,
        "is_enough": True,
    }
    rows = [{**point, "place": f"2026-0{month}-15", "run": run} for month, run in ((1, 0), (2, 0), (5, None))]
    layers = over_time_chart(rows, ["a", "b"], "?", "")["layer"]
    assert [layer["mark"]["type"] for layer in layers] == ["rule", "line", "point"]
    scale = layers[2]["encoding"]["color"]["scale"]
    assert (scale["domain"], scale["range"]) == (["b"], [COLOURS[1]])
    assert {"filter": "datum.run != null"} in layers[1]["transform"]


def point(name: str, place: float, run: int | None, is_enough: bool = True) -> dict[str, Any]:
    numbers = {"estimate": 0.5, "low": 0.4, "high": 0.6, "n_frames": 9, "label": f"{place:g}"}
    return {"name": name, "place": place, "run": run, "is_enough": is_enough, **numbers}


def test_what_there_is_not_enough_of_hides_no_curve_of_another_journal() -> None:
    heron = [point("heron", 1, 0), point("heron", 3, 0), point("heron", 5, None, False), point("heron", 9, None)]
    tern = [point("tern", place, None, False) for place in (0, 1, 2, 5, 9, 12)]
    chart = by_setting_chart(heron + tern, ["heron", "tern"], ("time", {0: "1/500", 12: "1/15"}), ("?", ""))
    (rows,) = chart["datasets"].values()
    assert [row["place"] for row in rows if row["name"] == "heron"] == [1, 3, 5, 9]
    assert [row["place"] for row in rows if row["name"] == "tern"] == [0, 5, 12]
    assert chart["title"]["subtitle"] == [
        "mark: rate; bar: 95 % interval; hollow: not enough yet",
        "not drawn: 3 not enough yet where another has enough",
    ]
    chart = by_setting_chart(heron[:2], ["heron"], ("time", {0: "1/500", 12: "1/15"}), ("?", ""))
    assert chart["title"]["subtitle"] == ["mark: rate; bar: 95 % interval"]


def test_an_axis_has_a_title_where_its_places_do_not_say_it_and_in_lines_that_fit_a_phone() -> None:
    row = {"row": "heron", "name": "heron", "estimate": 1.0, "low": 0.0, "high": 2.0, "description": ""}

    def title(name: str, places: dict[int, str]) -> object:
        return ends_chart([row], ["heron"], (name, places), ("?", ""))["layer"][0]["encoding"]["x"]["axis"]["title"]

    assert title("ISO", {0: "ISO 400", 1: "ISO 800"}) is None
    assert title("exposure time, slower to the right", {0: "1/60"}) == ["exposure time,", "slower to the right"]
    assert title("keepers of 100", {}) == ["keepers of 100"]


def test_months_of_long_ago_with_little_behind_them_do_not_stretch_the_axis() -> None:
    def learnt(*months: tuple[str, bool]) -> Learner:
        lines = tuple(
            KeeperLine((label,), (place, place), 9, 9, 6, 0.5, 0.4, 0.6, is_enough)
            for place, (label, is_enough) in enumerate(months)
        )
        return Learner(None, None, None, 9, None, None, "not enough", "", "", "", "", (), lines, ())

    old, young = ("2001-05", False), ("2026-04", False)
    heron = learnt(old, ("2026-01", True), ("2026-02", False), ("2026-03", True), young)
    shown = {panel.key: panel for panel in learners_page([("heron", heron), ("tern", learnt(old, young))]).panels}
    chart = shown["months"].chart
    drawn = {row["place"][:7] for data in chart["datasets"].values() for row in data}
    assert drawn == {"2026-01", "2026-02", "2026-03"}
    assert chart["title"]["subtitle"][-1] == "not drawn: 2 months before or after, not enough yet"
    assert len(shown["months"].rows) == 7  # the table has them all
    (panel,) = learners_page([("tern", learnt(old, young))]).panels
    assert len(panel.chart["title"]["subtitle"]) == 1


def test_only_neighbours_of_which_there_is_enough_are_joined() -> None:
    def line(place: int, is_enough: bool) -> KeeperLine:
        return KeeperLine(("",), (place, place), 40, 9, 6, 0.5, 0.4, 0.6, is_enough)

    told = [line(place, place != 4) for place in (1, 2, 3, 4, 5, 9, 10, 20)]
    assert [run for _, run in runs(told, 1)] == [0, 0, 0, None, None, 2, 2, None]


def test_a_journal_of_one_session_has_no_change_and_its_habits_are_not_told_yet(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "one.journal", 1)) as journal:
        found = ground(journal)
        one = learner(journal, found, standing(journal, found))
    assert (one.change, one.change_shown, one.change_lacks) == (None, "", "one session")
    assert (one.costliest, one.habit_key) == ("not enough yet", "")
    page = learners_page([("one", one), ("other", one)])
    assert "change" not in [panel.key for panel in page.panels]


def test_a_change_without_an_interval_is_none(paths: dict[str, Path]) -> None:
    with OpenJournal(paths["heron"]) as journal:
        found = ground(journal)
        one = standing(journal, found)
        page = one.progress.page
        flat = replace(page, changes=[], verdict="not enough")
        alike = learner(journal, found, replace(one, progress=replace(one.progress, page=flat)))
    assert (alike.change, alike.change_verdict, alike.change_lacks) == (None, "not enough", "not enough yet")


def test_limits_are_told_from_the_slowest_pace_to_the_fastest(paths: dict[str, Path]) -> None:
    with OpenJournal(paths["heron"]) as journal:
        found = ground(journal)
        one = standing(journal, found)
    line = one.limits.lines[0]
    mixed = [replace(line, kind="freeze", name=SUBJECTS[pace]) for pace in ("running", "slow", "fast", "walking")]
    assert [each.name.split()[0] for each in sorted(mixed, key=place_of_limit)] == [
        "slow",
        "walking",
        "running",
        "fast",
    ]


def test_a_journal_is_called_by_its_file_and_where_needed_by_its_folder(tmp_path: Path) -> None:
    first, second = tmp_path / "ada" / "a.journal", tmp_path / "bo" / "a.journal"
    assert names_of([first, second, tmp_path / "c.journal"]) == ["ada/a", "bo/a", "c"]
    with pytest.raises(JournalError) as caught:
        names_of([first, first])
    assert str(caught.value) == (
        "A journal is named twice.\n  Next: Name each once: thirdstop serve a.journal b.journal"
    )
    with pytest.raises(JournalError) as caught:
        names_of([tmp_path / f"{number}.journal" for number in range(MOST_LEARNERS + 1)])
    assert str(caught.value) == "7 journals are too many.\n  Next: Show at most 6 side by side."


@pytest.mark.parametrize(
    ("options", "problem"),
    [
        (["none.journal"], "There is no journal at none.journal.\n  Next: Make one with: thirdstop log"),
        (["text.journal"], "The journal text.journal is not an SQLite file.\n  Next: Choose a journal"),
        (["--mentor", "Ada Quill"], "A mentor's link and an address are for one journal.\n  Next: Serve that one"),
        (["--address", "192.0.2.7"], "A mentor's link and an address are for one journal.\n  Next: Serve that one"),
        (["--journal", "b.journal"], "Journals are named in two ways.\n  Next: Name all of them without --journal."),
    ],
)
def test_what_cannot_be_shown_side_by_side_is_refused_before_anything_is_served(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    options: list[str],
    problem: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    load_commands()
    for name in ("a.journal", "b.journal"):
        small_journal(tmp_path / name, 1)
    (tmp_path / "text.journal").write_text("no journal at all, but long enough to be one\n" * 9, encoding="utf-8")
    assert run(["serve", "--no-browser", "a.journal", "b.journal", *options]) == 1
    assert capsys.readouterr().err.startswith(f"Error: {problem}")


@pytest.fixture(scope="module")
def link(paths: dict[str, Path]) -> Iterator[str]:
    command = [sys.executable, "-c", "from journal.cli import main; main()", "serve", "--no-browser", "--port", "18811"]
    process = subprocess.Popen([*command, *map(str, paths.values())], stdout=subprocess.PIPE, text=True)
    lines: list[str] = []
    while not lines or "End it with" not in lines[-1]:
        assert process.stdout is not None
        lines.append(process.stdout.readline())
    assert [line.split()[0] for line in lines] == ["2", "heron", "tern", "Whoever"]
    yield lines[0].split()[-1]
    process.send_signal(signal.SIGINT)
    rest = process.communicate(timeout=20)[0]
    assert rest.splitlines()[-1] == "The journals are closed."


def test_one_command_serves_all_of_them_on_ports_of_their_own(link: str) -> None:
    with httpx.Client() as client:
        home = link.partition("?")[0]
        assert client.get(home).status_code == 403
        assert client.get(link).status_code == 200
        text = client.get(home).text
        for other in set(re.findall(r'href="(http://127\.0\.0\.1:\d+/standing)"', text)):
            assert client.get(other).status_code == 200
            assert httpx.get(other).status_code == 403


#: Whether the first table runs on beyond the edge.
CUT_TABLE = """() => (({scrollWidth, clientWidth}) => scrollWidth > clientWidth)(document.querySelector(".scroll"))"""


@needs_chromium[0]
@needs_chromium[1]
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (820, "light"), (1280, "light")])
def test_the_page_of_all_has_no_barriers_and_leads_in_and_back(
    browser: Chromium, link: str, scheme: str, width: int
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    seen = Seen(page)
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.wait_for_selector("html[data-charts=drawn]")
    assert page.locator("figure.chart[data-state=drawn] svg").count() == page.locator("figure.chart").count() >= 2
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert barriers(page) == []
    assert width < 500 or page.evaluate(CUT_TABLE) is False
    first = page.url
    page.get_by_role("navigation").get_by_role("link", name="tern").click()
    page.wait_for_url(lambda address: address != first)
    page.get_by_role("link", name="Side by side").click()
    page.wait_for_url(first)
    assert seen.complaints == []
    context.close()
