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
#: What is left of the difference when the conditions are named.
REST = "the rest"
#: Below this the two numbers say the same [share].
SMALL = 0.03
#: More points than this lie on each other with their intervals, on a page as in a table.
MOST_POINTS = 120
#: What a change is of, and what is held equal.
LINE = (
    "Equal scenes are as if light, subject, distance, gear, support and priority had been alike in every session; what "
    "they did has to be estimated too, so this interval can be the wider one. "
    "Changes are those of a line through all sessions, not of the first and the last alone. "
)
#: What no log can tell apart from progress.
CAUTION = (
    "What is not logged can drift too: easier subjects look like progress, and so does milder judging. "
    "Judging some old frames again, without the old verdicts, tells whether you became milder; the journal's "
    "page for judging offers it each quarter."
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
    """A condition that drifted, and by how much that alone moved the plain count; a share in [-1, 1].

    The last is the rest, in whole hundredths: with it the parts and the change at equal scenes add up, as they are
    shown, to the plain count.
    """

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
    is_known = found.change == found.change and found.low == found.low
    changes = [
        Change("at equal scenes", found.change, found.low, found.high),
        Change("plain count", found.raw_change, found.raw_low, found.raw_high),
    ]
    drivers = [Reason(DRIVERS.get(driver.name, driver.name), driver.change) for driver in found.drivers]
    reasons = with_rest(changes, drivers) if is_known else []
    return ProgressPage(
        simulated=ground.simulated,
        sentence=ground.missing or progress_sentence(changes, found.verdict, found.n_sessions),
        judged=ground.said,
        verdict=found.verdict,
        n_frames=found.n_frames,
        n_bursts=found.n_bursts,
        n_sessions=found.n_sessions,
        changes=changes if is_known else [],
        reasons=reasons,
        reason=reason_sentence(changes, reasons) if is_known else "",
        judging=ground.judging,
        points=[] if ground.missing else _points(ground, level),
        surer=_surer(found.verdict, found.n_sessions, is_known),
    )


def progress_sentence(changes: list[Change], verdict: str, n_sessions: int) -> str:
    equal, plain = changes
    if verdict == "not enough":
        asked = "by how much your keeping changed" if equal.low > 0 or equal.high < 0 else "whether you improve"
        return f"It cannot be told yet {asked}: {_lacking(equal, n_sessions)}."
    said = {
        "better": "you keep more than at the beginning",
        "worse": "you keep fewer than at the beginning",
        "no clear change": "there is no clear change",
    }[verdict]
    plainly = f"counted plainly {plain.shown}"
    return f"At equal scenes {said}: along a line through all sessions {equal.shown} of 100 frames; {plainly}."


def _lacking(equal: Change, n_sessions: int) -> str:
    """Which of the conditions is not met under which something is said."""
    judged = format_count(n_sessions, "judged session")
    if n_sessions < ENOUGH_SESSIONS:
        return f"{judged}; {ENOUGH_SESSIONS} are needed"
    if equal.change != equal.change:
        return f"all {judged} are of one day"
    if equal.low != equal.low:
        return f"all {judged} kept the same share, so nothing tells how far chance alone would move it"
    low, high = 100 * equal.low, 100 * equal.high
    places = 0 if round(high) - round(low) > 200 * WIDEST_HALF else 1
    ends = f"{format_signed(low, places)} and {format_signed(high, places)}"
    widest = f"it must be known to within {100 * WIDEST_HALF:.0f} either way"
    return f"over {judged} the change lies between {ends} of 100, and {widest}"


def with_rest(changes: list[Change], drivers: list[Reason]) -> list[Reason]:
    """The conditions with what they leave of the difference between the two changes, where that shows.

    None where they leave more than any of them is: parts that do not add up explain nothing.
    """
    equal, plain = (round(100 * change.change) for change in changes)
    rest = plain - equal - sum(round(100 * driver.change) for driver in drivers)
    if abs(rest) > max((abs(round(100 * driver.change)) for driver in drivers), default=0):
        return []
    return [*drivers, Reason(REST, rest / 100)] if rest else drivers


def reason_sentence(changes: list[Change], reasons: list[Reason]) -> str:
    """By what the two numbers differ."""
    equal, plain = (round(100 * change.change) for change in changes)
    if abs(plain - equal) < 100 * SMALL:
        return "What the scenes were like moved the plain count little on the whole, so both numbers say the same."
    way = "higher" if plain > equal else "lower"
    apart = f"The plain count is {abs(plain - equal)} of 100 {way} than that at equal scenes"
    if not reasons:
        return f"{apart}; how much of that is due to which condition cannot be told."
    parts = [f"{reason.name} {reason.shown}" for reason in reasons]
    named = " and ".join([*([", ".join(parts[:-1])] if parts[:-1] else []), parts[-1]])
    return f"{apart}, by about: {named}. How sure these parts are is not known."


def _points(ground: Ground, level: float) -> list[dict[str, Any]]:
    """One point per session in the order of time: day, frames, keepers plain and at equal scenes with their interval.

    The numbers of sessions are those of their entry: frames of years ago can be imported last.
    """
    rows = timeline(ground.frames, level).to_dict("records")
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
        for row in sorted(rows, key=lambda row: row["day"])
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


def _surer(verdict: str, n_sessions: int, is_known: bool) -> str:
    line = LINE if is_known else ""
    more = ""
    if verdict in ("no clear change", "not enough"):
        wanted = max(ENOUGH_SESSIONS - n_sessions, 0)
        more = (
            f"{wanted} more judged sessions are needed before anything is said. "
            if wanted
            else "Half as wide an interval takes about four times as many sessions. "
            if is_known
            else ""
        )
    return f"{line}{more}{CAUTION}"


def progress_as_json(page: ProgressPage, ground: Ground) -> dict[str, Any]:
    """All numbers, for scripts."""
    mine = {name: value for name, value in asdict(page).items() if name not in ("simulated", "judged")}
    return {**ground.as_json(), **mine}
