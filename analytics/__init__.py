"""Reads a journal and says what its frames mean.

`analytics` opens the file read-only. Whatever a page or command must write goes through `journal.store`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.dataset import OpenJournal


def open_journal(path: str | Path) -> OpenJournal:
    """A journal for notebooks: `analytics.open_journal("my.journal").frames()` is the frame table."""
    from analytics.dataset import OpenJournal

    return OpenJournal(path)
