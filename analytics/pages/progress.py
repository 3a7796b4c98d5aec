"""Progress: keepers over time at equal scenes, beside the plain count, with the reason for the difference."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from analytics.statistics.progress import ENOUGH_SESSIONS, WIDEST_HALF, progress, timeline
from journal.notation import format_count, format_signed

if TYPE_CHECKING:
    from analytics.pages.judged import Ground

#: What a condition that drifted is called in a sentence; others are called by their own name.
DRIVERS = {
    "pace": "the subjects' pace",
    "support": "the camera support",
    "body": "the body",
    "priority": "what came first",
    "distance": "the distance",
    "subject depth": "the subjects' depth",
    "focal length": "the focal length",
    "flash": "flash",
    "backlight": "light from behind",
    "stabilisation": "stabilisation",
    "light": "the light",
}
#: Below this the two numbers say the same [share].
SMALL = 0.03
#: More points than this lie on each other with their intervals, on a page as in a table.
MOST_POINTS = 120
#: What no log can tell apart from progress.
CAUTION = (
    "What is not logged can drift too: easier subjects look like progress, and so does milder judging. "
    "Judging some old frames again, without the old verdicts, tells whether you became milder; thirdstop serve offers "
    "it each quarter where it lists what to judge."
)


@dataclass(frozen=True, slots=True)
class Change:
    """A change of keepers from the first day to the last; shares in [-1, 1]."""

    name: str
    change: float
    low: float
    high: float

    @property
    def shown(self) -> str:
        """Of 100 frames with the interval: +12 (-4 to +28)."""
        return "{} ({} to {})".format(*(format_signed(100 * value) for value in (self.change, self.low, self.high)))


@dataclass(frozen=True, slots=True)
class Reason:
    """A condition that drifted, and by how much that alone moved the plain count; a share in [-1, 1]."""

    name: str
    change: float

    @property
    def shown(self) -> str:
        """Of 100 frames: +3."""
        return format_signed(100 * self.change)


@dataclass(frozen=True, slots=True)
class ProgressPage:
    """The change at equal scenes, the plain one, the reasons for the difference, and every session as a point."""

    simulated: str | None
    sentence: str
    judged: str
    verdict: str
    n_frames: int
    n_bursts: int
    n_sessions: int
    changes: list[Change]
    reasons: list[Reason]
    reason: str
    judging: str
    points: list[dict[str, Any]]
    surer: str


def progress_page(ground: Ground, level: float = 0.95) -> ProgressPage:
    """Whether the photographer is improving.

    Args:
        ground: what is judged.
        level: coverage of the intervals, in (0, 1).
    """
    found = progress(ground.frames, level)
    is_known = found.change == found.change
    changes = [
        Change("at equal scenes", found.change, found.low, found.high),
        Change("plain count", found.raw_change, found.raw_low, found.raw_high),
    ]
    reasons = [Reason(DRIVERS.get(driver.name, driver.name), driver.change) for driver in found.drivers]
    return ProgressPage(
        simulated=ground.simulated,
        sentence=ground.missing or _sentence(changes, found.verdict, found.n_sessions),
        judged=ground.said,
        verdict=found.verdict,
        n_frames=found.n_frames,
        n_bursts=found.n_bursts,
        n_sessions=found.n_sessions,
        changes=changes if is_known else [],
        reasons=reasons if is_known else [],
        reason=_reason(changes, reasons) if is_known else "",
        judging=ground.judging,
        points=[] if ground.missing else _points(ground, level),
        surer=_surer(found.verdict, found.n_sessions),
    )


def _sentence(changes: list[Change], verdict: str, n_sessions: int) -> str:
    equal, plain = changes
    if verdict == "not enough":
        return (
            f"There is not enough to say whether you improve: {format_count(n_sessions, 'judged session')}; "
            f"{ENOUGH_SESSIONS} and an interval within {100 * WIDEST_HALF:.0f} of 100 either way are needed."
        )
    said = {
        "better": "you keep more than at the beginning",
        "worse": "you keep fewer than at the beginning",
        "no clear change": "there is no clear change",
    }[verdict]
    plainly = f"counted plainly {plain.shown}"
    return f"At equal scenes {said}: {equal.shown} of 100 frames from the first day to the last; {plainly}."


def _reason(changes: list[Change], reasons: list[Reason]) -> str:
    """Why the two numbers differ, by the conditions that drifted most."""
    equal, plain = changes
    apart = plain.change - equal.change
    if abs(apart) < SMALL or not reasons:
        return "The scenes did not become easier or harder by much, so both numbers say the same."
    same = [reason for reason in reasons if reason.change * apart > 0][:2]
    named = " and ".join(f"{reason.name} ({reason.shown} of 100)" for reason in same)
    easier = "easier" if apart > 0 else "harder"
    why = f", most of all by {named}" if named else ""
    return f"The scenes became {easier}{why}; the plain count mixes that with what you did."


def _points(ground: Ground, level: float) -> list[dict[str, Any]]:
    """One point per session: day, frames, keepers plain and at equal scenes, these with their interval."""
    return [
        {
            "session": int(row["session"]),
            "day": row["day"],
            "date": ground.date(row["day"]),
            "n_frames": int(row["n_frames"]),
            "raw": row["raw"],
            "adjusted": row["adjusted"],
            "low": row["low"],
            "high": row["high"],
        }
        for row in timeline(ground.frames, level).to_dict("records")
        if row["session"] is not None
    ]


def together(points: list[dict[str, Any]], most: int = MOST_POINTS) -> list[dict[str, Any]]:
    """Sessions that follow each other as one point, where there are more than can be told apart on a page.

    A point's shares are those of all its frames; `name` is which sessions it is, `n_sessions` how many. Its interval
    takes the sessions for independent, so it is narrower than theirs.
    """
    each = max(1, -(-len(points) // most))
    return [_together(points[place : place + each]) for place in range(0, len(points), each)]


def _together(points: list[dict[str, Any]]) -> dict[str, Any]:
    n_frames = sum(point["n_frames"] for point in points)
    numbers = sorted({point["session"] for point in (points[0], points[-1])})
    shares = {name: sum(point["n_frames"] * point[name] for point in points) / n_frames for name in ("raw", "adjusted")}
    ends = {}
    for name, side in (("low", -1), ("high", 1)):
        apart = math.hypot(*(point["n_frames"] * (point["adjusted"] - point[name]) for point in points)) / n_frames
        ends[name] = shares["adjusted"] + side * apart
    middle = points[len(points) // 2]
    named = {"name": " to ".join(map(str, numbers)), "n_sessions": len(points)}
    return {**middle, "session": points[0]["session"], "n_frames": n_frames, **shares, **ends, **named}


def _surer(verdict: str, n_sessions: int) -> str:
    more = ""
    if verdict in ("no clear change", "not enough"):
        wanted = max(ENOUGH_SESSIONS - n_sessions, 0)
        more = (
            f"{wanted} more judged sessions are needed before anything is said. "
            if wanted
            else "Twice as narrow an interval takes about four times as many sessions. "
        )
    return more + CAUTION


def progress_as_json(page: ProgressPage, ground: Ground) -> dict[str, Any]:
    """All numbers, for scripts."""
    mine = {name: value for name, value in asdict(page).items() if name not in ("simulated", "judged")}
    return {**ground.as_json(), **mine}
