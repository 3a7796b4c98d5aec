"""Features and truth of all frames that a fit has: by three cameras, of photographs and of rendered scenes.

What is made is kept in one folder: pictures, their truth and their features, so a second fit is quick.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from fieldcamera.photographs import find_photographs
from fieldcamera.series import make_frames
from othercamera.making import make_folder, read_folder
from othercamera.sources import OTHERS_LISTED

from analytics.pixels.decoding import read_picture
from analytics.pixels.distance import views_of
from analytics.pixels.measuring import MEASURE_VERSION, focus_point
from analytics.pixels.model import FAULTS
from analytics.pixels.settings import settings_of
from degraded.series import kept_frame
from degraded.sources import listed, listed_digits

#: Frames of the listed photographs.
MORE_FRAMES = 1575
#: Frames of the other camera by seed; a few of them cannot be made.
OTHER_FRAMES = {1: 400, 2: 400}
#: Frames of the field camera, and their seed.
FIELD_FRAMES, FIELD_SEED = 800, 1
#: Share of the frames with few settings that are seen in black and white as well.
COLOURLESS_SHARE = 0.4
#: What the sources of the frames of the two further cameras begin with.
OTHER, FIELD = "other ", "field "
#: Kind of a frame whose focus is where the subject is not.
MISSED = "missed focus"


def sparse(exif: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """The settings with many, sometimes all, left out."""
    share = 1.0 if rng.uniform() < 0.2 else 0.45
    return {key: value for key, value in exif.items() if rng.uniform() >= share}


def measured(path: Path, exif: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """Features of a picture, near and from afar (None in a small one), with its settings and with few of them (then
    often without its colours as well), kept beside it."""
    file = path.with_suffix(f".features-{MEASURE_VERSION}.json")
    if not file.exists():
        picture = read_picture(path)
        few = sparse(exif, rng)
        colourless = replace(picture, colours=None) if rng.uniform() < COLOURLESS_SHARE else picture
        found: dict[str, list[Any]] = {"features": [], "afar": []}
        for given, seen in ((exif, picture), (few, colourless)):
            settings = settings_of(given)
            near, *further = views_of(seen, settings, focus_point(settings, *picture.grey.shape))
            found["features"].append(_plain(near.features))
            found["afar"].append(_plain(further[0].features) if further else None)
        file.write_text(json.dumps(found), encoding="utf-8")
    return dict(json.loads(file.read_text(encoding="utf-8")))


def _plain(features: Mapping[str, float]) -> dict[str, float | None]:
    return {name: None if math.isnan(value) else value for name, value in features.items()}


def kept_features(folder: Path, index: int, seed: int, further: dict[str, Path] | None = None) -> dict[str, Any]:
    """Features of one frame of the first camera, with its settings and with few of them, and its truth."""
    frame = kept_frame(folder, index, seed, further)
    return {**frame.truth, **measured(frame.path, frame.truth["exif"], np.random.default_rng([5, seed, index]))}


def other_features(folder: Path, photographs: dict[str, Path], seed: int, n_frames: int) -> list[dict[str, Any]]:
    """Features and truth of the frames of the other camera, in the words of the first."""
    for _ in make_folder(photographs, folder, n_frames, seed):
        pass
    found = []
    for path, truth in read_folder(folder):
        _, of_seed, number = path.stem.split("-")
        if int(of_seed) == seed and int(number) < n_frames:
            is_missed = truth["labels"]["focus"] and not truth["everywhere"]
            named = {"kind": MISSED if is_missed else truth["kind"], "source": OTHER + truth["source"]}
            features = measured(path, truth["exif"], np.random.default_rng([6, seed, int(number)]))
            found.append({**truth, **named, **features})
    return found


def field_features(folder: Path, photographs: Path) -> list[dict[str, Any]]:
    """Features and truth of the frames of the field camera, in the words of the first."""
    found = []
    for record in make_frames(folder, find_photographs(photographs), FIELD_FRAMES, FIELD_SEED):
        path = folder / record["file"]
        number = int(path.stem.removeprefix("frame-"))
        truth = field_truth(record)
        found.append({**truth, **measured(path, record["exif"], np.random.default_rng([7, FIELD_SEED, number]))})
    return found


def field_truth(record: dict[str, Any]) -> dict[str, Any]:
    """What a record of the field camera says is wrong, in the words of the first camera."""
    blurs = [record["sizes"][fault] for fault in ("focus", "shake", "subject_motion") if fault in record["sizes"]]
    fault = "subject motion" if "subject_motion" in record["faults"] else ", ".join(record["faults"])
    is_missed = record["focus_fault"] in {"behind", "in_front"}
    return {
        "labels": {fault: fault in record["faults"] for fault in FAULTS},
        "kind": MISSED if is_missed else fault or record["kind"],
        "source": FIELD + record["photograph"],
        "ev": record["exposure_error_stops"],
        "blur_px": max(blurs, default=0.0),
        "exif": record["exif"],
    }


def all_features(folder: Path, frames: int, seed: int, photographs: Path | None = None) -> list[dict[str, Any]]:
    """Features and truth of the frames of a series, and of those of the listed photographs of a folder, by all
    cameras."""
    found = [kept_features(folder, index, seed) for index in range(frames)]
    if photographs:
        # a seed of their own: the frames of the first series stay what they are
        further = listed(photographs)
        found += [kept_features(folder, index, seed + 1, further) for index in range(MORE_FRAMES)]
        others = listed(photographs, OTHERS_LISTED)
        for other_seed, n_frames in OTHER_FRAMES.items():
            found += other_features(folder / "other", others, other_seed, n_frames)
        found += field_features(folder / "field", photographs)
    return found


def sources_in_words(scenes: set[str]) -> str:
    """How many scenes came from where."""
    n_listed = len(scenes & listed_digits())
    n_rendered, n_others, n_field = (
        sum(scene.startswith(beginning) for scene in scenes) for beginning in ("rendered", OTHER, FIELD)
    )
    parts = [f"{len(scenes) - n_rendered - n_listed - n_others - n_field} photographs of the frames' folder"]
    if n_listed:
        parts.append(f"{n_listed} photographs listed in tests/degraded/photographs.txt")
    if n_others:
        parts.append(f"{n_others} listed in tests/othercamera/photographs.txt, by another camera")
    if n_field:
        parts.append(f"{n_field} listed in tests/fieldcamera/photographs.txt, by a third")
    return ", ".join(parts) + f" and {n_rendered} rendered scenes"
