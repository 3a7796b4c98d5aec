"""Judging again, blind: choosing old keepers and rejects once a quarter, and keeping what is said of them.

The choice must not make a steady judge look changed. So a burst first gives one or two of its frames without regard to
their verdicts; only among these are as many keepers as rejects drawn, evenly along time. How many keepers and rejects
they were is stored, for an old reject that is kept now stands for more frames where rejects are many.
"""

from __future__ import annotations

import json
import random
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypeVar

from journal.errors import JournalError
from journal.notation import format_count, format_instant
from journal.records.anchors import AgainState, OldPicture
from journal.records.measures import ACCEPTED
from journal.store.opening import writing
from journal.store.remembered import recall, remember
from journal.store.verdicts import COUNTS, refuse_nonsense

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Sequence

    from journal.records.anchors import SaidAgain
    from journal.records.verdicts import Verdict

T = TypeVar("T")

#: A round belongs to a quarter of a year [days].
QUARTER_DAYS = 91
#: A verdict younger than this may be remembered [days].
OLD_DAYS = 90
#: At most so many of either verdict are shown.
MOST_OF_EACH = 60
#: Fewer of either say nothing.
LEAST_OF_EACH = 15
#: A round is offered where so many bursts hold an old keeper, and so many an old reject; bursts that are thinned to one
#: or two frames then leave enough of both.
LEAST_BURSTS = 30
#: A large journal is not read from end to end: so many bursts hold enough, also where one frame in a hundred is kept.
MOST_BURSTS = 4000
#: A burst gives at most so many frames.
MOST_OF_A_BURST = 2
#: Until when it is put off.
PUT_OFF = "judging again is put off until"

#: The verdict that counts is old, somebody gave it by looking, and the frame has a picture to look at.
#: Parameters: :before, :accepted
OLD = f"""
select 1 from verdicts left join judgings as made on made.id = verdicts.judging_id
where verdicts.id = (
        select id from verdicts where frame_id = frames.id and {COUNTS}
        order by rtrim(judged_at, 'Z') desc, id desc limit 1
    )
    and verdicts.judged_at <= :before and verdicts.source <> 'simulated'
    and coalesce(made.description, '') not like :accepted || '%'
    and exists (select 1 from previews where previews.frame_id = frames.id)
"""  # noqa: S608 - a constant of the store

#: Bursts of old sessions in the order of time; what is simulated is nobody's to judge again. Parameters: :before
BURSTS = """
select bursts.id from sessions join bursts on bursts.session_id = sessions.id
where sessions.started_at <= :before and not sessions.is_simulated
order by sessions.started_at, sessions.id, bursts.id
"""

#: Old frames of some bursts in the order of time. Parameters: :before, :accepted, :bursts - JSON list
OLD_FRAMES = f"""
select
    frames.id, frames.burst_id as burst, frames.verdict,
    exists (select 1 from anchors where anchors.frame_id = frames.id) as is_used
from frames join sessions on sessions.id = frames.session_id
where frames.burst_id in (select value from json_each(:bursts)) and frames.verdict <> 'unjudged' and exists ({OLD})
order by sessions.started_at, sessions.id, burst, frames.position_in_burst, frames.id
"""  # noqa: S608 - a constant of the store

#: How many bursts hold an old frame with this verdict, counted no further than to :enough. Sessions come first (a cross
#: join keeps that order), so that frames are looked at only until there are enough.
#: Parameters: :verdict, :before, :accepted, :enough
OLD_BURSTS = f"""
select count(*) from (
    select distinct frames.burst_id
    from sessions cross join frames on frames.session_id = sessions.id and frames.verdict = :verdict
    where sessions.started_at <= :before and not sessions.is_simulated and frames.burst_id is not null
        and exists ({OLD})
    limit :enough
)
"""  # noqa: S608 - a constant of the store

#: Takes a frame up with the verdict it was chosen for, and the moment of the one that counts.
#: Parameters: :round, :place, :frame, :verdict
TAKE_UP = f"""
insert into anchors (round_id, place, frame_id, old_verdict, old_judged_at)
select :round, :place, frame_id, :verdict, judged_at from verdicts where frame_id = :frame and {COUNTS}
order by rtrim(judged_at, 'Z') desc, id desc limit 1
"""  # noqa: S608 - a constant of the store

