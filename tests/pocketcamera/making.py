"""One frame from its number: kind, story, photograph, JPEG, and the record of what it is; above `rendering`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from pocketcamera.rendering import UnfitPhotographError, UnfitSceneError, rendered
from pocketcamera.sources import sharp_part
from pocketcamera.stories import FAULTS, Story, draw_kind, draw_story
from pocketcamera.tones import Codes

Record = dict[str, Any]

#: How often a frame is drawn before it is left out; every second time with another photograph, so many further on, or
#: the next one where that would miss most of them. Source: own choice.
MOST_DRAWS, STRIDE = 60, 7
#: Share of upright frames. Source: own choice.
PORTRAIT_SHARE = 0.4
#: Quality of JPEG files, least and most; share that keeps all colour samples. Source: own choice.
QUALITIES, FULL_COLOUR_SHARE = (85, 97), 0.35
#: Pillow's numbers of chroma subsampling.
ALL_SAMPLES, A_QUARTER = 0, 2
#: How often a camera that writes a place of focus does so, how far it is from the subject's middle [px], and its width
#: as a share of the frame's. Source: own choice.
AREA_SHARE, AREA_SPREAD_PX, AREA_WIDTH = 0.8, 15, 0.12


def file_name(number: int) -> str:
    """Name of a frame's file."""
    return f"frame-{number:04d}.jpg"


def make_frame(number: int, seed: int, photographs: Mapping[str, Path], folder: Path) -> Record | None:
    """Make frame `number` of a seed and say what it is; the same number, seed and photographs give the same bytes.

    Returns:
        file, photograph, kind, labels, sizes (stops for exposure and noise, px for blurs), ev (exposure error,
        positive where too bright [stops]), subject_box (left, top, right, bottom [px]) and exif; None where no
        photograph suits.
    """
    kind, second = draw_kind(np.random.default_rng([seed, number]))
    names = list(photographs)
    order = np.random.default_rng([seed, 999]).permutation(len(names))
    stride = STRIDE if len(names) % STRIDE else 1
    unfit: set[str] = set()
    for draw in range(MOST_DRAWS):
        rng = np.random.default_rng([seed, number, draw])
        story = draw_story(rng, kind, second)
        name = names[int(order[(number + draw // 2 * stride) % len(names)])]
        if name in unfit:
            continue
        try:
            codes, box = _taken(photographs[name], story, rng)
        except (UnfitPhotographError, OSError):
            unfit.add(name)
        except UnfitSceneError:
            continue
        else:
            return _kept(folder / file_name(number), name, story, codes, box, rng)
    return None


def _taken(path: Path, story: Story, rng: np.random.Generator) -> tuple[Codes, tuple[int, int, int, int]]:
    """The picture of a story, taken of a part of a photograph: upright where it is large enough, and the box."""
    aspect = story.settings.body.aspect
    is_portrait = bool(rng.random() < PORTRAIT_SHARE)
    part = sharp_part(path, rng, is_portrait, aspect) or sharp_part(path, rng, False, aspect)
    if part is None:
        raise UnfitPhotographError("not sharp or too small")
    return rendered(part, story, rng)


def _kept(
    path: Path, name: str, story: Story, codes: Codes, box: tuple[int, int, int, int], rng: np.random.Generator
) -> Record:
    """The record of a frame, once its JPEG is written."""
    quality = int(rng.integers(QUALITIES[0], QUALITIES[1] + 1))
    subsampling = ALL_SAMPLES if rng.random() < FULL_COLOUR_SHARE else A_QUARTER
    unfinished = path.with_suffix(".part")
    Image.fromarray(codes).save(unfinished, "JPEG", quality=quality, subsampling=subsampling)
    unfinished.replace(path)
    exif = dict(story.exif)
    if story.settings.body.writes_subject_area and rng.random() < AREA_SHARE:
        exif["SubjectArea"] = _subject_area(story.kind, box, codes.shape[1], codes.shape[0], rng)
    return {
        "file": path.name,
        "photograph": name,
        "kind": story.kind,
        "labels": {fault: fault in story.faults for fault in FAULTS},
        "sizes": {fault: round(size, 2) for fault, size in story.sizes.items()},
        "ev": round(story.ev, 3),
        "subject_box": list(box),
        "exif": exif,
    }


def _subject_area(
    kind: str, box: tuple[int, int, int, int], width: int, height: int, rng: np.random.Generator
) -> list[int]:
    """Middle, width and height of the place that the camera focused on [px]: near the subject's middle, or anywhere in
    half of the frames that missed it. Source: Exif 2.32, tag SubjectArea.
    """
    middle_x, middle_y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    if kind == "missed_focus" and rng.random() < 0.5:
        middle_x, middle_y = rng.uniform(0.2, 0.8) * width, rng.uniform(0.2, 0.8) * height
    middle = [int(place + rng.normal(0, AREA_SPREAD_PX)) for place in (middle_x, middle_y)]
    return [*middle, int(width * AREA_WIDTH), int(width * AREA_WIDTH)]
