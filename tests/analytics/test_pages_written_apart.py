"""Pages of a large journal, which a process of its own writes: the same as a thread writes, for whoever asks."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from journals import small_journal
from visiting import served

from analytics.dashboards import DEFAULT_PORT, serving
from analytics.dashboards.apart import Apart
from analytics.dashboards.estimates import Estimates, Patience
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.reading import Reader
from analytics.dashboards.scribe import (
    Asked,
    CommentsAsked,
    CountedLimits,
    FrameAsked,
    NumbersAsked,
    Scribe,
    SessionAsked,
)
from analytics.dashboards.serving import application, side_by_side
from analytics.dashboards.visitors import Visitor
from analytics.dashboards.writing import Writer
from journal.records.mentors import Place
from journal.store.mentors import add_link
from journal.store.opening import open_journal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: Long enough for a busy machine [s].
PATIENT_S = 60.0
#: What is drawn anew for each answer to a mentor.
DRAWN = re.compile(r'name="(?:token|key)" value="[^"]*"|[0-9a-f]{32}')
ADDRESSES = (
    "/",
    "/sessions/1",
    "/frames/1",
    "/frames/1/2",
    "/standing",
    "/limits",
    "/progress",
    "/advice",
    "/comments",
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "a.journal", 4)


@pytest.fixture
def apart(path: Path) -> Iterator[Reader]:
    reader = Reader(path, Writer({}, None), most_beside=0)
    moved(reader)
    yield reader
    reader.close()


def moved(reader: Reader) -> Apart:
    """The process that writes the pages from now on."""
    ready = reader.move_apart()
    assert ready is not None
    ready.result()
    assert isinstance(reader._pages._worker, Apart) and reader.move_apart() is None
    return reader._pages._worker


def visitors(path: Path) -> list[Visitor]:
    """The photographer at this machine and beyond it, and a mentor."""
    connection = open_journal(path)
    link = add_link(connection, "Ada Quill", 14, datetime.now(UTC))
    connection.close()
    return [Visitor(), Visitor(is_signed_in=True), Visitor(link, "a token")]


def asked_by(visitor: Visitor, path: Path) -> list[Asked]:
    """Every kind of page, there or not."""
    estimates = Estimates(path)
    limits, first = (asyncio.run(page) for page in (estimates.limits(), estimates.page("journal")))
    estimates.close()
    own = CountedLimits(limits.page, is_old=False)
    numbers = {"page": first.page, "is_old": False, "here": "/"}
    return [
        SessionAsked(visitor, 1, 1),
        SessionAsked(visitor, 1, 99),
        SessionAsked(visitor, 99, 1),
        FrameAsked(visitor, 3, None, own, "/frames/3"),
        FrameAsked(visitor, 3, None, CountedLimits(limits.page, is_old=True), "/frames/3"),
        FrameAsked(visitor, 3, 4, own, "/frames/3/4"),
        FrameAsked(visitor, 999, None, own, "/frames/999"),
        NumbersAsked(visitor, "dashboard", numbers, Place("whole")),
        CommentsAsked(visitor),
    ]


def test_a_process_writes_what_a_thread_writes(path: Path, apart: Reader) -> None:
    beside = Reader(path, Writer({}, None))
    n_pages = 0
    for visitor in visitors(path):
        for asked in asked_by(visitor, path):
            there, here = (asyncio.run(reader.written(asked)) for reader in (apart, beside))
            assert there.status == here.status
            assert DRAWN.sub("", there.text) == DRAWN.sub("", here.text)
            assert len(there.text) > 1000
            n_pages += there.status == 200
    beside.close()
    assert n_pages == 3 * 6


def test_a_change_shows_at_once(path: Path, apart: Reader) -> None:
    asked = SessionAsked(Visitor(), 1, 1)
    before = asyncio.run(apart.written(asked)).text
    assert asyncio.run(apart.written(asked)).text == before
    connection = open_journal(path)
    connection.execute("update sessions set intent = 'A kingfisher, if it comes' where id = 1")
    connection.close()
    assert "A kingfisher, if it comes" in asyncio.run(apart.written(asked)).text


def test_a_process_that_died_is_said_and_started_again(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "MOST_BESIDE", 0)
    with served(path) as place:
        visitor = place.photographer()
        assert visitor.get("/sessions/1").status_code == 200
        assert isinstance(place.application.reader._pages._worker, Scribe)  # until the other is ready
        worker = moved(place.application.reader)
        assert visitor.get("/sessions/1").status_code == 200
        assert worker._process is not None
        os.kill(worker._process.pid, signal.SIGTERM)
        worker._process.wait()
        ended = visitor.get("/sessions/1")
        assert ended.status_code == 503
        assert "A process of the server has ended." in ended.text and "Look again; it is started anew." in ended.text
        assert visitor.get("/sessions/1").status_code == 200


def test_of_journals_side_by_side_none_has_a_process_for_its_pages(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "MOST_BESIDE", 0)
    with side_by_side({"heron": path}, (18801, 18802), Keys()) as shown:
        reader = shown.applications[18802].reader
        assert reader.move_apart() is None and isinstance(reader._pages._worker, Scribe)


def test_pages_move_while_the_server_starts(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "MOST_BESIDE", 0)
    with application(path, Reach(DEFAULT_PORT), Keys(), patience=Patience()) as app:
        began = time.monotonic()
        while not isinstance(app.reader._pages._worker, Apart):
            assert time.monotonic() - began < PATIENT_S
            time.sleep(0.05)
        first = asyncio.run(app.reader.written(SessionAsked(Visitor(), 1, 1)))
    assert first.status == 200
