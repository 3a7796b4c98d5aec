"""The simulated year and a browser, made once for all tests of this folder that use them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from browsing import launched

from journal.demo.building import build_demo

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser


@pytest.fixture(scope="session")
def simulated_year(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The journal that `thirdstop demo` makes; tests that write to it take a copy."""
    folder = tmp_path_factory.mktemp("year")
    path = folder / "thirdstop-demo.journal"
    build_demo(path, folder / "pictures")
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A Chromium for the pages of a module, for its event loop would be in the way of others that have their own."""
    with launched() as chromium:
        yield chromium
