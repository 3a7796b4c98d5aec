"""Where a served journal is reached: on this machine, and, where it is asked for, under one more name beyond it."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.dashboards.sign_in import SignIn

#: This machine's own address, always served.
LOOPBACK = "127.0.0.1"
OWN_NAMES = (LOOPBACK, "localhost")
#: What a proxy in between adds to a request; whoever comes with one is not on this machine.
PROXIED = (b"x-forwarded-for", b"x-forwarded-host", b"x-real-ip", b"forwarded", b"via")


@dataclass(frozen=True, slots=True)
class Beyond:
    """One more name: `host` as a browser sends it, `origin` with its scheme, `sign_in` for the photographer there."""

    host: str
    origin: str
    sign_in: SignIn

    @property
    def is_encrypted(self) -> bool:
        """Whether nobody on the way can read along."""
        return self.origin.startswith("https:")


@dataclass(frozen=True, slots=True)
class Reach:
    """The names that a server answers to; `front_port` is that of the page which shows its journal beside others."""

    port: int
    beyond: Beyond | None = None
    front_port: int | None = None

    def origin(self, host: str) -> str | None:
        """How a page of ours is called in a browser that asked this host; `None` where we are not called so."""
        if host in self.own_hosts:
            return f"http://{host}"
        return self.beyond.origin if self.beyond is not None and host == self.beyond.host else None

    @property
    def own_hosts(self) -> set[str]:
        """Names of this machine, as a browser on it sends them."""
        return {f"{name}:{self.port}" for name in OWN_NAMES}


def bound_address(address: str) -> str | None:
    """The address to listen on besides this machine's own; `None` where it is that.

    Raises:
        JournalError: it is no address, or stands for all of them.
    """
    if address.lower() in OWN_NAMES:
        return None
    try:
        found = ipaddress.ip_address(address)
    except ValueError as error:
        raise JournalError(f"{address} is no address.", "Use a number of this machine, like 192.168.1.20.") from error
    if found.is_unspecified:
        raise JournalError(
            f"{address} stands for every address of this machine.",
            "Name the one that it shall be reached at, like 192.168.1.20.",
        )
    return str(found)


def name_of_url(url: str) -> tuple[str, str]:
    """Host, as a browser sends it, and origin of what a proxy or tunnel in front is called.

    Raises:
        JournalError: it is no such name.
    """
    wrong = JournalError(f"{url} is no name of a server.", "Use one like https://journal.example, without a path.")
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise wrong from error
    plain = not (parts.username or parts.password or parts.query or parts.fragment or parts.path not in ("", "/"))
    if parts.scheme not in ("http", "https") or not parts.hostname or not plain or not url.isascii():
        raise wrong
    host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
    if port is not None and port != {"http": 80, "https": 443}[parts.scheme]:
        host = f"{host}:{port}"
    return host, f"{parts.scheme}://{host}"


def host_of_address(address: str, port: int) -> str:
    """An address and a port as a browser sends them."""
    return f"[{address}]:{port}" if ":" in address else f"{address}:{port}"
