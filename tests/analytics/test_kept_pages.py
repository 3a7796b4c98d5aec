"""Pages that are kept: of now also after a change, each visitor's own, and never many."""

from __future__ import annotations

import gc
from typing import TYPE_CHECKING

import pytest
import uvicorn
from journals import small_journal
from secrets_planted import journal_of_secrets, secrets_in
from visiting import served

import analytics.dashboards.scribe as scribe_module
from analytics.charts.session import shape
from analytics.dashboards import serving
from analytics.dashboards.kept import Latest
from analytics.dashboards.plugin import MOST_WRITTEN
from analytics.dashboards.scribe import Scribe, SessionAsked, prepared_scribe
from analytics.dashboards.visitors import Visitor
from analytics.dashboards.writing import Writer
from analytics.pages.session import session_page
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.dataset import OpenJournal
    from analytics.pages.session import SessionPage

#: Pages that are kept until somebody writes, and what a changed verdict of frame 5 makes of each.
OF_FRAME_5 = {
    "/sessions/1": "you kept 6; the commonest fault",
    "/frames/5": '<span class="dot keeper" aria-hidden="true"></span> keeper',
    "/frames/4/5": "Frame 4: keeper; frame 5: keeper.",
    "/keepers": "All judged frames: 60 of 100 kept",
    "/frames?verdict=reject": "<h1>4 rejects among 10 judged frames.</h1>",
    "/judge": "still unjudged",
}
COMMENT = "The horizon leans to the left."


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "a.journal", 1)


def keep_frame_5(path: Path) -> None:
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'keeper' where id = 5")
    connection.execute("delete from frame_faults where frame_id = 5")
    refresh_all(connection)
    connection.close()


@pytest.mark.parametrize("page", OF_FRAME_5)
def test_a_changed_verdict_shows_at_the_next_look(path: Path, page: str) -> None:
    with served(path) as place:
        visitor = place.photographer()
        before = [visitor.get(page).text for _ in range(2)]
        keep_frame_5(path)
        after = [visitor.get(page).text for _ in range(2)]
    with served(path) as place:  # a server that has kept nothing
        fresh = place.photographer().get(page).text
    assert before[0] == before[1] and after[0] == after[1]
    assert without_run(after[0]) == without_run(fresh)
    assert page == "/judge" or before[0] != after[0]
    assert OF_FRAME_5[page] in after[0]


def without_run(text: str) -> list[str]:
    """A page without what is of the run of its server."""
    return [part.partition('"')[2] for part in text.split("?run=")]


def test_an_unjudged_frame_more_shows_at_the_next_look_at_what_is_to_be_judged(path: Path) -> None:
    with served(path) as place:
        visitor = place.photographer()
        assert "1 frame of 1 session is still unjudged." in visitor.get("/judge").text
        connection = open_journal(path)
        connection.execute("update frames set verdict = 'unjudged' where id = 5")
        connection.execute("delete from frame_faults where frame_id = 5")
        refresh_all(connection)
        connection.close()
        assert "2 frames of 1 session are still unjudged." in visitor.get("/judge").text


@pytest.mark.parametrize("page", ["/sessions/1", "/frames/5"])
def test_what_a_mentor_says_shows_to_the_photographer_at_the_next_look_and_to_no_other_mentor(
    path: Path, page: str
) -> None:
    with served(path) as place:
        photographer, mentor, other = place.photographer(), place.mentor(), place.mentor("Ben Reed")
        assert COMMENT not in photographer.get(page).text
        other.get(page)
        assert mentor.post({**mentor.form(page), "body": COMMENT}).status_code in (200, 303)
        assert COMMENT in photographer.get(page).text
        assert COMMENT in mentor.get(page).text
        assert COMMENT not in other.get(page).text


