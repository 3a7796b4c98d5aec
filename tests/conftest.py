"""Imports in tests do not examine what they import, unless a test says so: it would start two more processes each."""

from __future__ import annotations

import os

os.environ.setdefault("THIRDSTOP_EXAMINE", "0")
