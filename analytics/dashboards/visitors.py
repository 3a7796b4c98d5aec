"""Who asks: the photographer, or a mentor who came through a signed link, which is looked up at every request.

A link holds a random key, signed; it is exchanged for a cookie with the same key, signed for that purpose. Signing says
that we made it, the row in the journal says whether it still counts: withdrawn or expired, it is refused at once, also
by a server that is running.
"""

from __future__ import annotations

import asyncio
import hashlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from itsdangerous import BadData, URLSafeSerializer

from journal.notation import format_instant
from journal.store.mentors import link_with, say
from journal.store.opening import explained, open_journal, open_read_only

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

    from journal.records.mentors import MentorLink, Said

#: What a signature is for; one for another purpose is none.
LINK, COOKIE, FORM = "thirdstop mentor's link", "thirdstop mentor's cookie", "thirdstop mentor's form"
#: Longest signed text that is looked at.
LONGEST = 400
REFUSED = {
    "unknown": "This link is not one of this journal. Ask the photographer for the whole link, or for a new one.\n",
    "expired": "This link has expired. Ask the photographer for a new one.\n",
    "withdrawn": "This link was withdrawn. Ask the photographer for a new one.\n",
}


@dataclass(frozen=True, slots=True)
class Visitor:
    """Somebody who is let in: a mentor where there is a link, else the photographer, who may have signed in."""

    link: MentorLink | None = None
    form_token: str = ""
    is_signed_in: bool = False

    @property
    def mentor(self) -> str | None:
        """The mentor's name; `None` for the photographer."""
        return None if self.link is None else self.link.mentor

    @property
    def actor(self) -> dict[str, str]:
        """Who it is, for Datasette."""
        return {"id": "photographer"} if self.link is None else {"id": "mentor"}


class Signatures:
    """Signs a link's key for each purpose, and tells whether a text is signed so."""

    def __init__(self, secret: bytes) -> None:
        how = {"key_derivation": "hmac", "digest_method": hashlib.sha256}
        self._signers = {
            purpose: URLSafeSerializer(secret, salt=purpose, signer_kwargs=how) for purpose in (LINK, COOKIE, FORM)
        }

    def signed(self, purpose: str, key: str) -> str:
        """The key with its signature, fit for a link and a cookie."""
        return str(self._signers[purpose].dumps(key))

    def key_in(self, purpose: str, text: str) -> str | None:
        """The key, if the text is signed for this purpose."""
        if len(text) > LONGEST or not text.isascii():
            return None
        try:
            key = self._signers[purpose].loads(text)
        except BadData:
            return None
        return key if isinstance(key, str) else None


class Mentors:
    """The mentors of one journal: who is let in, and what they say. Reading waits for no writing."""

    def __init__(self, path: Path, secret: bytes) -> None:
        self.path, self.signatures = path, Signatures(secret)
        self._reading = ThreadPoolExecutor(max_workers=1, thread_name_prefix="mentors")
        self._writing = ThreadPoolExecutor(max_workers=1, thread_name_prefix="comments")
        self._read = self._reading.submit(open_read_only, path).result()
        self._write: sqlite3.Connection | None = None

    async def visitor(self, purpose: str, text: str) -> Visitor | str:
        """Who holds a signed text, or why they are refused: `unknown`, `expired` or `withdrawn`."""
        key = self.signatures.key_in(purpose, text)
        if key is None:
            return "unknown"
        link = await asyncio.get_running_loop().run_in_executor(self._reading, self._link, key)
        if link is None:
            return "unknown"
        state = link.state(format_instant(datetime.now(UTC)))
        return Visitor(link, self.signatures.signed(FORM, key)) if state == "open" else state

    async def say(self, said: Said, link: MentorLink) -> bool:
        """Stores what a mentor said, once; returns whether it was new.

        Raises:
            JournalError: it cannot be stored as it is, or the journal cannot be written.
        """
        return await asyncio.get_running_loop().run_in_executor(self._writing, self._say, said, link)

    def _link(self, key: str) -> MentorLink | None:
        with explained(self.path):
            return link_with(self._read, key)

    def _say(self, said: Said, link: MentorLink) -> bool:
        with explained(self.path):
            if self._write is None:
                self._write = open_journal(self.path, must_exist=True)
            return say(self._write, said, link, datetime.now(UTC))

    def close(self) -> None:
        """Waits for what is being written, closes the file and ends the threads."""
        if self._write is not None:
            self._writing.submit(self._write.close).result()
        self._reading.submit(self._read.close).result()
        for thread in (self._writing, self._reading):
            thread.shutdown()
