"""The list of the frames that a filter means, some at a time, the newest session first."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics import queries
from analytics.dataset import choice_sql
from analytics.dataset.choosing import read_filter, shown
from analytics.pages.choice_words import filter_in_words
from analytics.pages.keepers_page import Asked, frames_address
from analytics.pages.session import FrameCard, frame_card
from journal.errors import JournalError
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.dataset import OpenJournal
    from analytics.dataset.choosing import Filter
    from analytics.pages.counting import Counting

    Integers = NDArray[np.int64]

#: Frames of one page.
FRAMES_PER_PAGE = 60
#: Which verdicts a list may be of.
VERDICTS = {"judged": "judged frame", "keeper": "keeper", "reject": "reject"}


@dataclass(frozen=True, slots=True)
class FramesOfSession:
    """The frames of one session on this page."""

    number: int
    day: str
    intent: str
    frames: list[FrameCard]


@dataclass(frozen=True, slots=True)
class Verdict:
    """How many frames a list of these verdicts has, and its address; the present one has none."""

    words: str
    address: str | None


@dataclass(frozen=True, slots=True)
class FramesPage:
    """All that the page shows."""

    simulated: str | None
    sentence: str
    verdicts: list[Verdict]
    sessions: list[FramesOfSession]
    page: int
    n_pages: int
    earlier: str | None
    later: str | None
    counted: str


@dataclass(frozen=True, slots=True)
class AskedFrames:
    """What an address asks: which frames, of which verdict, which page of them."""

    chosen: Filter
    verdict: str
    page: int


def read_frames_asked(pairs: Sequence[tuple[str, str]]) -> AskedFrames:
    """The list that an address asks for.

    Raises:
        JournalError: it asks for what there is not.
    """
    own = dict(pair for pair in pairs if pair[0] in ("verdict", "page") and pair[1])
    verdict, page = own.get("verdict", "judged"), own.get("page", "1")
    if verdict not in VERDICTS:
        raise JournalError(f"{shown(verdict)} is no verdict to list.", f"Use one of: {', '.join(VERDICTS)}.")
    if not (page.isascii() and page.isdecimal() and len(page) < 9):
        raise JournalError(f"{shown(page)} is no page.", "Use a page from 1 on.")
    chosen = read_filter([pair for pair in pairs if pair[0] not in ("verdict", "page")])
    return AskedFrames(chosen, verdict, int(page))


def frames_page(journal: OpenJournal, counting: Counting, asked: AskedFrames) -> FramesPage:
    """Reads one page of the list.

    Raises:
        JournalError: there is no such page, or the filter names gear that the journal does not know.
    """
    counting.refuse_unknown_gear(asked.chosen)
    meant = counting.meant(asked.chosen)
    judged, keepers = counting.choices.n_judged[meant], counting.choices.n_keepers[meant]
    n_judged, n_keepers = int(judged.sum()), int(keepers.sum())
    counts = {"judged": n_judged, "keeper": n_keepers, "reject": n_judged - n_keepers}
    n_pages = max(1, -(-counts[asked.verdict] // FRAMES_PER_PAGE))
    if not 1 <= asked.page <= n_pages:
        raise JournalError(f"The list has no page {asked.page}.", f"Use a page from 1 to {n_pages}.")
    per_row = {"judged": judged, "keeper": keepers, "reject": judged - keepers}[asked.verdict]
    rows = _rows(journal, counting, asked, meant[per_row > 0], per_row[per_row > 0])
    return FramesPage(
        simulated=journal.simulated(),
        sentence=_sentence(asked, counts),
        verdicts=[
            Verdict(format_count(counts[name], noun), None if name == asked.verdict else _address(asked, name, 1))
            for name, noun in VERDICTS.items()
        ],
        sessions=_by_session(journal, rows),
        page=asked.page,
        n_pages=n_pages,
        earlier=_address(asked, asked.verdict, asked.page - 1) if asked.page > 1 else None,
        later=_address(asked, asked.verdict, asked.page + 1) if asked.page < n_pages else None,
        counted=Asked(("exposure_time",), asked.chosen).address(),
    )


def _sentence(asked: AskedFrames, counts: dict[str, int]) -> str:
    """How many frames a list has: At 1/500: 4 rejects among 12 judged frames."""
    judged = said = format_count(counts["judged"], VERDICTS["judged"])
    if asked.verdict != "judged":
        said = f"{format_count(counts[asked.verdict], VERDICTS[asked.verdict])} among {judged}"
    is_of_all = not (asked.chosen.conditions or asked.chosen.since or asked.chosen.until)
    return f"{said}." if is_of_all else f"{filter_in_words(asked.chosen)}: {said}."


def _address(asked: AskedFrames, verdict: str, page: int) -> str:
    more = {"verdict": verdict} if verdict != "judged" else {}
    return frames_address(asked.chosen, **more, **({"page": str(page)} if page > 1 else {}))


def _rows(
    journal: OpenJournal, counting: Counting, asked: AskedFrames, places: Integers, counts: Integers
) -> list[dict[str, Any]]:
    """The frames of the page: only those bursts are read that it shows, found by how many frames come before them."""
    if not len(places):
        return []
    starts = np.flatnonzero(np.diff(counting.choices.burst[places], prepend=-1))
    n_frames = np.add.reduceat(counts, starts)
    owners = counting.choices.session[places[starts]]
    numbers = counting.choices.burst_ids[counting.choices.burst[places[starts]]]
    first_frame = (asked.page - 1) * FRAMES_PER_PAGE
    # sessions come in their order already; within those of the page, bursts by time
    first, last = _reached(n_frames, first_frame)
    low, high = np.searchsorted(owners, owners[first], "left"), np.searchsorted(owners, owners[last], "right")
    by_time = low + np.lexsort((_order_of_time(journal, numbers[low:high]), owners[low:high]))
    before = int(n_frames[:low].sum())
    first, last = _reached(n_frames[by_time], first_frame - before)
    before += int(n_frames[by_time[:first]].sum())
    shown_bursts = by_time[first : last + 1]
    sessions = counting.choices.session_ids[owners[shown_bursts]].tolist()
    order = {pair: place for place, pair in enumerate(zip(sessions, numbers[shown_bursts].tolist(), strict=True))}
    where, bound = asked.chosen.where()
    verdict = None if asked.verdict == "judged" else asked.verdict
    sql = choice_sql.CHOSEN_FRAMES.format(where=where)
    bursts = json.dumps([number for _, number in order])
    rows = journal.rows(sql, {"bursts": bursts, "verdict": verdict, **bound})
    rows = [row for row in rows if (row["session_id"], row["burst_id"]) in order]
    rows.sort(key=lambda row: order[row["session_id"], row["burst_id"]])
    return rows[first_frame - before : first_frame - before + FRAMES_PER_PAGE]


def _reached(n_frames: Integers, first_frame: int) -> tuple[int, int]:
    """The first and the last of some bursts that a page reaches which begins with a frame of them."""
    ends = np.cumsum(n_frames)
    first, last = np.searchsorted(ends, [first_frame, first_frame + FRAMES_PER_PAGE - 1], side="right")
    return int(first), min(int(last), len(ends) - 1)


def _order_of_time(journal: OpenJournal, bursts: Integers) -> Integers:
    """The place of each of these bursts in the order of time."""
    rows = journal.rows(choice_sql.BURSTS_BY_TIME, {"bursts": json.dumps(bursts.tolist())})
    places = {row["id"]: place for place, row in enumerate(rows)}
    return np.array([places.get(number, len(places)) for number in bursts.tolist()], dtype=np.int64)


def _by_session(journal: OpenJournal, rows: list[dict[str, Any]]) -> list[FramesOfSession]:
    found = []
    for number, frames in groupby(rows, key=lambda row: int(row["session_id"])):
        session = journal.rows(queries.ONE_SESSION, {"number": number})[0]
        cards = [frame_card(row) for row in frames]
        found.append(FramesOfSession(number, session["started_at"][:10], session["intent"] or "", cards))
    return found
