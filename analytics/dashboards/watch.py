"""Whether somebody has written to the journal: asked at every request, so it must cost next to nothing."""

from __future__ import annotations

import sqlite3
import threading
from typing import TYPE_CHECKING

from journal.schema.reading import connect_read_only

if TYPE_CHECKING:
    from pathlib import Path


class Watch:
    """The version of a journal file; for any thread."""

    def __init__(self, path: Path) -> None:
        self._lock = threading.Lock()
        self._connection = connect_read_only(path, check_same_thread=False)
        self._connection.execute("pragma busy_timeout = 0")  # nobody waits for this
        self._last = 0

    def version(self) -> int:
        """A number that changes when anybody has written; the last one while the file cannot be asked."""
        with self._lock:
            try:
                self._last = int(self._connection.execute("pragma data_version").fetchone()[0])
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                    raise
            return self._last

    def close(self) -> None:
        """Closes the file."""
        with self._lock:
            self._connection.close()
