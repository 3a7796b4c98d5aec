"""What tests in a real browser share: Chromium, a served journal, and what a page complained of or asked for."""

from __future__ import annotations

import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
needs_chromium = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium on this machine"),
]
SERVE = [sys.executable, "-c", "from journal.cli import main; main()", "serve", "--no-browser"]


@contextmanager
def launched() -> Iterator[Browser]:
    """A Chromium without network of its own."""
    with sync_playwright() as playwright:
        options = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=options)
        yield chromium
        chromium.close()


@contextmanager
def served(path: Path) -> Iterator[str]:
    """The link of a journal that `thirdstop serve` serves."""
    process = subprocess.Popen([*SERVE, "--journal", str(path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    line = process.stdout.readline()
    if "is taken" in line:
        line = process.stdout.readline()
    yield line.split()[-1]
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=20)


class Server:
    """`thirdstop serve` on one port, to be ended and started again."""

    def __init__(self, path: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.path, self.home = path, f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            [*SERVE, "--port", str(self.port), "--journal", str(self.path)], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        self.link = self.process.stdout.readline().split()[-1]
        assert f":{self.port}/" in self.link

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.communicate(timeout=20)


@contextmanager
def visits(browser: Browser, enter: Callable[[Page], None]) -> Iterator[Callable[..., Page]]:
    """Opens pages, each in a browser of its own that has been let in; all are closed at the end."""
    contexts = []

    def come_in(**options: Any) -> Page:
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        enter(page)
        return page

    yield come_in
    for context in contexts:
        context.close()


class Seen:
    """What a page complained of, and where it asked."""

    def __init__(self, page: Page) -> None:
        self.complaints: list[str] = []
        self.hosts: set[str] = set()
        self.schemes: set[str] = set()
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: self.complaints.append(dialog.message))
        page.on("request", lambda request: self._note(request.url))

    def _note(self, url: str) -> None:
        parts = urlsplit(url)
        self.hosts.add(parts.netloc)
        self.schemes.add(parts.scheme)


def barriers(page: Page) -> list[str]:
    """What axe-core finds on a page against WCAG 2.2 at level AA and its own good practice."""
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    results = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    return [f"{each['id']}: {each['nodes'][0]['html']}" for each in results.response["violations"]]
