"""A measure function for tests of what surrounds the measuring: quick, and foreseeable from the picture's name.

`sharp-…`, `shaken-…`, `dark-…` and `plain-…` are found to be what they are called; `deadly-…` ends its process,
`endless-…` never answers, `broken-…` is refused with a sentence.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from journal.errors import JournalError

VERSIONS = {"measure_version": 1, "model_version": "stand-in 1"}
#: What the measuring returns of a picture in which nothing is wrong.
NOTHING = {"exposure": 0.02, "focus": 0.03, "shake": 0.04, "subject_motion": 0.02, "noise": 0.01, "ev": -0.1}
SHARP = {"spread_px": 0.8, "along_px": 0.8, "across_px": 0.8}
STREAKED = "edges spread 4.2 px along 10°, 1.1 px across it"
DARK = "mid-tones lie 2.4 stops low"


def measure(path: str, exif: dict[str, Any]) -> dict[str, Any]:
    """What the name of the picture says."""
    kind = Path(path).name.partition("-")[0]
    if kind == "deadly":
        os.abort()
    if kind == "endless":
        time.sleep(600)
    if kind == "broken":
        raise JournalError(f"{Path(path).name} is cut short.", "Copy it from the card again.")
    found: dict[str, Any] = {
        **VERSIONS,
        **NOTHING,
        "noise_sigma": 2.0,
        "blur_px": 1.0,
        "cant_tell": False,
        "is_too_bright": False,
        "evidence": ["the sharpest edges spread 0.8 px, alike in all directions"],
        "evidence_by_fault": {},
        "blur": SHARP,
        "subject": {"blur": SHARP, "sharp_place": None},
        "tones": {"mean_stops": 0.0},
    }
    if kind == "shaken":
        found |= {"shake": 0.95, "blur_px": 9.5, "evidence": [STREAKED], "evidence_by_fault": {"shake": [STREAKED]}}
        found["blur"] = {"spread_px": 2.5, "along_px": 4.2, "across_px": 1.1}
    if kind == "dark":
        found |= {"exposure": 0.97, "ev": -2.4, "evidence": [DARK], "evidence_by_fault": {"exposure": [DARK]}}
        found["tones"] = {"mean_stops": -2.4}
    if kind == "plain":
        found |= {"focus": 0.7, "cant_tell": True}
    return found


def slow(path: str, exif: dict[str, Any]) -> dict[str, Any]:
    """The same after a tenth of a second."""
    time.sleep(0.1)
    return measure(path, exif)
