"""A journal file, opened read-only, as typed data frames."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from analytics.queries import COUNTS_BY_SETTING, COUNTS_BY_TWO, TOTALS
from journal.errors import JournalError
from journal.schema.ddl import APPLICATION_ID
from journal.schema.setting_keys import SETTING_KEYS, setting_label

if TYPE_CHECKING:
    from collections.abc import Mapping

#: The frame table: one row per frame, without positions. Parameters: :number - of one frame, or null for all
FRAMES = """
select
    frames.id as frame_id, frames.file_name, frames.taken_at, frames.session_id, frames.burst_id,
    frames.position_in_burst, frames.exposure_time_s, frames.exposure_time_source, frames.f_number,
    frames.f_number_source, frames.iso, frames.iso_source, frames.exposure_bias_ev, frames.focal_length_mm,
    frames.focal_length_35mm, frames.focal_length_35mm_source, frames.subject_distance_m, frames.flash,
    frames.ev100, frames.stops_below_rule, bodies.model as body, lenses.model as lens, frames.is_stabilised,
    coalesce(frames.camera_support, sessions.camera_support) as camera_support, sessions.priority,
    sessions.subject_pace, sessions.light, frames.verdict,
    (select group_concat(fault, '; ') from frame_faults where frame_id = frames.id) as faults
from frames
left join sessions on sessions.id = frames.session_id
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
where :number is null or frames.id = :number
order by frames.taken_at, frames.id
"""

#: Sessions with their counts, without positions.
SESSIONS = """
select
    id as session_id, intent, priority, subject_pace, light, light_ev100, camera_support, started_at, ended_at,
    time_zone, sunlight, notes, n_frames, n_bursts, n_judged, n_keepers, n_rejects, commonest_fault
from sessions
left join session_summaries on session_id = id
order by started_at, id
"""


class OpenJournal:
    """A journal for reading; every table is a new data frame."""

    def __init__(self, path: str | Path) -> None:
        file = Path(path)
        if not file.is_file():
            raise JournalError(
                f"There is no journal at {file}.", "Make one with: thirdstop log, or see: thirdstop demo"
            )
        self.connection = sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)
        try:
            found = self.connection.execute("pragma application_id").fetchone()[0]
        except sqlite3.DatabaseError:
            found = None
        if found != APPLICATION_ID:
            self.connection.close()
            raise JournalError(f"{file} is not a journal.", "Choose a journal with --journal PATH.")

    def frames(self, number: int | None = None) -> pd.DataFrame:
        """One row per frame (or the one of that number), columns named as in the glossary; unknown stays unknown."""
        where = {"number": number}
        return pd.read_sql(FRAMES, self.connection, params=where, dtype_backend="numpy_nullable")

    def sessions(self) -> pd.DataFrame:
        """One row per session with its counts."""
        return pd.read_sql(SESSIONS, self.connection, dtype_backend="numpy_nullable")

    def setting_counts(self, setting: str) -> pd.DataFrame:
        """Judged frames and keepers by burst and the values of a setting."""
        return pd.read_sql(COUNTS_BY_SETTING, self.connection, params={"setting": setting})

    def setting_counts_of_two(self, setting: str, other: str) -> pd.DataFrame:
        """The same for two settings at once; this one reads the frames."""
        sql = COUNTS_BY_TWO.format(key=SETTING_KEYS[setting], other=SETTING_KEYS[other])
        counts = pd.read_sql(sql, self.connection)
        for name, value, prefix in ((setting, "value", ""), (other, "other_value", "other_")):
            values = [None if pd.isna(one) else one for one in counts.pop(value).astype(object)]
            labels = [setting_label(name, one) for one in values]
            counts[f"{prefix}key"] = pd.Series([label for label, _ in labels], index=counts.index, dtype=object)
            counts[f"{prefix}sort_key"] = pd.Series([order for _, order in labels], index=counts.index, dtype=float)
        return counts

    def rows(self, sql: str, parameters: Mapping[str, object]) -> list[sqlite3.Row]:
        """The rows of a query of `analytics.queries`."""
        cursor = self.connection.cursor()
        cursor.row_factory = sqlite3.Row
        return cursor.execute(sql, parameters).fetchall()

    def totals(self) -> dict[str, int]:
        """How many frames, judged frames and sessions the journal has."""
        n_frames, n_judged, n_sessions = self.connection.execute(TOTALS).fetchone()
        return {"n_frames": n_frames, "n_judged": n_judged, "n_sessions": n_sessions}

    def close(self) -> None:
        """Closes the file."""
        self.connection.close()
