"""Numbers that are counted apart from the server: who waits for them, who does not, and what is shown meanwhile."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from browsing import Seen, barriers, needs_chromium
from journals import small_journal
from playwright.sync_api import Browser

import analytics.dashboards.estimates as estimates_module
from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.apart import Apart
from analytics.dashboards.estimates import ENDLESS, Estimates, Patience
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.reckoning import Answer, Message, Reckoner
from analytics.dashboards.serving import application, listen
from analytics.dashboards.watch import Watch
from analytics.pages.waiting import CountingError
from journal.errors import JournalError
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

HOME = f"http://127.0.0.1:{DEFAULT_PORT}"
ANEW = "are being counted anew"
#: Long enough for a busy machine [s].
PATIENT_S = 60.0


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "a.journal", 4)


def keep_one_more(path: Path, frame: int = 5) -> None:
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'keeper' where id = ?", [frame])
    refresh_all(connection)
    connection.close()


class Slowly(Reckoner):
    """The real one on a day on which every step takes its time."""

    seconds = 0.6

    def answer(self, message: Message) -> Answer:
        if message.name:
            time.sleep(self.seconds)
        return super().answer(message)


@contextmanager
def reckoned_slowly(monkeypatch: pytest.MonkeyPatch, path: Path, patience: Patience) -> Iterator[tuple[Any, Keys]]:
    monkeypatch.setattr(estimates_module, "Reckoner", Slowly)
    keys = Keys()
    with application(path, Reach(DEFAULT_PORT), keys, patience=patience) as app:
        yield app, keys


def visitor(app: Any, keys: Keys) -> httpx.AsyncClient:
    cookies = {f"thirdstop_{DEFAULT_PORT}": keys.cookie}
    return httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url=HOME, cookies=cookies)


class Held(Reckoner):
    """The real one, which does not begin before it is let go."""

    gate = threading.Event()

    def answer(self, message: Message) -> Answer:
        assert self.gate.wait(PATIENT_S)
        return super().answer(message)


def test_while_numbers_are_counted_pictures_and_judging_do_not_wait(
    monkeypatch: pytest.MonkeyPatch, path: Path
) -> None:
    async def ask(app: Any, keys: Keys) -> httpx.Response:
        async with visitor(app, keys) as client:
            waiting = asyncio.create_task(client.get("/standing"))
            await asyncio.sleep(0.05)
            for place in ("/previews/1.webp", "/judge", "/judge/1", "/judge/1/bursts", "/sessions/1", "/judge/token"):
                assert (await asyncio.wait_for(client.get(place), PATIENT_S)).status_code == 200, place
            assert not waiting.done()
            Held.gate.set()
            return await waiting

    Held.gate.clear()
    monkeypatch.setattr(estimates_module, "Reckoner", Held)
    keys = Keys()
    with application(path, Reach(DEFAULT_PORT), keys) as app:
        standing = asyncio.run(ask(app, keys))
    assert standing.status_code == 200 and "of 100." in standing.text


def test_a_page_that_takes_long_shows_what_was_before_and_says_so(monkeypatch: pytest.MonkeyPatch, path: Path) -> None:
    async def ask(app: Any, keys: Keys) -> list[str]:
        async with visitor(app, keys) as client:
            texts = [(await client.get("/")).text]
            keep_one_more(path)
            texts.append((await client.get("/")).text)
            while ANEW in (text := (await client.get("/")).text):
                await asyncio.sleep(0.1)
            return [*texts, text]

    patience = Patience(earlier=0.1, none=60.0, of_frame=0.1)
    with reckoned_slowly(monkeypatch, path, patience) as (app, keys):
        first, old, new = asyncio.run(ask(app, keys))
    assert "of 40 judged you kept 20" in first and ANEW not in first
    assert "of 40 judged you kept 20" in old
    assert (
        '<p class="notice" role="status">Something was written to the journal since. These numbers are of before and '
        'are being counted anew: <a href="/">look again</a>.</p>'
    ) in old
    assert "of 40 judged you kept 21" in new


def test_where_there_is_no_earlier_page_the_visitor_is_asked_to_wait(
    monkeypatch: pytest.MonkeyPatch, path: Path
) -> None:
    async def ask(app: Any, keys: Keys) -> tuple[httpx.Response, httpx.Response]:
        async with visitor(app, keys) as client:
            first = answer = await client.get("/progress")
            while answer.status_code == 202:
                await asyncio.sleep(0.1)
                answer = await client.get("/progress")
            return first, answer

    with reckoned_slowly(monkeypatch, path, Patience(0.1, 0.1, 0.1)) as (app, keys):
        first, last = asyncio.run(ask(app, keys))
    assert first.status_code == 202
    assert "<h1>This page is being counted anew.</h1>" in first.text
    assert "/assets/counting-" in first.text and "/assets/counting-" not in last.text
    assert last.status_code == 200


def test_a_frame_is_explained_with_earlier_limits_and_says_so(monkeypatch: pytest.MonkeyPatch, path: Path) -> None:
    async def ask(app: Any, keys: Keys) -> tuple[str, str]:
        async with visitor(app, keys) as client:
            first = (await client.get("/frames/1")).text
            keep_one_more(path, 1)
            return first, (await client.get("/frames/1")).text

    with reckoned_slowly(monkeypatch, path, Patience(0.1, 60.0, 0.1)) as (app, keys):
        first, second = asyncio.run(ask(app, keys))
    assert ANEW not in first and ANEW in second


def test_two_visitors_of_one_page_have_it_counted_once(monkeypatch: pytest.MonkeyPatch, path: Path) -> None:
    asked: list[str] = []

    class Noted(Reckoner):
        def answer(self, message: Message) -> Answer:
            asked.append(message.name)
            return super().answer(message)

    monkeypatch.setattr(estimates_module, "Reckoner", Noted)
    keys = Keys()

    async def ask(app: Any) -> None:
        async with visitor(app, keys) as client:
            await asyncio.gather(*(client.get("/progress") for _ in range(5)))

    with application(path, Reach(DEFAULT_PORT), keys) as app:
        asyncio.run(ask(app))
    assert asked.count("progress") == 2  # the frames first, then the page
    assert asked[-1] == "" and len(asked) == 3


def test_who_asks_again_for_what_was_forgotten_waits_no_longer_than_others(
    monkeypatch: pytest.MonkeyPatch, path: Path
) -> None:
    """As long as nobody writes: a page of a reading that began is as new as one of another reading."""
    steps, is_free, seen = threading.Semaphore(0), threading.Event(), []

    class Stepwise(Reckoner):
        def answer(self, message: Message) -> Answer:
            if message.query:
                assert is_free.is_set() or steps.acquire(timeout=PATIENT_S)
                seen.append(message.query["ev100"][0])
            return super().answer(message)

    monkeypatch.setattr(estimates_module, "Reckoner", Stepwise)
    monkeypatch.setattr(estimates_module, "MOST_KEPT", 1)
    estimates = Estimates(path)

    def ask(ev100: int) -> asyncio.Task[Any]:
        return asyncio.create_task(estimates.page("plan", {"ev100": [str(ev100)]}))

    async def asked() -> None:
        await estimates.page("plan")  # all parts are made
        tasks = [ask(number) for number in (1, 2, 3)]
        await asyncio.sleep(0.1)
        for task in tasks[:2]:  # the page of 1 is kept until that of 2 comes
            steps.release()
            await task
        tasks += [ask(1), ask(4)]
        await asyncio.sleep(0.1)
        is_free.set()  # whoever comes late for a page that is forgotten by then asks once more, and perhaps again
        steps.release()
        await asyncio.gather(*tasks)

    asyncio.run(asked())
    assert seen[:5] == ["1", "2", "3", "1", "4"]
    estimates.close()


def test_pages_of_one_reading_are_of_one_moment(path: Path) -> None:
    reckoner = Reckoner(path)
    assert reckoner.answer(Message("journal", is_first=True)) == Answer()
    keep_one_more(path)
    page = reckoner.answer(Message("journal")).page
    assert page is not None and "you kept 20" in page.sentence
    while (standing := reckoner.answer(Message("standing")).page) is None:
        pass
    assert "20 were kept" in standing.sentence
    reckoner.answer(Message(""))
    assert reckoner.answer(Message("journal", is_first=True)) == Answer()
    page = reckoner.answer(Message("journal")).page
    assert page is not None and "you kept 21" in page.sentence
    reckoner.close()


def test_a_reading_that_rests_lets_the_journal_shrink_its_log(path: Path) -> None:
    reckoner = Reckoner(path)
    while reckoner.answer(Message("journal", is_first=True)).page is None:
        pass
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'keeper' where id = 5")
    assert connection.execute("pragma wal_checkpoint(truncate)").fetchone()[0] == 1  # held by the reading
    reckoner.answer(Message(""))
    assert connection.execute("pragma wal_checkpoint(truncate)").fetchone()[0] == 0
    connection.close()
    reckoner.close()


def test_the_watch_sees_what_others_write(path: Path) -> None:
    watch = Watch(path)
    before = watch.version()
    assert watch.version() == before
    keep_one_more(path)
    assert watch.version() != before
    watch.close()


class TestInAProcessOfItsOwn:
    def test_it_answers_as_the_thread_does(self, path: Path) -> None:
        apart, beside = Apart(partial(Reckoner, path)), Reckoner(path)
        for name in ("journal", "limits", "habits/nonsense"):
            answers = []
            for worker in (apart, beside):
                while (answer := worker.answer(Message(name, is_first=True))) == Answer():
                    pass
                answers.append(answer)
            assert repr(answers[0]) == repr(answers[1])
        apart.close()
        beside.close()

    def test_it_is_started_again_when_it_died(self, path: Path) -> None:
        apart = Apart(partial(Reckoner, path))
        assert apart._process is not None
        apart._process.kill()
        with pytest.raises(JournalError) as ended:
            apart.answer(Message("journal", is_first=True))
        assert (ended.value.problem, ended.value.next_step) == (
            "A process of the server has ended.",
            "Look again; it is started anew.",
        )
        assert apart.answer(Message("journal", is_first=True)) == Answer()
        apart.close()
        with pytest.raises(JournalError):
            apart.answer(Message("journal"))

    def test_a_large_journal_is_counted_there_and_ends_at_once(self, path: Path) -> None:
        estimates = Estimates(path, Patience(0.0, 0.05, 0.0), most_beside=0)
        with pytest.raises(CountingError):
            asyncio.run(estimates.page("standing"))
        began = time.perf_counter()
        estimates.close()
        assert time.perf_counter() - began < 1.5

    def test_it_says_what_it_found(self, path: Path) -> None:
        estimates = Estimates(path, ENDLESS, most_beside=0)
        shown = asyncio.run(estimates.page("journal"))
        assert not shown.is_old and "you kept 20" in shown.page.sentence
        with pytest.raises(JournalError) as refused:
            asyncio.run(estimates.page("habits/nonsense"))
        assert refused.value.problem == "There is no habit 'nonsense'."
        estimates.close()


def test_what_forms_asked_never_drives_a_page_out(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(estimates_module, "MOST_KEPT", 3)
    estimates = Estimates(path)
    first = asyncio.run(estimates.page("journal")).page
    plans = [asyncio.run(estimates.page("plan", {"ev100": [str(ev100)]})).page for ev100 in range(6)]
    assert asyncio.run(estimates.page("journal")).page is first
    assert asyncio.run(estimates.page("plan", {"ev100": ["5"]})).page is plans[5]
    assert asyncio.run(estimates.page("plan", {"ev100": ["0"]})).page is not plans[0]
    estimates.close()


@pytest.mark.parametrize("query", [{"sessions": ["1"] * 101}, {"limit": ["x" * 201]}, {"x" * 201: [""]}])
def test_an_address_that_asks_for_too_much_is_refused(path: Path, query: dict[str, list[str]]) -> None:
    estimates = Estimates(path)
    with pytest.raises(JournalError) as refused:
        asyncio.run(estimates.page("series", query))
    assert refused.value.problem == "The address asks for too much."
    estimates.close()


class TestInABrowser:
    pytestmark = needs_chromium

    def test_a_page_that_is_counted_shows_itself_when_it_is_ready(
        self, monkeypatch: pytest.MonkeyPatch, browser: Browser, path: Path
    ) -> None:
        with listen(0) as listener, ExitStack() as stack:
            port = listener.getsockname()[1]
            monkeypatch.setattr(estimates_module, "Reckoner", Slowly)
            keys = Keys()
            app = stack.enter_context(application(path, Reach(port), keys, patience=Patience(0.1, 0.1, 0.1)))
            server = uvicorn.Server(uvicorn.Config(app, log_level="warning", ws="none"))
            thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
            thread.start()
            stack.callback(thread.join, 20)
            stack.callback(setattr, server, "should_exit", True)
            context = browser.new_context(viewport={"width": 390, "height": 700}, color_scheme="dark")
            context.add_cookies(
                [{"name": f"thirdstop_{port}", "value": keys.cookie, "url": f"http://127.0.0.1:{port}"}]
            )
            page = context.new_page()
            seen = Seen(page)
            page.route("**/counting-*.js", lambda route: route.abort())  # it must stand still to be looked at
            page.goto(f"http://127.0.0.1:{port}/progress")
            assert page.get_by_role("heading", level=1).inner_text() == "This page is being counted anew."
            assert barriers(page) == []
            page.unroute("**/counting-*.js")
            keep_one_more(path, 4)
            page.goto(f"http://127.0.0.1:{port}/limits")
            page.get_by_role("heading", name="hand-held frames are left out").wait_for(timeout=30_000)
            keep_one_more(path)
            page.goto(f"http://127.0.0.1:{port}/limits")
            assert "being counted anew" in page.get_by_role("status").inner_text()
            assert barriers(page) == []
            assert [text for text in seen.complaints if "ERR_FAILED" not in text] == []
            context.close()
