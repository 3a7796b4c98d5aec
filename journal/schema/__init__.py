"""The journal file: its tables, and how an older file becomes a current one.

`ddl` holds the whole schema as one readable constant; `migrations` brings any file up to `SCHEMA_VERSION`. The
version stands in SQLite's `user_version`, and `APPLICATION_ID` in the header tells a journal from any other database.
"""

from journal.schema.ddl import APPLICATION_ID, FAULTS, PACES, PRIORITIES, SCHEMA, SUPPORTS
from journal.schema.migrations import SCHEMA_VERSION, migrate

__all__ = [
    "APPLICATION_ID",
    "FAULTS",
    "PACES",
    "PRIORITIES",
    "SCHEMA",
    "SCHEMA_VERSION",
    "SUPPORTS",
    "migrate",
]
