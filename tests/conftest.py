"""What holds for all tests: nothing is written to the data folder of whoever runs them, and imports examine nothing."""

from __future__ import annotations

import os
import shutil
import tempfile

# Examining would start two more processes at each import; a test that wants it says so.
os.environ.setdefault("THIRDSTOP_EXAMINE", "0")
DATA = tempfile.mkdtemp(prefix="thirdstop-tests-")
os.environ["XDG_DATA_HOME"] = DATA


def pytest_unconfigure() -> None:
    """Takes the folder away."""
    shutil.rmtree(DATA, ignore_errors=True)
