"""Journals whose verdicts are old enough to be judged again, and answers with counts that can be checked by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journals import PREVIEW, small_journal

from journal.records.anchors import SaidAgain
from journal.records.verdicts import Verdict
from journal.store.anchors import say_again
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    import sqlite3
    from datetime import datetime
    from pathlib import Path

#: When all of it was judged.
LONG_AGO = "2021-03-20T12:00:00.000Z"


def old_journal(path: Path, n_sessions: int = 20) -> Path:
    """A small journal, shot and judged in 2021, with a preview of every frame: half of the judged ones are keepers.

    A session has ten judged frames in two bursts, five keepers and five rejects.
    """
    connection = open_journal(small_journal(path, n_sessions))
    connection.execute("update sessions set started_at = replace(started_at, '2026', '2021'), "
                       "ended_at = replace(ended_at, '2026', '2021')")  # fmt: skip
    connection.execute("update frames set taken_at = replace(taken_at, '2026', '2021')")
    connection.execute("insert into previews select id, ? from frames where id > 1", [PREVIEW])
    connection.execute(
        "insert into verdicts (frame_id, verdict, judged_at, judged_by, source) "
        "select id, verdict, ?, 'photographer', 'page' from frames where verdict <> 'unjudged'",
        [LONG_AGO],
    )
    refresh_all(connection)
    connection.close()
    return path


def answer_all(connection: sqlite3.Connection, now: datetime, n_rejected: int = 0, n_kept: int = 0) -> None:
    """Says the same of every picture of the latest round as long ago, but for so many old keepers and old rejects."""
    turned = {"keeper": ("reject", n_rejected), "reject": ("keeper", n_kept)}
    counts = {"keeper": 0, "reject": 0}
    rows = connection.execute(
        "select frame_id, old_verdict from anchors where round_id = (select max(id) from anchor_rounds) order by place"
    ).fetchall()
    for frame_id, old in rows:
        other, n = turned[old]
        counts[old] += 1
        said = Verdict(frame_id, other if counts[old] <= n else old)
        say_again(connection, said, SaidAgain(f"test.{frame_id}", "photographer", now))
