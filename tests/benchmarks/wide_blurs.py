"""How often wide blurs of large photographs are named, and how often sharp ones are wronged; by the first look alone,
and by all.

    PYTHONPATH=.:tests python tests/benchmarks/wide_blurs.py FOLDER… [--every N]

Every photograph of the folders of 2,500 px and more is put out of focus, smeared or left as it is, in linear light:
all of it, or an ellipse around its middle; then it becomes a JPEG and is measured, with settings that suit. About six
seconds of one core per photograph; two processes.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from degraded.blurs import Light, disc, line, spread
from degraded.camera import jpeg
from degraded.sources import UNFIT
from numpy.typing import NDArray
from PIL import Image

from analytics.pixels.decoding import read_picture
from analytics.pixels.distance import LARGE_SIDE, View, told_by, views_of
from analytics.pixels.model import TOLD_FROM_AFAR, shipped_model
from analytics.pixels.settings import settings_of
from analytics.pixels.suggest import SUGGEST_FROM

#: What is wrong, whether everywhere, and how wide it is [px].
CASES = (
    ("sharp", False, 0),
    *(("focus", everywhere, width) for everywhere in (False, True) for width in (6, 10, 15, 30, 60)),
    *(("subject_motion", False, width) for width in (10, 20, 50)),
    *(("shake", True, width) for width in (8, 20, 50)),
)
BRIEF = {"ExposureTime": 1 / 250, "FNumber": 4, "ISO": 200, "FocalLength": 85, "FocalLengthIn35mmFilm": 85}
SLOW = BRIEF | {"ExposureTime": 1 / 30, "FNumber": 11}
SLOWER = BRIEF | {"ExposureTime": 1 / 15, "FNumber": 16, "ISO": 100}
#: Settings that each case is taken with; a sharp picture with two.
SETTINGS = {"sharp": (BRIEF, SLOW), "focus": (BRIEF,), "subject_motion": (SLOW,), "shake": (SLOWER,)}
#: Semi-axes of the ellipse, in shares of the columns and the rows.
ELLIPSE = 0.2, 0.3
#: Quality of the JPEGs, and noise that is added [codes of 8 bits].
QUALITY, NOISE = 93, 1.0
#: What is wrong, everywhere or not, how wide, with which settings; the likeliest suggestion near, and of all views.
Told = tuple[str, bool, int, int, str | None, str | None, int]


def large(folders: list[Path]) -> list[Path]:
    """The photographs of the folders that are large enough."""
    found = []
    for path in sorted(path for folder in folders for path in folder.rglob("*")):
        if path.suffix.lower() in {".jpg", ".jpeg", ".png"} and path.stem not in UNFIT:
            with Image.open(path) as image:
                found += [path] if max(image.size) >= LARGE_SIDE else []
    return found


def made_wrong(light: Light, what: str, everywhere: bool, width: int, rng: np.random.Generator) -> Light:
    """The scene with one blur in it."""
    if not width:
        return light
    kernel = disc(width) if what == "focus" else line(width, rng.uniform(0, math.pi))
    blurred = spread(light, kernel)
    if everywhere:
        return blurred
    rows, columns = light.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns]
    middle_y, middle_x = rows * rng.uniform(0.42, 0.62), columns * rng.uniform(0.4, 0.6)
    apart = np.hypot((x - middle_x) / (columns * ELLIPSE[0]), (y - middle_y) / (rows * ELLIPSE[1]))
    inside = spread((apart < 1).astype(np.float32), kernel)[:, :, None]
    return np.asarray(blurred * inside + light * (1 - inside), np.float32)


def told_of(path: Path, folder: Path) -> list[Told]:
    """What is suggested for one photograph in every case; the JPEG is kept in a folder while it is measured."""
    cv2.setNumThreads(1)
    codes: NDArray[Any] = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    light = np.asarray(np.float32(codes / np.float32(255)) ** np.float32(2.2), np.float32)
    rng, file, told = np.random.default_rng(codes.shape[1] + int(codes[::97, ::97].sum())), folder / path.name, []
    for what, everywhere, width in CASES:
        seen = np.clip(made_wrong(light, what, everywhere, width, rng), 0, 1) ** np.float32(1 / 2.2) * 255
        seen = seen + rng.normal(0, NOISE, seen.shape[:2])[:, :, None]
        file.write_bytes(jpeg(np.clip(seen + 0.5, 0, 255).astype(np.uint8), QUALITY))
        picture = read_picture(file)
        for number, exif in enumerate(SETTINGS[what]):
            views = views_of(picture, settings_of(exif), None)
            told.append((what, everywhere, width, number, suggested(views[:1]), suggested(views), len(views)))
    file.unlink()
    return told


def suggested(views: list[View]) -> str | None:
    """The likeliest fault of sharpness by some views, where it is likely."""
    told = told_by(views, shipped_model())
    likeliest = max(TOLD_FROM_AFAR, key=lambda fault: told[fault][0])
    return likeliest if told[likeliest][0] >= SUGGEST_FROM else None


def lines(told: list[Told]) -> Iterator[str]:
    """A table: per case how many are named rightly, and how many wrongly, near and by all views."""
    cases: dict[tuple[str, bool, int, int], list[Told]] = defaultdict(list)
    for each in told:
        cases[each[:4]].append(each)
    yield "case | pictures | right near | right by all | wrong near | wrong by all | looked at again"
    for (what, everywhere, width, number), of_case in cases.items():
        is_right = [sum(each[at] == what for each in of_case) for at in (4, 5)]
        is_wrong = [sum(each[at] not in {what, None} for each in of_case) for at in (4, 5)]
        where = "all over" if everywhere else "in a part"
        name = f"{what} {where} {width} px" if width else f"sharp, {'1/250' if number == 0 else '1/30'}"
        again = sum(each[6] > 1 for each in of_case)
        yield " | ".join(str(cell) for cell in (name, len(of_case), *is_right, *is_wrong, again))


def main() -> None:
    """Makes, measures, prints."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("folders", type=Path, nargs="+")
    reader.add_argument("--every", type=int, default=1, help="only every so many photographs")
    asked = reader.parse_args()
    with tempfile.TemporaryDirectory() as folder, get_context("spawn").Pool(2) as pool:
        work = partial(told_of, folder=Path(folder))
        told = [each for of_one in pool.imap_unordered(work, large(asked.folders)[:: asked.every]) for each in of_one]
    print("\n".join(lines(told)))


if __name__ == "__main__":
    main()
