"""Computes the derived columns of all frames again when a formula changed.

The version that a journal's numbers have stands in `settings`, so that looking costs one row.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.optics.derived import DERIVED_VERSION
from journal.store.frames import DERIVED_COLUMNS, derived_values
from journal.store.opening import writing
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    import sqlite3

#: The settings that the derived columns follow from, of frames whose numbers are of another version.
STALE = """
select id, exposure_time_s, f_number, iso, focal_length_35mm from frames where derived_version <> :version
"""


def recompute_if_needed(connection: sqlite3.Connection) -> int:
    """Brings derived columns and summaries to the present formulas; returns how many frames changed their version."""
    noted = connection.execute("select value from settings where name = 'derived_version'").fetchone()
    if noted is not None and noted["value"] == str(DERIVED_VERSION):
        return 0
    sets = ", ".join(f"{name} = :{name}" for name in (*DERIVED_COLUMNS, "derived_version"))
    with writing(connection):
        stale = connection.execute(STALE, {"version": DERIVED_VERSION}).fetchall()
        connection.executemany(
            f"update frames set {sets} where id = :id",  # noqa: S608
            [derived_values(dict(frame)) | {"id": frame["id"]} for frame in stale],
        )
        if stale:
            refresh_all(connection)
        connection.execute("insert or replace into settings values ('derived_version', ?)", [str(DERIVED_VERSION)])
    return len(stale)