#: Pictures of a round that nobody judged again yet, or one of them by its frame; in their order, after a place.
#: Parameters: :round, :after, :frame or null, :limit
PICTURES = """
select
    seen.place, seen.frame_id, seen.verdict,
    frames.exposure_time_s, frames.f_number, frames.iso, frames.focal_length_mm,
    (select group_concat(fault, '; ') from anchor_verdict_faults where anchor_verdict_id = seen.verdict_id) as faults,
    exists (select 1 from files where files.frame_id = frames.id and kind not in ('sidecar', 'table')
        and path not like 'simulated/%') as has_original
from anchors_judged as seen join frames on frames.id = seen.frame_id
where seen.round_id = :round and seen.place > :after
    and case when :frame is null then seen.verdict is null else seen.frame_id = :frame end
order by seen.place limit :limit
"""


def again_state(connection: sqlite3.Connection, now: datetime) -> AgainState:
    """Whether old frames are to be judged again now."""
    last = connection.execute(
        "select id, chosen_at, (select count(*) from anchors where round_id = anchor_rounds.id) as n_pictures, "
        "(select count(*) from anchors_judged where round_id = anchor_rounds.id and verdict is null) as n_left "
        "from anchor_rounds order by id desc limit 1"
    ).fetchone()
    numbers = (None, 0, 0) if last is None else (last["id"], last["n_pictures"], last["n_left"])
    if last is not None and datetime.fromisoformat(last["chosen_at"]) > now - timedelta(days=QUARTER_DAYS):
        return AgainState("open" if last["n_left"] else "rest", *numbers)
    until = recall(connection, PUT_OFF)
    is_put_off = until is not None and format_instant(now) < until
    return AgainState("rest" if is_put_off or not _are_enough(connection, now) else "due", *numbers)


def _are_enough(connection: sqlite3.Connection, now: datetime) -> bool:
    asked = {**_old_before(now), "enough": LEAST_BURSTS}
    return all(
        connection.execute(OLD_BURSTS, {**asked, "verdict": verdict}).fetchone()[0] == LEAST_BURSTS
        for verdict in ("reject", "keeper")
    )


def _old_before(now: datetime) -> dict[str, str]:
    return {"before": format_instant(now - timedelta(days=OLD_DAYS)), "accepted": ACCEPTED}


def put_off(connection: sqlite3.Connection, now: datetime) -> None:
    """Says nothing more of judging again until the next quarter."""
    remember(connection, PUT_OFF, format_instant(now + timedelta(days=QUARTER_DAYS)))


def begin_round(connection: sqlite3.Connection, seed: int, now: datetime) -> AgainState:
    """Chooses the frames of this quarter, once: where a round is open or done already, that one stays.

    Raises:
        JournalError: too few old keepers or rejects of different bursts; it is put off to the next quarter then.
    """
    chance = random.Random(seed)  # noqa: S311 - a draw that can be repeated, no secret
    pool, chosen = _choose(_old_frames(connection, chance, now), chance)  # others may write meanwhile
    with writing(connection):
        state = again_state(connection, now)
        if state.round_id is not None and state.kind != "due":
            return state
        if len(chosen) >= 2 * LEAST_OF_EACH:
            _store(connection, (seed, *pool), chosen, now)
            return again_state(connection, now)
        put_off(connection, now)
    raise JournalError(
        f"Only {format_count(len(chosen) // 2, 'old keeper')} and as many rejects of different bursts can be judged "
        f"again; {LEAST_OF_EACH} of each are needed.",
        "Judge more frames; it is offered again in the next quarter.",
    )


def _old_frames(connection: sqlite3.Connection, chance: random.Random, now: datetime) -> list[sqlite3.Row]:
    """Old frames of all bursts, or of as many as are enough, drawn without regard to what is in them."""
    asked = _old_before(now)
    bursts = [row[0] for row in connection.execute(BURSTS, {"before": asked["before"]})]
    drawn = _evenly(bursts, min(MOST_BURSTS, len(bursts)), chance)
    return connection.execute(OLD_FRAMES, {**asked, "bursts": json.dumps(drawn)}).fetchall()


def _choose(old: Sequence[sqlite3.Row], chance: random.Random) -> tuple[tuple[int, int], list[sqlite3.Row]]:
    """Keepers and rejects of the pool, and the frames in the order in which they will be shown."""
    counts: tuple[int, int] = (0, 0)
    drawn: list[sqlite3.Row] = []
    for most in range(1, MOST_OF_A_BURST + 1):
        pool = _thinned(old, most, chance)
        fresh = {word: [row for row in pool if row["verdict"] == word and not row["is_used"]] for word in _WORDS}
        n_each = min(MOST_OF_EACH, *(len(rows) for rows in fresh.values()))
        counts = sum(row["verdict"] == "keeper" for row in pool), sum(row["verdict"] == "reject" for row in pool)
        drawn = [row for word in _WORDS for row in _evenly(fresh[word], n_each, chance)]
        if n_each == MOST_OF_EACH:
            break
    chance.shuffle(drawn)
    return counts, drawn


