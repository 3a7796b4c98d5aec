"""A journal file, read-only, as typed data frames: `OpenJournal` is the door, the other modules stand behind it."""

from analytics.dataset.opened import OpenJournal

__all__ = ["OpenJournal"]
