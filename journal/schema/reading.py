"""Opens a journal file for reading only, also where nothing beside it may be written."""

from __future__ import annotations

import sqlite3
from pathlib import Path

#: What SQLite says where it may not write beside the file; the lowest byte of its code.
READ_ONLY_PLACE = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)


def connect_read_only(path: str | Path, check_same_thread: bool = True) -> sqlite3.Connection:
    """A connection that cannot write.

    SQLite keeps a small index beside a journal that is being written. On a read-only disk it cannot; then the file is
    read as it stands, which is safe as long as no writer has left changes beside it.

    Raises:
        sqlite3.DatabaseError: the file cannot be read, or is no SQLite file.
    """
    file = Path(path).absolute()
    address = f"{file.as_uri()}?mode=ro"
    connection = sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=check_same_thread)
    try:
        connection.execute("select 1 from sqlite_master limit 1").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        log = file.with_name(f"{file.name}-wal")
        if error.sqlite_errorcode & 0xFF not in READ_ONLY_PLACE or (log.exists() and log.stat().st_size):
            raise
        still = f"{address}&immutable=1"
        connection = sqlite3.connect(still, uri=True, isolation_level=None, check_same_thread=check_same_thread)
    except BaseException:
        connection.close()
        raise
    return connection