_WORDS = ("keeper", "reject")


def _thinned(old: Iterable[sqlite3.Row], most: int, chance: random.Random) -> list[sqlite3.Row]:
    """At most so many frames of each burst, drawn without regard to their verdicts."""
    bursts: dict[int, list[sqlite3.Row]] = {}
    for row in old:
        bursts.setdefault(row["burst"], []).append(row)
    return [row for rows in bursts.values() for row in _evenly(rows, min(most, len(rows)), chance)]


def _evenly(rows: Sequence[T], n: int, chance: random.Random) -> list[T]:
    """So many of the rows at even distances from a random start: each is as likely as any other."""
    if not n:
        return []
    start, distance = chance.random(), len(rows) / n
    last = len(rows) - 1  # a product may come out a trace too large
    return [rows[min(last, int((start + number) * distance))] for number in range(n)]


def _store(
    connection: sqlite3.Connection, made_of: tuple[int, int, int], chosen: Sequence[sqlite3.Row], now: datetime
) -> None:
    cursor = connection.execute(
        "insert into anchor_rounds (seed, n_keepers, n_rejects, chosen_at) values (?, ?, ?, ?)",
        [*made_of, format_instant(now)],
    )
    connection.executemany(
        TAKE_UP,
        [
            {"round": cursor.lastrowid, "place": place, "frame": row["id"], "verdict": row["verdict"]}
            for place, row in enumerate(chosen, start=1)
        ],
    )


def pictures_left(connection: sqlite3.Connection, round_id: int, after: int, limit: int) -> list[OldPicture]:
    """The next pictures of a round that nobody judged again, after a place."""
    asked = {"round": round_id, "after": after, "frame": None, "limit": limit}
    return [_picture(row) for row in connection.execute(PICTURES, asked)]


def old_picture(connection: sqlite3.Connection, frame_id: int) -> OldPicture:
    """One frame that was chosen, with what was said of it again.

    Raises:
        JournalError: no round chose it.
    """
    anchor = _anchor(connection, frame_id)
    asked = {"round": anchor["round_id"], "after": 0, "frame": frame_id, "limit": 1}
    return _picture(connection.execute(PICTURES, asked).fetchone())


def say_again(connection: sqlite3.Connection, verdict: Verdict, said: SaidAgain) -> None:
    """Keeps what is said of a chosen frame; the same posting is kept once, and of several the last one counts.

    Raises:
        JournalError: no round chose the frame, or it is neither keeper nor reject.
    """
    refuse_nonsense(verdict)
    if verdict.verdict not in _WORDS:
        raise JournalError("What is judged again is a keeper or a reject.", "Take back a verdict to withdraw it.")
    with writing(connection):
        anchor = _anchor(connection, verdict.frame_id)
        cursor = connection.execute(
            "insert into anchor_verdicts (anchor_id, told, verdict, judged_at, judged_by) values (?, ?, ?, ?, ?) "
            "on conflict (anchor_id, told) do nothing",
            [anchor["id"], said.told, verdict.verdict, format_instant(said.judged_at), said.judged_by],
        )
        if cursor.rowcount:
            faults = [(cursor.lastrowid, fault) for fault in sorted(set(verdict.faults))]
            connection.executemany("insert into anchor_verdict_faults values (?, ?)", faults)


def take_back_again(connection: sqlite3.Connection, frame_id: int, told: str, now: datetime) -> None:
    """Takes back what was said under this name, if anything was; what was said before it counts again.

    Raises:
        JournalError: no round chose the frame.
    """
    with writing(connection):
        connection.execute(
            "update anchor_verdicts set taken_back_at = ? where anchor_id = ? and told = ? and taken_back_at is null",
            [format_instant(now), _anchor(connection, frame_id)["id"], told],
        )


def _anchor(connection: sqlite3.Connection, frame_id: int) -> sqlite3.Row:
    """The frame's place in the latest round that chose it."""
    row: sqlite3.Row | None = connection.execute(
        "select id, round_id from anchors where frame_id = ? order by round_id desc limit 1", [frame_id]
    ).fetchone()
    if row is None:
        raise JournalError(f"Frame {frame_id} was not chosen to be judged again.", "Load the page again.")
    return row


def _picture(row: sqlite3.Row) -> OldPicture:
    return OldPicture(
        **{name: row[name] for name in ("frame_id", "place", "exposure_time_s", "f_number", "iso", "focal_length_mm")},
        verdict=row["verdict"] or "unjudged",
        faults=tuple(row["faults"].split("; ")) if row["faults"] else (),
        has_original=bool(row["has_original"]),
    )
