"""Reviews that were handed over, and the answers that came back.

An answer is taken in only where this journal made its review. Each comment and each verdict is taken in once, by its
own key, however often its file is read; one that is changed later under the same key stays as it was first read. What
an answer says of a place that is not in its review is left out. None of it touches the photographer's own verdicts.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import format_instant
from journal.store.opening import writing

if TYPE_CHECKING:
    import sqlite3
    from datetime import datetime

    from journal.records.reviews import Answer, Comment, MentorVerdict, Review

#: Frames and sessions of a review. Parameters: :review
FRAMES_OF_REVIEW = """
select frame_id from review_frames where review_id = :review
union
select frames.id from frames join review_sessions on review_sessions.session_id = frames.session_id
where review_id = :review
"""
SESSIONS_OF_REVIEW = "select session_id from review_sessions where review_id = :review"


@dataclass(frozen=True, slots=True)
class Sorted:
    """An answer sorted: what is new here, how much is here already, how much is about no place of the review."""

    review_id: int
    comments: list[Comment]
    verdicts: list[MentorVerdict]
    n_known: int
    n_elsewhere: int


def add_review(connection: sqlite3.Connection, review: Review) -> int:
    """Stores a review that is handed over; returns its number. In a simulated journal it is simulated too."""
    with writing(connection):
        cursor = connection.execute(
            "insert into reviews (review_key, made_at, questions, is_simulated) "
            "values (?, ?, ?, (select coalesce(min(is_simulated), 0) from sessions))",
            [review.key, review.made_at, json.dumps(review.questions)],
        )
        number = int(cursor.lastrowid or 0)
        sessions = [(number, session) for session in review.session_ids]
        connection.executemany("insert into review_sessions values (?, ?)", sessions)
        frames = [(number, frame) for frame in review.frame_ids]
        connection.executemany("insert into review_frames values (?, ?)", frames)
    return number


def sort_answer(connection: sqlite3.Connection, answer: Answer) -> Sorted:
    """What taking an answer in would add; writes nothing.

    Raises:
        JournalError: this journal made no such review.
    """
    found = connection.execute("select id, questions from reviews where review_key = ?", [answer.review_key]).fetchone()
    if found is None:
        raise JournalError(
            "These comments answer a review that this journal did not make.",
            "Choose the journal that made it with --journal PATH.",
        )
    review = {"review": found["id"]}
    frames = {row[0] for row in connection.execute(FRAMES_OF_REVIEW, review)}
    sessions = {row[0] for row in connection.execute(SESSIONS_OF_REVIEW, review)}
    questions = range(1, len(json.loads(found["questions"])) + 1)
    comments = [
        comment
        for comment in answer.comments
        if (comment.frame_id is None or comment.frame_id in frames)
        and (comment.session_id is None or comment.session_id in sessions)
        and (comment.question is None or comment.question in questions)
    ]
    verdicts = [verdict for verdict in answer.verdicts if verdict.frame_id in frames]
    new_comments = [comment for comment in comments if not _is_known(connection, "comments", comment.key)]
    new_verdicts = [verdict for verdict in verdicts if not _is_known(connection, "mentor_verdicts", verdict.key)]
    n_here = len(comments) + len(verdicts)
    return Sorted(
        review_id=found["id"],
        comments=new_comments,
        verdicts=new_verdicts,
        n_known=n_here - len(new_comments) - len(new_verdicts),
        n_elsewhere=len(answer.comments) + len(answer.verdicts) - n_here,
    )


def take_in(connection: sqlite3.Connection, answer: Answer, read_at: datetime) -> Sorted:
    """Stores what is new of an answer, all of it or nothing; returns what it was.

    Raises:
        JournalError: this journal made no such review.
    """
    moment = format_instant(read_at)
    with writing(connection):
        found = sort_answer(connection, answer)
        for comment in found.comments:
            connection.execute(
                "insert into comments (comment_key, review_id, about, question, session_id, frame_id, habit, body, "
                "mentor, said_at, read_at, source) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'review file')",
                [
                    *(comment.key, found.review_id, comment.about, comment.question, comment.session_id),
                    *(comment.frame_id, comment.habit, comment.body, answer.mentor, comment.said_at, moment),
                ],
            )
        for verdict in found.verdicts:
            cursor = connection.execute(
                "insert into mentor_verdicts (verdict_key, review_id, frame_id, verdict, mentor, said_at, read_at, "
                "source) values (?, ?, ?, ?, ?, ?, ?, 'review file')",
                [
                    *(verdict.key, found.review_id, verdict.frame_id, verdict.verdict),
                    *(answer.mentor, verdict.said_at, moment),
                ],
            )
            faults = [(cursor.lastrowid, fault) for fault in verdict.faults]
            connection.executemany("insert into mentor_verdict_faults values (?, ?)", faults)
    return found


def _is_known(connection: sqlite3.Connection, table: str, key: str) -> bool:
    column = {"comments": "comment_key", "mentor_verdicts": "verdict_key"}[table]
    sql = f"select 1 from {table} where {column} = ?"  # noqa: S608 - names of this file
    return connection.execute(sql, [key]).fetchone() is not None
