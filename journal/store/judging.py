"""Judging frame by frame, safe under several clients at once: what comes next, one verdict, taking it back.

A client hands back the id of the newest verdict that it has seen; if another one was given or taken back meanwhile,
nothing is written and it is told so, with the verdict as it is now. Every verdict given here is a judging of its own,
so each can be taken back, in any order, by whoever gave it.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import format_faults, format_instant
from journal.records.judging import BurstToJudge, FrameToJudge, Given, TakenBack
from journal.records.measures import Suggestion, said_once
from journal.store.opening import writing
from journal.store.summaries import refresh, refresh_bursts
from journal.store.verdicts import COUNTS, add, begin_judging, newest, refuse_nonsense, repeat_newest

if TYPE_CHECKING:
    import sqlite3
    from datetime import datetime

    from journal.records.verdicts import Verdict

#: One frame or the frames of one burst as a person judges them. Parameters: :frame_id or null, :burst_id or null
FRAMES = f"""
select
    frames.id as frame_id, frames.session_id, frames.burst_id, frames.position_in_burst, frames.file_name,
    coalesce(frames.taken_at_local, frames.taken_at) as taken_at, frames.exposure_time_s, frames.f_number, frames.iso,
    frames.focal_length_mm, frames.verdict,
    (select group_concat(fault, '; ') from frame_faults where frame_id = frames.id) as faults,
    (select id from verdicts where frame_id = frames.id and {COUNTS}
        order by rtrim(judged_at, 'Z') desc, id desc limit 1) as verdict_id,
    exists (select 1 from previews where previews.frame_id = frames.id) as has_preview,
    suggestions.fault, suggestions.probability, suggestions.is_unsure, suggestions.probabilities, suggestions.evidence,
    suggestions.model_version, unexamined.problem as why_unexamined
