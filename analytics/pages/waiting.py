"""What is said where the numbers of a page are not there yet."""

from __future__ import annotations

from journal.errors import JournalError


class CountingError(JournalError):
    """The numbers of a page are being counted, and there are none of before."""

    def __init__(self) -> None:
        super().__init__("This page is being counted anew.", "It shows itself as soon as it is ready.")
