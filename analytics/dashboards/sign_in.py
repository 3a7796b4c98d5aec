"""Signing in from beyond this machine: one passphrase, of which only a slow hash is kept, and few attempts.

Whoever signs in gets a random cookie; the server keeps a digest of it in memory for some hours. Attempts are answered
one after the other, and after some wrong ones none is looked at for a while, from wherever it comes: an address could
be anybody's behind a proxy. The link that is printed on the terminal goes on working on this machine meanwhile.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import secrets
import time
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from analytics.dashboards.secret_files import read_private, write_private
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

#: The hash of the passphrase.
PASSPHRASE_FILE = "passphrase.scrypt"  # noqa: S105 - where it is kept, not what it is
#: Shortest and longest passphrase [characters].
LEAST, MOST = 12, 256
#: Cost of scrypt: 32 MiB and about a tenth of a second. Source: RFC 7914; OWASP, Password Storage, gives this cost.
COST, BLOCK, LANES = 2**15, 8, 3
MEMORY = 256 * COST * BLOCK
#: So many wrong ones within so many seconds, and none is looked at until the first of them is so old.
MOST_WRONG, WINDOW_S = 5, 900.0
#: Attempts that wait for each other; more are turned away at once.
MOST_WAITING = 8
#: Somebody who signed in stays so for this long [s].
STAY_S = 12 * 3600.0


class TooOftenError(JournalError):
    """An attempt that is not looked at; `wait_s` is how long none is."""

    def __init__(self, wait_s: float) -> None:
        minutes = max(1, round(wait_s / 60))
        super().__init__(f"Too many wrong passphrases: none is looked at for {minutes} min.", "Try again then.")
        self.wait_s = wait_s


def hashed(passphrase: str) -> str:
    """What is kept of a passphrase.

    Raises:
        JournalError: it is too short or too long.
    """
    if not LEAST <= len(passphrase) <= MOST:
        raise JournalError(
            f"A passphrase of {len(passphrase)} characters cannot be used.", f"Use {LEAST} to {MOST}: a few words do."
        )
    salt = secrets.token_bytes(16)
    return f"scrypt {COST} {BLOCK} {LANES} {salt.hex()} {_digest(passphrase, salt, (COST, BLOCK, LANES)).hex()}"


def is_right(passphrase: str, kept: str) -> bool:
    """Whether a passphrase is the one that this was kept of."""
    try:
        name, cost, block, lanes, salt, digest = kept.split()
        costs = int(cost), int(block), int(lanes)
        found = _digest(passphrase, bytes.fromhex(salt), costs)
        return name == "scrypt" and hmac.compare_digest(found, bytes.fromhex(digest))
    except ValueError:
        return False


def _digest(passphrase: str, salt: bytes, costs: tuple[int, int, int]) -> bytes:
    cost, block, lanes = costs
    return hashlib.scrypt(passphrase.encode(), salt=salt, n=cost, r=block, p=lanes, maxmem=MEMORY, dklen=32)


def keep_passphrase(folder: Path, passphrase: str) -> Path:
    """Keeps the hash of a passphrase; returns its file."""
    file = folder / PASSPHRASE_FILE
    write_private(file, hashed(passphrase))
    return file


def kept_passphrase(folder: Path) -> str:
    """The hash that is kept.

    Raises:
        JournalError: no passphrase is set, or its file can be read by others.
    """
    file = folder / PASSPHRASE_FILE
    if not file.exists():
        raise JournalError(
            "Beyond this machine the journal is served only to whoever signs in, and no passphrase is set.",
            "Set one with: thirdstop passphrase",
        )
    return read_private(file)


class SignIn:
    """Who signed in with the passphrase."""

    def __init__(self, kept: str, clock: Callable[[], float] = time.monotonic) -> None:
        self._kept, self._clock = kept, clock
        self._wrong: deque[float] = deque(maxlen=MOST_WRONG)
        self._in: dict[str, float] = {}
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="sign-in")
        self._n_waiting = 0

    async def attempt(self, passphrase: str) -> str | None:
        """The value of a new cookie; `None` where the passphrase is wrong.

        Raises:
            TooOftenError: the attempt was not looked at.
        """
        if self._n_waiting >= MOST_WAITING:
            raise TooOftenError(60.0)
        self._n_waiting += 1
        try:
            found = await asyncio.get_running_loop().run_in_executor(self._thread, self._is_right, passphrase)
        finally:
            self._n_waiting -= 1
        if not found:
            return None
        value, now = secrets.token_urlsafe(32), self._clock()
        self._in = {digest: until for digest, until in self._in.items() if until > now} | {_of(value): now + STAY_S}
        return value

    def _is_right(self, passphrase: str) -> bool:
        """Looks at one attempt after the other, in a thread of their own."""
        now = self._clock()
        if len(self._wrong) == MOST_WRONG and now - self._wrong[0] < WINDOW_S:
            raise TooOftenError(WINDOW_S - (now - self._wrong[0]))
        if is_right(passphrase, self._kept):
            return True
        self._wrong.append(now)
        return False

    def is_in(self, value: str) -> bool:
        """Whether a cookie is of somebody who signed in, not too long ago."""
        return self._in.get(_of(value), 0.0) > self._clock()

    def leave(self, value: str) -> None:
        """Signs out."""
        self._in.pop(_of(value), None)

    def close(self) -> None:
        """Ends the thread."""
        self._thread.shutdown()


def _of(value: str) -> str:
    """What is kept of a cookie; a look-up by it takes as long for a right one as for a wrong one."""
    return hashlib.sha256(value.encode("utf-8", "surrogateescape")).hexdigest()