from frames
left join suggestions on suggestions.frame_id = frames.id
left join unexamined on unexamined.frame_id = frames.id
where frames.id = :frame_id or frames.burst_id = :burst_id
order by frames.position_in_burst, frames.id
"""  # noqa: S608 - a constant of the store

#: Bursts of a session in the order of the day, after one of them; those that are judged throughout only if asked for.
#: Parameters: :session_id, :after or null, :judged - 1 to have them all
NEXT_BURST = """
with ordered as (
    select
        bursts.id, row_number() over (order by bursts.started_at is null, bursts.started_at, bursts.id) as place,
        exists (select 1 from frames where burst_id = bursts.id and verdict = 'unjudged') as is_open
    from bursts where bursts.session_id = :session_id
)
select id from ordered
where (:judged or is_open) and (:after is null or place > (select place from ordered where id = :after))
order by place limit 1
"""

#: Frames of a session in the order in which bursts show them, after one of them.
#: Parameters: :session_id, :after or null, :judged - 1 to have them all
NEXT_FRAME = """
with ordered as (
    select
        frames.id, frames.verdict, row_number() over (
            order by bursts.started_at is null, bursts.started_at, bursts.id, frames.position_in_burst, frames.id
        ) as place
    from frames
    left join bursts on bursts.id = frames.burst_id
    where frames.session_id = :session_id
)
select id from ordered
where (:judged or verdict = 'unjudged') and (:after is null or place > (select place from ordered where id = :after))
order by place limit 1
"""

#: How many bursts of a session have unjudged frames. Parameters: session id
OPEN_BURSTS = "select count(distinct burst_id) from frames where session_id = ? and verdict = 'unjudged'"


class JudgedMeanwhileError(JournalError):
    """Somebody judged the frame between looking and judging; `frame` is how it is now."""

    def __init__(self, frame: FrameToJudge) -> None:
        faults = f" {format_faults(frame.faults)}" if frame.faults else ""
        super().__init__(
            f"Frame {frame.frame_id} was judged meanwhile: it is {frame.verdict}{faults} now.",
            "Look at it again, then judge it.",
        )
        self.frame = frame


def frame_to_judge(connection: sqlite3.Connection, frame_id: int) -> FrameToJudge:
    """One frame as it is now.

    Raises:
        JournalError: there is no such frame.
    """
    rows = connection.execute(FRAMES, {"frame_id": frame_id, "burst_id": None}).fetchall()
    if not rows:
        raise JournalError(f"There is no frame {frame_id} in this journal.", "List the frames with: thirdstop frames")
    return _frame(rows[0])


def next_frame(
    connection: sqlite3.Connection, session_id: int, after: int | None = None, judged: bool = False
) -> FrameToJudge | None:
    """The first frame of a session after one of them, in the order of the day; unjudged ones unless all are wanted."""
    found = connection.execute(NEXT_FRAME, {"session_id": session_id, "after": after, "judged": judged}).fetchone()
    return None if found is None else frame_to_judge(connection, found["id"])


def next_burst(
    connection: sqlite3.Connection, session_id: int, after: int | None = None, judged: bool = False
) -> BurstToJudge | None:
    """The first burst of a session after one of them, in the order of the day; only bursts with unjudged frames unless
    all are wanted."""
    found = connection.execute(NEXT_BURST, {"session_id": session_id, "after": after, "judged": judged}).fetchone()
    return None if found is None else burst_to_judge(connection, found["id"])


def burst_to_judge(connection: sqlite3.Connection, burst_id: int) -> BurstToJudge:
    """One burst as it is now.

    Raises:
        JournalError: there is no such burst, or it has no frames.
    """
    rows = connection.execute(FRAMES, {"frame_id": None, "burst_id": burst_id}).fetchall()
    if not rows:
        raise JournalError(f"There is no burst {burst_id} in this journal.", "Begin with the first one of the session.")
    frames = tuple(_frame(row) for row in rows)
    session_id = rows[0]["session_id"]
    n_left = connection.execute(OPEN_BURSTS, [session_id]).fetchone()[0]
    return BurstToJudge(burst_id, session_id, frames, n_left)


def set_verdict(
    connection: sqlite3.Connection, verdict: Verdict, expected: int | None, client: str, judged_by: str, now: datetime
) -> Given:
    """Gives one verdict on the page, unless somebody else judged the frame since the client looked at it.

    Args:
        connection: an open journal.
        verdict: the frame, its verdict and faults.
        expected: `verdict_id` of the frame as the client has seen it; None where it was not judged.
        client: which page it comes from, so that its last verdict can be found again.
        judged_by: who judges.
        now: the time of day.

    Raises:
        JudgedMeanwhileError: the newest verdict is not the expected one.
        JournalError: no such frame, or a verdict that no journal can hold.
    """
    refuse_nonsense(verdict)
    with writing(connection):
        frame = frame_to_judge(connection, verdict.frame_id)
        if frame.verdict_id != expected:
            raise JudgedMeanwhileError(frame)
        last = newest(connection, verdict.frame_id)
        moment = format_instant(now)
        if last is not None:  # a verdict dated ahead, from another clock, must not outlive what is said now
            moment = max(moment, last["judged_at"], key=lambda instant: str(instant).rstrip("Z"))
        judging_id = begin_judging(connection, description_of(client), judged_by, now)
        verdict_id = add(connection, verdict, (moment, judged_by, "page"), judging_id)
        if frame.session_id is not None and frame.burst_id is not None:
            refresh_bursts(connection, frame.session_id, [frame.burst_id])
        else:
            refresh(connection, [frame.session_id])
    return Given(verdict.frame_id, verdict_id, judging_id)


def description_of(client: str) -> str:
    """What a verdict given on a page is called."""
    return f"one frame on the page {client}"


#: What one client gave one frame, by the name it gave itself. Parameters: :frame_id, :told
GIVEN = """
select verdicts.id as verdict_id, judgings.id as judging_id, judgings.taken_back_at
from verdicts join judgings on judgings.id = verdicts.judging_id
where verdicts.frame_id = :frame_id and judgings.description = :told
order by verdicts.id desc limit 1
"""


def given_before(connection: sqlite3.Connection, frame_id: int, client: str) -> Given | None:
    """What this client gave this frame earlier, taken back since or not; None where it gave nothing.

    A page that calls itself by another name for each verdict can so send one again, when no answer came, without giving
    it twice.
    """
    row = connection.execute(GIVEN, {"frame_id": frame_id, "told": description_of(client)}).fetchone()
    return None if row is None else Given(frame_id, row["verdict_id"], row["judging_id"], bool(row["taken_back_at"]))


def last_judging(connection: sqlite3.Connection, client: str | None = None) -> int | None:
    """The latest judging that was not taken back, of one client where it is named."""
    row = connection.execute(
        "select id from judgings where taken_back_at is null and (:told is null or description = :told) "
        "order by id desc limit 1",
        {"told": None if client is None else description_of(client)},
    ).fetchone()
    return None if row is None else int(row["id"])


#: Frames of a judging with their session. Parameters: judging id
FRAMES_OF_JUDGING = """
select distinct frames.id, frames.session_id, frames.verdict,
    (select group_concat(fault, '; ') from frame_faults where frame_id = frames.id) as faults
