"""Serves journals until it is interrupted: on loopback, and at one more address where that is asked for."""

from __future__ import annotations

import gc
import hashlib
import math
import os
import re
import secrets
import socket
import tempfile
from contextlib import ExitStack, contextmanager
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from analytics.charts.bundle import vega_bundle
from analytics.charts.look import drawing_script, style_sheet
from analytics.dashboards.again import Again
from analytics.dashboards.apart import MOST_BESIDE
from analytics.dashboards.counted import Counted
from analytics.dashboards.desk import Desk
from analytics.dashboards.estimates import ENDLESS, Estimates, Patience
from analytics.dashboards.guard import Asset, Guard, Holdings, Keys
from analytics.dashboards.pictures import Pictures
from analytics.dashboards.plugin import Pages, Sources
from analytics.dashboards.reach import LOOPBACK, Reach
from analytics.dashboards.reading import Reader
from analytics.dashboards.side_by_side import Front, SideBySide
from analytics.dashboards.visitors import Mentors
from analytics.dashboards.writing import Writer
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from analytics.dashboards.answering import Application

#: Pages that are counted before anybody asks; the limits are on every frame's page.
FIRST_LOOKED_AT = ("journal", "own limits", "standing")
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
            listener.bind((LOOPBACK, wanted))
            listener.listen(128)
        except OSError:
            listener.close()
            if wanted == 0:
                raise
        else:
            return listener
    raise AssertionError("unreachable")


def listen_beyond(address: str, port: int) -> socket.socket:
    """A socket on another address of this machine, on this port.

    Raises:
        JournalError: it is none of this machine's, or the port is taken there.
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    if os.name == "posix":
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((address, port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise JournalError(
            f"Nothing can be served at {address}, port {port}: {error.strerror}.",
            "Use an address of this machine, or another --port.",
        ) from error
    return listener


@contextmanager
def application(
    path: Path, reach: Reach, keys: Keys, secret: bytes | None = None, patience: Patience = ENDLESS
) -> Iterator[Guard]:
    """The whole application for one journal; closed when left.

    Args:
        path: the journal.
        reach: where it is served.
        keys: secrets of this run.
        secret: what mentors' links are signed with; without it, links of this run end with it.
        patience: how long visitors wait for numbers that are being counted.
    """
    files, paths = _assets()
    writer = Writer(paths, reach.front_port)
    most_beside = MOST_BESIDE if reach.front_port is None else math.inf  # many journals would be many processes
    reader, estimates = Reader(path, writer, most_beside), Estimates(path, patience)
    desk, pictures = Desk(path), Pictures()
    if patience is not ENDLESS:
        reader.move_apart()
        estimates.foresee(*FIRST_LOOKED_AT)
    again = Again(desk)
    mentors = Mentors(path, secret or secrets.token_bytes(32))
    counted = Counted(path)
    pages = Pages(path, Sources(reader, estimates, desk, again, counted), writer)
    try:
        held = Holdings(reader, desk, again, pictures, mentors, estimates, files)
        yield Guard(pages.datasette.app(), reach, keys, held, pages)
    finally:
        pages.close()
        counted.close()
        pictures.close()
        mentors.close()
        if reach.beyond is not None:
            reach.beyond.sign_in.close()
        desk.close()
        estimates.close()
        reader.close()


@contextmanager
def side_by_side(
    journals: Mapping[str, Path], ports: Sequence[int], keys: Keys, patience: Patience = ENDLESS
) -> Iterator[SideBySide]:
    """Several journals by name, each with its whole application on a port of its own; closed when left.

    Args:
        journals: the files by the name that each is shown with.
        ports: of the page for all of them, then one for each.
        keys: of the page for all; its link opens each journal too.
        patience: how long visitors of one journal wait for numbers that are being counted.
    """
    front, *others = ports
    with ExitStack() as stack:
        guards = {
            name: stack.enter_context(application(path, Reach(port, front_port=front), Keys(), patience=patience))
            for (name, path), port in zip(journals.items(), others, strict=True)
        }
        first = Front(guards, Reach(front), keys, _assets())
        yield SideBySide({front: first, **{guard.reach.port: guard for guard in guards.values()}})


def serve(application: Application, listeners: list[socket.socket]) -> None:
    """Runs until it is interrupted. No access log: it would hold the key; h11, for it refuses endless heads."""
    gc.freeze()  # what is loaded by now stays: to look all of it through takes a third of a second, and visitors wait
    config = uvicorn.Config(
        application,
        access_log=False,
        log_level="warning",
        server_header=False,
        proxy_headers=False,
        ws="none",
        http="h11",
    )
    uvicorn.Server(config).run(sockets=listeners)


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


def _colours() -> bytes:
    """The colours of our pages, light and dark, without the rest of their style: for pages that are not ours."""
    root, dark = re.findall(r"^ *:root \{\n[^}]*\}\n", style_sheet(), re.MULTILINE)[:2]
    return f"{root}@media (prefers-color-scheme: dark) {{\n{dark}}}\n".encode()


def _assets() -> tuple[dict[str, Asset], dict[str, str]]:
    """Our files by path, and their paths by name. A path holds a digest, so that a browser may keep what it got."""
    contents = {
        "style": (STYLE, style_sheet().encode(), "css"),
        "charts": (SCRIPT, drawing_script().encode() + (ASSETS / "charts.js").read_bytes(), "js"),
        "vega": (SCRIPT, vega_bundle(), "js"),
        "tables_style": (STYLE, _colours() + (ASSETS / "tables.css").read_bytes(), "css"),
        "judge_style": (STYLE, (ASSETS / "judge.css").read_bytes(), "css"),
        "frame_style": (STYLE, (ASSETS / "frame.css").read_bytes(), "css"),
        "keepers_style": (STYLE, (ASSETS / "keepers.css").read_bytes(), "css"),
        "keepers": (SCRIPT, drawing_script().encode() + (ASSETS / "keepers.js").read_bytes(), "js"),
        "counting": (SCRIPT, (ASSETS / "counting.js").read_bytes(), "js"),
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
