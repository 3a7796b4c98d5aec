"""The simulated year, built once for all tests of this folder that read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from journal.demo.building import build_demo

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="session")
def simulated_year(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The journal that `thirdstop demo` makes; tests that write to it take a copy."""
    folder = tmp_path_factory.mktemp("year")
    path = folder / "thirdstop-demo.journal"
    build_demo(path, folder / "pictures")
    return path
