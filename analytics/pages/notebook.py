"""The first page and the page of one session: a sentence, what shows it, and the frames that prove it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.charts.keepers import QUESTIONS, keeper_chart
from analytics.pages.keepers import KeeperPage, keeper_page
from analytics.queries import SESSION_FRAMES, SESSION_LINES
from journal.errors import JournalError
from journal.notation import format_exposure_time, format_f_number

if TYPE_CHECKING:
    import sqlite3

    from analytics.dataset import OpenJournal

#: The charts of the first page, in order.
FIRST_SETTINGS = ("exposure_time", "stops_below_rule", "iso", "f_number")


@dataclass(frozen=True, slots=True)
class Panel:
    """A question, the chart that answers it, and the numbers behind the chart."""

    question: str
    page: KeeperPage
    spec: dict[str, Any]


@dataclass(frozen=True, slots=True)
class FirstPage:
    """Where the journal stands."""

    sentence: str
    is_simulated: bool
    sessions: tuple[dict[str, Any], ...]
    panels: tuple[Panel, ...]


@dataclass(frozen=True, slots=True)
class FrameTile:
    """A small picture with the settings written under it."""

    frame_id: int
    file_name: str
    settings: str
    verdict: str
    faults: str
    has_preview: bool


@dataclass(frozen=True, slots=True)
class SessionPage:
    """One session: what was stated, what came of it, its bursts as rows of frames."""

    session: dict[str, Any]
    sentence: str
    bursts: tuple[tuple[FrameTile, ...], ...]


def first_page(opened: OpenJournal) -> FirstPage:
    """The first page of a journal."""
    sessions = tuple(dict(row) for row in opened.rows(SESSION_LINES, {"session_id": None}))
    pages = [keeper_page(opened, setting) for setting in FIRST_SETTINGS]
    panels = tuple(Panel(QUESTIONS[page.by], page, keeper_chart(page.by, page.lines)) for page in pages if page.lines)
    return FirstPage(_standing(sessions), any(row["is_simulated"] for row in sessions), sessions, panels)


def session_page(opened: OpenJournal, session_id: int) -> SessionPage:
    """The page of one session.

    Raises:
        JournalError: there is no such session.
    """
    found = opened.rows(SESSION_LINES, {"session_id": session_id})
    if not found:
        raise JournalError(f"There is no session {session_id} in this journal.", "List them with: thirdstop sessions")
    session = dict(found[0])
    bursts: dict[int | None, list[FrameTile]] = {}
    for row in opened.rows(SESSION_FRAMES, {"session_id": session_id}):
        bursts.setdefault(row["burst_id"], []).append(_tile(row))
    rows = tuple(tuple(burst) for burst in bursts.values())
    return SessionPage(session, _what_came(session), rows)


def _standing(sessions: tuple[dict[str, Any], ...]) -> str:
    n_frames, n_judged, n_keepers = (
        sum(row[name] for row in sessions) for name in ("n_frames", "n_judged", "n_keepers")
    )
    if not sessions:
        return "The journal is empty. Log an outing with: thirdstop log"
    counts = f"{len(sessions)} sessions with {n_frames} frames"
    if n_judged == 0:
        return f"{counts}, none of them judged yet. Judge with: thirdstop judge"
    return f"{counts}; {n_keepers} keepers among {n_judged} judged."


def _what_came(session: dict[str, Any]) -> str:
    if session["n_judged"] == 0:
        return f"{session['n_frames']} frames, none judged yet."
    sentence = f"{session['n_keepers']} keepers among {session['n_judged']} judged of {session['n_frames']} frames"
    if session["commonest_fault"]:
        sentence += f"; the commonest fault is {session['commonest_fault']}"
    return f"{sentence}."


def _tile(row: sqlite3.Row) -> FrameTile:
    parts = [
        format_exposure_time(row["exposure_time_s"]) if row["exposure_time_s"] else None,
        format_f_number(row["f_number"]) if row["f_number"] else None,
        f"ISO {row['iso']}" if row["iso"] else None,
        f"{row['focal_length_mm']:g} mm" if row["focal_length_mm"] else None,
    ]
    settings = " ".join(part for part in parts if part) or "settings unknown"
    return FrameTile(
        row["id"], row["file_name"], settings, row["verdict"], row["faults"] or "", bool(row["has_preview"])
    )
