"""The page of one frame and of two, as it is served."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest
from journals import HOSTILE, small_journal

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.guard import Keys
from analytics.dashboards.serving import application
from analytics.dataset import OpenJournal
from analytics.pages.frame import comparison_page, frame_page, own_limits

HOME = f"http://127.0.0.1:{DEFAULT_PORT}"


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "test.journal", n_sessions=2, is_simulated=True)


def test_a_frame_page_has_the_sentence_the_parts_and_the_burst_to_compare_with(journal: Path) -> None:
    with OpenJournal(journal) as opened:
        page = frame_page(opened, 8, own_limits(opened.judged_frames()))
    assert page.sentence.startswith("Frame 8 (1/15, f/4.0, ISO 400 at 50 mm): rejected for camera shake")
    assert [part.heading for part in page.parts] == [
        "Exposure and noise",
        "Depth of field",
        "Blur budget",
        "Suggestion",
        "What would have fixed it",
        "Against your own limits",
    ]
    assert (page.card.frame_id, {card.frame_id for card in page.burst}) == (8, {6, 7, 9, 10, 11})
    assert page.simulated == "Simulated data"
    for part in page.parts:
        assert all(len(row) == len(part.columns) for row in part.rows)
        assert set(part.right) <= set(part.columns)


def test_a_comparison_shows_both_frames(journal: Path) -> None:
    with OpenJournal(journal) as opened:
        page = comparison_page(opened, 1, 8, {})
    assert [card.frame_id for card in page.cards] == [1, 8]
    assert page.parts[0].columns == ("what", "frame 1", "frame 8", "stops of light")


@pytest.fixture
def get(journal: Path) -> Iterator[Any]:
    """Asks for a page as a visitor who was let in."""
    keys = Keys()
    cookies = {f"thirdstop_{DEFAULT_PORT}": keys.cookie}
    with ExitStack() as stack:
        pages = stack.enter_context(application(journal, DEFAULT_PORT, keys))

        def ask(path: str) -> httpx.Response:
            async def asked() -> httpx.Response:
                transport = httpx.ASGITransport(app=pages)
                async with httpx.AsyncClient(transport=transport, base_url=HOME, cookies=cookies) as client:
                    return await client.get(path)

            return asyncio.run(asked())

        yield ask


def test_the_page_is_served_with_links_to_compare(get: Any) -> None:
    answer = get("/frames/8")
    assert answer.status_code == 200
    assert "<h1>Frame 8 (1/15, f/4.0, ISO 400 at 50 mm): rejected for camera shake" in answer.text
    assert "Simulated data." in answer.text
    assert 'href="/frames/8/9"' in answer.text
    both = get("/frames/8/1")
    assert "differ most in" in both.text
    assert get("/sessions/1").text.count('href="/frames/8"') == 1


def test_a_frame_that_is_not_there_is_a_page_that_says_so(get: Any) -> None:
    for path in ("/frames/99", "/frames/1/99"):
        answer = get(path)
        assert answer.status_code == 404
        assert "There is no frame 99 in this journal." in answer.text


def test_a_hostile_name_is_text_on_the_page(get: Any) -> None:
    answer = get("/frames/2")
    assert answer.status_code == 200
    assert HOSTILE not in answer.text
    assert "<img src=x" not in answer.text
