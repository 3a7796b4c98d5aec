"""Serves one journal on loopback until it is interrupted."""

from __future__ import annotations

import hashlib
import os
import secrets
import socket
import tempfile
from contextlib import contextmanager
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from analytics.charts.bundle import vega_bundle
from analytics.charts.look import drawing_script, style_sheet
from analytics.dashboards.again import Again
from analytics.dashboards.counted import Counted
from analytics.dashboards.desk import Desk
from analytics.dashboards.estimates import Estimates
from analytics.dashboards.guard import Asset, Guard, Holdings, Keys
from analytics.dashboards.pictures import Pictures
from analytics.dashboards.plugin import Pages, Sources
from analytics.dashboards.reading import Reader
from analytics.dashboards.visitors import Mentors

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Only this machine; never configurable.
ADDRESS = "127.0.0.1"
ASSETS = Path(__file__).parent / "assets"
STYLE, SCRIPT = b"text/css; charset=utf-8", b"text/javascript; charset=utf-8"


def listen(port: int) -> socket.socket:
    """A socket on loopback: on `port`, or on any free one where that is taken."""
    for wanted in (port, 0):
        # The protocol is named so that asyncio sends small packets at once; else answers wait 40 ms for each other.
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        if os.name == "posix":
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((ADDRESS, wanted))
            listener.listen(128)
        except OSError:
            listener.close()
            if wanted == 0:
                raise
        else:
            return listener
    raise AssertionError("unreachable")


@contextmanager
def application(path: Path, port: int, keys: Keys, secret: bytes | None = None) -> Iterator[Guard]:
    """The whole application for one journal; closed when left. Mentors' links are signed with the secret."""
    files, paths = _assets()
    reader, estimates, desk, pictures = Reader(path), Estimates(path), Desk(path), Pictures()
    again = Again(desk)
    mentors = Mentors(path, secret or secrets.token_bytes(32))
    counted = Counted(path)
    pages = Pages(path, Sources(reader, estimates, desk, again, counted), paths)
    try:
        yield Guard(pages.datasette.app(), port, keys, Holdings(reader, desk, again, pictures, mentors, files))
    finally:
        pages.close()
        counted.close()
        pictures.close()
        mentors.close()
        desk.close()
        estimates.close()
        reader.close()


def serve(application: Guard, listener: socket.socket) -> None:
    """Runs until it is interrupted. No access log: it would hold the key."""
    config = uvicorn.Config(
        application, access_log=False, log_level="warning", server_header=False, proxy_headers=False, ws="none"
    )
    uvicorn.Server(config).run(sockets=[listener])


@contextmanager
def opener(link: str) -> Iterator[str]:
    """A private file that leads to the link: a browser's command line, which every user can list, must not hold it."""
    handle, name = tempfile.mkstemp(prefix="thirdstop-", suffix=".html")
    file = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            address = escape(link, quote=True)
            stream.write(
                f'<!doctype html><html lang="en"><meta charset="utf-8"><meta name="referrer" content="no-referrer">'
                f'<meta http-equiv="refresh" content="0; url={address}"><title>thirdstop</title>'
                f'<p><a href="{address}">Open the journal</a></p></html>'
            )
        yield file.as_uri()
    finally:
        file.unlink(missing_ok=True)


def _assets() -> tuple[dict[str, Asset], dict[str, str]]:
    """Our files by path, and their paths by name. A path holds a digest, so that a browser may keep what it got."""
    contents = {
        "style": (STYLE, style_sheet().encode(), "css"),
        "charts": (SCRIPT, drawing_script().encode() + (ASSETS / "charts.js").read_bytes(), "js"),
        "vega": (SCRIPT, vega_bundle(), "js"),
        "judge_style": (STYLE, (ASSETS / "judge.css").read_bytes(), "css"),
        "frame_style": (STYLE, (ASSETS / "frame.css").read_bytes(), "css"),
        "keepers_style": (STYLE, (ASSETS / "keepers.css").read_bytes(), "css"),
        "keepers": (SCRIPT, drawing_script().encode() + (ASSETS / "keepers.js").read_bytes(), "js"),
        "queue": (SCRIPT, (ASSETS / "queue.js").read_bytes(), "js"),
        "judge": (SCRIPT, (ASSETS / "judge.js").read_bytes(), "js"),
        "again": (SCRIPT, (ASSETS / "again.js").read_bytes(), "js"),
    }
    files, paths = {}, {}
    for name, (kind, content, suffix) in contents.items():
        path = f"/assets/{name}-{hashlib.sha256(content).hexdigest()[:16]}.{suffix}"
        files[path], paths[name] = Asset(kind, content), path
    paths["run"] = secrets.token_hex(4)  # frame 7 of another journal on this port is another picture
    return files, paths