@pytest.mark.parametrize("page", ["/sessions/1", "/frames/1", "/frames/1/2", "/keepers", "/frames?verdict=reject"])
@pytest.mark.parametrize(("is_mentor_first", "most_beside"), [(False, 5_000), (True, 5_000), (False, 0), (True, 0)])
def test_nobody_gets_the_page_that_was_kept_for_somebody_else(
    tmp_path: Path, page: str, is_mentor_first: bool, most_beside: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "MOST_BESIDE", most_beside)
    path, _ = journal_of_secrets(tmp_path / "a.journal")
    connection = open_journal(path)
    connection.execute("delete from suggestions")  # JSON stays JSON, so that a frame can be explained at all
    connection.execute("delete from measurements")
    connection.close()
    with served(path) as place:
        if (ready := place.application.reader.move_apart()) is not None:
            ready.result()
        photographer, mentor, nobody = place.photographer(), place.mentor(), place.nobody()
        visitors = [mentor, photographer] if is_mentor_first else [photographer, mentor]
        for visitor in 2 * visitors:
            assert visitor.get(page).status_code == 200
        theirs, own = mentor.get(page), photographer.get(page)
        assert nobody.get(page).status_code == 403
        assert secrets_in([theirs.content]) <= {"bodies.model", "lenses.model"}  # what limits are said of
        assert "Read by Ada Quill" in theirs.text
        assert "Read by" not in own.text and 'name="token"' not in own.text
        assert "Judge" in own.text and "/judge" not in theirs.text
        if page != "/keepers":  # no free text is counted there
            assert secrets_in([own.content]) & {"frames.file_name", "sessions.intent"}
        form = mentor.form(page)
        assert form == {} or form["key"] != mentor.form(page)["key"]  # each has a name of its own, and is said once


def test_only_the_latest_pages_are_kept(path: Path) -> None:
    latest: Latest[int] = Latest(3)
    made: list[int] = []

    def asked(state: object, place: int) -> int:
        return latest.page(state, place, lambda: made.append(place) or place).page  # type: ignore[func-returns-value]

    for place in (1, 2, 3, 1, 4, 1):
        assert asked("now", place) == place
        assert len(latest) <= 3
    assert made == [1, 2, 3, 4]
    asked("now", 2)  # asked for longest ago, so it was forgotten
    assert made == [1, 2, 3, 4, 2]
    asked("then", 1)
    assert len(latest) == 1 and made[-1] == 1

    def failing() -> int:
        raise KeyError

    with pytest.raises(KeyError):
        latest.page("then", 9, failing)
    assert len(latest) == 1


def test_no_number_of_sessions_fills_the_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[int] = []

    def noted(journal: OpenJournal, number: int, page: int) -> SessionPage:
        made.append(number)
        return session_page(journal, number, page)

    monkeypatch.setattr(scribe_module, "session_page", noted)
    monkeypatch.setattr(scribe_module, "SESSIONS_KEPT", 3)
    scribe = Scribe(small_journal(tmp_path / "a.journal", 5), Writer({}, None))
    for number in (1, 2, 3, 4, 5, 5, 4, 1):
        assert f"<h1>Session {number}" in scribe.answer(SessionAsked(Visitor(), number, 1)).text
        assert len(scribe._sessions) <= 3
    assert made == [1, 2, 3, 4, 5, 1]
    scribe.close()


def test_a_process_of_its_own_has_the_usual_charts_before_anybody_asks(simulated_year: Path) -> None:
    """A first chart of a shape takes as long as ten pages, and all who ask meanwhile would wait for it."""
    shape.cache_clear()
    scribe = prepared_scribe(simulated_year, Writer({}, None))
    made = shape.cache_info().misses
    for number in (1, 12, 36):
        assert f"<h1>Session {number}" in scribe.answer(SessionAsked(Visitor(), number, 1)).text
    assert shape.cache_info().misses == made > 0
    scribe.close()


def test_no_number_of_forms_fills_the_memory(path: Path) -> None:
    with served(path) as place:
        visitor = place.photographer()
        for focal_length in range(20, 20 + MOST_WRITTEN + 5):
            assert visitor.get("/plan", params={"ev100": 8, "focal_length": focal_length}).status_code == 200
        assert len(place.application.pages._texts) == MOST_WRITTEN
        again = [visitor.get("/plan?ev100=8&focal_length=84").text for _ in range(2)]
        assert again[0] == again[1] and 'value="84"' in again[0]


def test_what_is_loaded_at_the_start_is_never_looked_through_again(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    frozen: list[int] = []
    monkeypatch.setattr(uvicorn.Server, "run", lambda server, sockets: frozen.append(gc.get_freeze_count()))
    with served(path) as place:
        try:
            serving.serve(place.application, [])
        finally:
            gc.unfreeze()
    assert frozen[0] > 10_000
