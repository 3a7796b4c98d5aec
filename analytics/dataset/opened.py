"""A journal file, opened read-only, as typed data frames and plain rows.

Nothing here labels, rounds or judges: unknown stays unknown, and positions and serial numbers come only when asked for.
"""

from __future__ import annotations

import sqlite3
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import pandas as pd

from analytics import queries
from analytics.dataset import portions
from analytics.dataset.choices import ChoiceReader, Choices
from analytics.dataset.judged import judged_frames
from analytics.dataset.scales import light_kind_word
from analytics.dataset.share import JudgedShare, judged_share
from journal.errors import JournalError
from journal.schema.ddl import APPLICATION_ID
from journal.schema.migrations import SCHEMA_VERSION, schema_version
from journal.schema.reading import connect_read_only

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

#: What is said of sessions that nobody photographed.
SIMULATED = "Simulated data"
#: Answers that are kept until somebody writes; few questions are asked by more pages than one.
MOST_KEPT = 20
#: Columns of `queries.COUNTS_BY_SETTING`.
COUNT_COLUMNS = ("session", "burst", "key", "sort_key", "n_frames", "n_keepers")
#: How long a reader waits where a writer holds the whole file [ms]; it does so only for a moment.
BUSY_TIMEOUT_MS = 10_000


class OpenJournal:
    """A journal for reading; every table is a new data frame."""

    def __init__(self, path: str | Path) -> None:
        file = Path(path)
        if not file.is_file():
            raise JournalError(
                f"There is no journal at {file}.", "Make one with: thirdstop log, or see: thirdstop demo"
            )
        try:
            self.connection = connect_read_only(file)
        except sqlite3.DatabaseError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_NOTADB:
                raise JournalError(f"{file} is not a journal.", "Choose a journal with --journal PATH.") from error
            raise JournalError(f"{file} cannot be read.", "Check the permissions of the file.") from error
        try:
            self._refuse(file)
        except BaseException:
            self.connection.close()
            raise

    def _refuse(self, file: Path) -> None:
        found = self.connection.execute("pragma application_id").fetchone()[0]
        if found != APPLICATION_ID:
            raise JournalError(f"{file} is not a journal.", "Choose a journal with --journal PATH.")
        version = schema_version(self.connection)
        if version != SCHEMA_VERSION:
            raise JournalError(
                f"The journal {file} has schema {version}; this version of thirdstop reads schema {SCHEMA_VERSION}.",
                "Run thirdstop sessions, which brings an older journal up to date; for a newer one, update thirdstop.",
            )
        self.connection.execute(f"pragma busy_timeout = {BUSY_TIMEOUT_MS}")
        self.connection.create_function("light_kind", 1, light_kind_word, deterministic=True)
        self._choices = ChoiceReader()
        self._kept: dict[tuple[object, ...], list[dict[str, Any]]] = {}
        self._kept_of: int | None = None

    def frames(
        self, number: int | None = None, with_positions: bool = False, with_serials: bool = False
    ) -> pd.DataFrame:
        """One row per frame (or the one of that number), columns named as in the glossary; unknown stays unknown."""
        more = (queries.FRAME_POSITIONS if with_positions else "") + (queries.FRAME_SERIALS if with_serials else "")
        sql = queries.FRAMES.format(more=more)
        return pd.read_sql(sql, self.connection, params={"number": number}, dtype_backend="numpy_nullable")

    def sessions(self, with_positions: bool = False) -> pd.DataFrame:
        """One row per session with its counts."""
        sql = queries.SESSIONS.format(more=queries.SESSION_POSITIONS if with_positions else "")
        return pd.read_sql(sql, self.connection, dtype_backend="numpy_nullable")

    def setting_counts(self, setting: str) -> pd.DataFrame:
        """Judged frames and keepers by burst and the labels of a setting, as the summary has them."""
        with self.snapshot():
            found = list(portions.by_sessions(self.connection, queries.COUNTS_BY_SETTING, {"setting": setting}))
        return pd.DataFrame([row for some in found for row in some], columns=COUNT_COLUMNS)

    def choices(self) -> Choices:
        """What was chosen in every burst; asked again, only the sessions that have changed are read."""
        with self.snapshot():
            return self._choices.read(self.connection)

    def judged_frames(self) -> pd.DataFrame:
        """The frames table of the statistics: judged frames only, see `analytics.dataset.judged`."""
        with self.snapshot():
            return judged_frames(self.connection)

    def judged_share(self) -> JudgedShare:
        """What share of the frames is judged, and whether the judging looks selective."""
        rows = self.rows(queries.JUDGED_BY_SESSION)
        return judged_share(rows, n_outside=self.totals()["n_outside"])

    def day_of(self, instant: str) -> float:
        """Days from the first session's begin to a stored moment; the `day` of the frames table."""
        return float(self.rows(queries.DAY_OF, {"instant": instant})[0]["day"])

    def totals(self) -> dict[str, int]:
        """How many frames, judged frames, keepers and sessions the journal has."""
        return self.kept_rows(queries.TOTALS)[0]

    def simulated(self) -> str | None:
        """What to say where sessions are simulated; `None` where none is."""
        counts = self.kept_rows(queries.SIMULATED_SESSIONS)[0]
        if not counts["n_simulated"]:
            return None
        if counts["n_simulated"] == counts["n_sessions"]:
            return SIMULATED
        return f"{SIMULATED} in {counts['n_simulated']} of {counts['n_sessions']} sessions"

    def rows(self, sql: str, parameters: Mapping[str, Any] | None = None) -> list[dict[str, Any]]:
        """The rows of one of `analytics.queries`, for pages that need no data frame."""
        cursor = self.connection.execute(sql, parameters or {})
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor]

    def kept_rows(self, sql: str, parameters: Mapping[str, Any] | None = None) -> list[dict[str, Any]]:
        """The same for what many pages ask alike: read again only where somebody has written since."""
        version = self.version()  # taken first: what is written meanwhile is read at the next look
        if version != self._kept_of or len(self._kept) >= MOST_KEPT:
            self._kept, self._kept_of = {}, version
        question = (sql, *sorted((parameters or {}).items()))
        if question not in self._kept:
            self._kept[question] = self.rows(sql, parameters)
        return [dict(row) for row in self._kept[question]]

    def version(self) -> int:
        """A number that changes when another connection has written to the file."""
        return int(self.connection.execute("pragma data_version").fetchone()[0])

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Everything read inside is of one moment, also while an import is writing; inside another it joins that."""
        if self.connection.in_transaction:
            yield
            return
        self.connection.execute("begin")
        try:
            yield
        finally:
            self.connection.rollback()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the file."""
        self.connection.close()