from verdicts join frames on frames.id = verdicts.frame_id
where verdicts.judging_id = ?
order by frames.id
"""


def take_back(connection: sqlite3.Connection, judging_id: int, now: datetime) -> TakenBack:
    """Takes a judging back: the verdicts before it count again, later ones stay. Nothing leaves the history.

    Raises:
        JournalError: there is no such judging, or it was taken back before.
    """
    with writing(connection):
        row = connection.execute("select * from judgings where id = ?", [judging_id]).fetchone()
        if row is None:
            raise JournalError(f"There is no judging {judging_id} in this journal.", "Judge with: thirdstop judge")
        if row["taken_back_at"] is not None:
            raise JournalError(
                f"Judging {judging_id} was taken back already.", "Judge the frames again with: thirdstop judge"
            )
        connection.execute("update judgings set taken_back_at = ? where id = ?", [format_instant(now), judging_id])
        before = connection.execute(FRAMES_OF_JUDGING, [judging_id]).fetchall()
        for frame in before:
            repeat_newest(connection, frame["id"])
        after = connection.execute(FRAMES_OF_JUDGING, [judging_id]).fetchall()
        changed = [now_ for was, now_ in zip(before, after, strict=True) if tuple(was) != tuple(now_)]
        refresh(connection, {frame["session_id"] for frame in changed})
        n_verdicts = connection.execute("select count(*) from verdicts where judging_id = ?", [judging_id]).fetchone()[
            0
        ]
    return TakenBack(
        judging_id,
        row["description"],
        row["made_at"],
        n_verdicts,
        tuple(frame["id"] for frame in changed),
        sum(frame["verdict"] == "unjudged" for frame in changed),
    )


_SAME_NAME = (
    "frame_id", "session_id", "burst_id", "position_in_burst", "file_name", "taken_at", "exposure_time_s", "f_number",
    "iso", "focal_length_mm", "verdict", "verdict_id", "why_unexamined",
)  # fmt: skip


def _frame(row: sqlite3.Row) -> FrameToJudge:
    return FrameToJudge(
        **{name: row[name] for name in _SAME_NAME},
        faults=tuple(row["faults"].split("; ")) if row["faults"] else (),
        has_preview=bool(row["has_preview"]),
        suggestion=suggestion_in(row),
    )


def suggestion_in(row: sqlite3.Row) -> Suggestion | None:
    """The suggestion in a row that was joined with `suggestions`; None where the frame is not examined."""
    if row["probabilities"] is None:
        return None
    return Suggestion(
        fault=row["fault"],
        probability=row["probability"],
        is_unsure=bool(row["is_unsure"]),
        probabilities=json.loads(row["probabilities"]),
        evidence=said_once(json.loads(row["evidence"])),
        model_version=row["model_version"],
    )
