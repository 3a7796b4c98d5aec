"""A plausible subject of a part of a photograph, with a soft outline along its edges; above `sources`."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from pocketcamera.sources import NO_EDGE_PX, Part
from pocketcamera.tones import Codes, Floats, Mask, grey

#: Longer side of the small picture that a subject is looked for in [px]. Source: own choice.
SEARCH_PX = 320
#: Edges that rise within this are sharp [px]. Source: own choice.
SHARP_RISE_PX = 3.8
#: Where subjects stand [shares of width and height]: at the thirds and in the middle. Source: own choice.
PLACES = ((1 / 3, 0.4), (2 / 3, 0.4), (1 / 3, 0.62), (2 / 3, 0.62), (0.5, 0.5), (0.5, 0.6)) * 2
#: Places that are looked at closely; outlines among which the best is taken, and the score that ends the search.
#: Source: own choice.
MOST_TRIES, ENOUGH_OUTLINES, ENOUGH_SCORE = 4, 2, 2.6
#: Share of the frame that a subject takes. Source: own choice.
AREA_SHARES = (0.04, 0.30)
#: Colour step across an outline that shows, in units of CIELAB as 8 bits; share of the outline where it shows; share of
#: the outline inside the frame; share of the hull that the subject fills; share of the frame's edge that it touches at
#: most. Source: own choice.
LEAST_STEP, LEAST_OUTLINE, LEAST_INSIDE, LEAST_SOLIDITY, MOST_AT_EDGE = 14, 0.5, 0.55, 0.5, 0.22
#: Edges that the background has to have, before anything is said about it. Source: own choice.
LEAST_EDGES_AROUND = 1500
#: Share of the height below which the ground in front of a subject lies. Source: own choice.
GROUND_FROM = 0.72


@dataclass(frozen=True)
class Subject:
    """What the photographer meant."""

    matte: Floats  # soft mask in [0, 1]
    box: tuple[int, int, int, int]  # left, top, right, bottom [px]
    outline: float  # share of its outline where the colour steps
    edges_around: Mask  # sharp edges beside it
    rise_around_px: float  # of the sharpest fifth of edges beside it
    n_cells_around: int  # of a grid of 6 x 4 in which something beside it is sharp
    n_edges_in_front: int  # sharp edges on the ground in front of it


@dataclass(frozen=True)
class _Shape:
    """A mask in the small picture, and how well it stands out."""

    mask: Codes
    outline: float
    score: float


def find_subject(part: Part, rng: np.random.Generator) -> Subject | None:
    """A subject with visible, sharp edges, or None."""
    height, width = part.codes.shape[:2]
    scale = SEARCH_PX / max(height, width)
    size = int(width * scale), int(height * scale)
    small = np.asarray(cv2.resize(part.codes, size, interpolation=cv2.INTER_AREA), np.uint8)
    salience, colours = _salience(small, part)
    best, n_outlines = None, 0
    for ellipse in _places(salience, colours, rng)[:MOST_TRIES]:
        if best is not None and (n_outlines >= ENOUGH_OUTLINES or best.score > ENOUGH_SCORE):
            break
        shape = _shape_at(ellipse, small, salience, rng)
        if shape is not None:
            n_outlines += 1
            best = shape if best is None or shape.score > best.score else best
    return None if best is None else _at_full_size(best, part)


def _salience(small: Codes, part: Part) -> tuple[Floats, Floats]:
    """How much each place draws the eye, by colour against the frame's border and by sharp edges; and colours."""
    colours = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 2), cv2.COLOR_RGB2LAB).astype(np.float32)
    sharp = (part.edges & (part.rise_px < SHARP_RISE_PX)).astype(np.float32)
    size = (small.shape[1], small.shape[0])
    density = cv2.GaussianBlur(cv2.resize(sharp, size, interpolation=cv2.INTER_AREA), (0, 0), 5)
    border = np.concatenate([side.reshape(-1, 3) for side in (colours[:8], colours[:, :8], colours[:, -8:])])
    distance = np.sqrt(((colours - np.median(border, 0)) ** 2).sum(-1))
    salience = distance / (distance.mean() + 1) + 1.2 * density / (density.mean() + 1e-4)
    return np.asarray(salience, np.float32), np.asarray(colours, np.float32)


def _places(salience: Floats, colours: Floats, rng: np.random.Generator) -> list[Floats]:
    """Ellipses where a subject may be, the likeliest first: each value is below 1 inside."""
    height, width = salience.shape
    y, x = np.mgrid[:height, :width].astype(np.float32)
    found: list[tuple[float, Floats]] = []
    for place_x, place_y in PLACES:
        middle_x, middle_y = place_x + rng.normal(0, 0.06), place_y + rng.normal(0, 0.06)
        area, aspect = math.exp(rng.uniform(math.log(0.05), math.log(0.24))), math.exp(rng.normal(0.25, 0.4))
        half_height = math.sqrt(area * width * height / math.pi * aspect)
        half_width = min(half_height / aspect, 0.46 * width)
        half_height = min(half_height, 0.46 * height)
        ellipse = ((x - middle_x * width) / half_width) ** 2 + ((y - middle_y * height) / half_height) ** 2
        inside, around = ellipse < 1, (ellipse > 1.2) & (ellipse < 2.6)
        if inside.sum() < 100:
            continue
        colour_step = np.linalg.norm(colours[inside].mean(0) - colours[around].mean(0)) / 25
        score = salience[inside].mean() - 0.8 * salience[around].mean() + 0.3 * colour_step
        found.append((float(score + rng.gumbel(0, 0.15)), np.asarray(ellipse, np.float32)))
    return [ellipse for _, ellipse in sorted(found, key=lambda one: -one[0])]


def _shape_at(ellipse: Floats, small: Codes, salience: Floats, rng: np.random.Generator) -> _Shape | None:
    """The outline that colours give a subject at this place, where it stands out enough."""
    mask = _cut_out(ellipse, small, rng)
    if mask is None or not AREA_SHARES[0] <= mask.mean() <= AREA_SHARES[1]:
        return None
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    solidity = float(mask.sum() / max(cv2.contourArea(cv2.convexHull(max(contours, key=len))), 1))
    if solidity < LEAST_SOLIDITY:
        return None
    rim = (cv2.dilate(mask, np.ones((3, 3), np.uint8)) - mask) > 0
    rim[:3] = rim[-3:] = False
    rim[:, :3] = rim[:, -3:] = False
    if rim.sum() < 40:
        return None
    outline = float((_colour_steps(mask, small)[rim] > LEAST_STEP).mean())
    if outline < LEAST_OUTLINE or rim.sum() < LEAST_INSIDE * sum(len(contour) for contour in contours):
        return None
    at_edge = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]]).mean()
    drawn_by = salience[mask > 0].mean() / salience.mean()
    score = outline + 0.7 * drawn_by + 0.4 * solidity - 2.0 * at_edge + rng.gumbel(0, 0.06)
    return None if at_edge > MOST_AT_EDGE else _Shape(mask, outline, float(score))


def _cut_out(ellipse: Floats, small: Codes, rng: np.random.Generator) -> Codes | None:
    """The largest piece that GrabCut tells from its surroundings, without holes and smooth."""
    labels = np.full(ellipse.shape, cv2.GC_BGD, np.uint8)
    labels[ellipse < 2.4] = cv2.GC_PR_BGD
    labels[ellipse < 1.1] = cv2.GC_PR_FGD
    labels[ellipse < 0.06] = cv2.GC_FGD
    cv2.setRNGSeed(int(rng.integers(1 << 30)))
    try:
        cv2.grabCut(small, labels, (0, 0, 1, 1), np.zeros((1, 65)), np.zeros((1, 65)), 2, cv2.GC_INIT_WITH_MASK)
    except cv2.error:
        return None
    mask = ((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)).astype(np.uint8)
    mask = _closed(mask)
    n_pieces, pieces, facts, _ = cv2.connectedComponentsWithStats(mask)
    if n_pieces < 2:
        return None
    largest = 1 + int(facts[1:, cv2.CC_STAT_AREA].argmax())
    contours, _ = cv2.findContours((pieces == largest).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    whole = cv2.drawContours(np.zeros_like(mask), contours, -1, 1, -1)
    return (cv2.GaussianBlur(whole.astype(np.float32), (0, 0), 1.6) > 0.5).astype(np.uint8)


def _ball() -> Codes:
    """A disc of 5 px."""
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5)), np.uint8)


def _closed(mask: Codes) -> Codes:
    """A mask without specks and without small holes."""
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, _ball())
    return np.asarray(cv2.morphologyEx(opened, cv2.MORPH_CLOSE, _ball()), np.uint8)


def _colour_steps(mask: Codes, small: Codes) -> Floats:
    """How far colours inside the mask and outside it lie apart around each pixel, in CIELAB as 8 bits."""
    colours = cv2.cvtColor(small, cv2.COLOR_RGB2LAB).astype(np.float32)
    inside = mask.astype(np.float32)
    means = [
        cv2.boxFilter(colours * side[..., None], -1, (7, 7)) / (cv2.boxFilter(side, -1, (7, 7))[..., None] + 1e-6)
        for side in (inside, 1 - inside)
    ]
    return np.asarray(np.linalg.norm(means[0] - means[1], axis=-1), np.float32)


def guided(mask: Floats, guide: Floats, size_px: int, softness: float) -> Floats:
    """A mask smoothed along the edges of a guide. Source: He, Sun & Tang, IEEE TPAMI 35 (2013), equations 5 to 8."""

    def mean(values: Floats) -> Floats:
        return np.asarray(cv2.boxFilter(values, -1, (size_px, size_px)), np.float32)

    mean_guide, mean_mask = mean(guide), mean(mask)
    covariance = mean(guide * mask) - mean_guide * mean_mask
    slope = np.asarray(covariance / (mean(guide * guide) - mean_guide * mean_guide + softness), np.float32)
    return mean(slope) * guide + mean(mean_mask - slope * mean_guide)


def _at_full_size(shape: _Shape, part: Part) -> Subject | None:
    """The subject with its soft outline, and what is sharp around it; None where its own edges are not sharp."""
    height, width = part.codes.shape[:2]
    matte = _matte(shape.mask, np.asarray(grey(part.codes) / 255, np.float32))
    is_subject = matte > 0.5
    inside = part.edges & is_subject
    n_wanted = max(500, 0.004 * is_subject.sum())
    if inside.sum() < n_wanted or np.percentile(part.rise_px[inside], 25) > 3.6:
        return None
    around = part.edges & ~cv2.dilate(is_subject.astype(np.uint8), np.ones((31, 31), np.uint8)).astype(bool)
    sharp_around = around & (part.rise_px < SHARP_RISE_PX)
    rise_around, n_cells = NO_EDGE_PX, 0
    if around.sum() > LEAST_EDGES_AROUND:
        rise_around = float(np.percentile(part.rise_px[around], 20))
        shares = cv2.resize(sharp_around.astype(np.float32), (6, 4), interpolation=cv2.INTER_AREA)
        n_cells = int((shares * (width * height / 24) > 60).sum())
    return Subject(
        matte,
        box_of(is_subject),
        shape.outline,
        sharp_around,
        rise_around,
        n_cells,
        int(sharp_around[int(GROUND_FROM * height) :].sum()),
    )


def _matte(mask: Codes, guide: Floats) -> Floats:
    """A small mask at the size of the guide, its outline led along edges and a few px soft."""
    size = (guide.shape[1], guide.shape[0])
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.8)
    coarse = np.asarray(cv2.resize(soft, size, interpolation=cv2.INTER_LINEAR), np.float32)
    led = cv2.GaussianBlur(guided(coarse, guide, 13, 2e-3), (0, 0), 1.0)
    matte = np.clip((led - 0.5) * 2.2 + 0.5, 0, 1).astype(np.float32)
    matte[cv2.resize(cv2.erode(mask, _ball()), size, interpolation=cv2.INTER_NEAREST) > 0] = 1
    matte[cv2.resize(cv2.dilate(mask, _ball()), size, interpolation=cv2.INTER_NEAREST) == 0] = 0
    return np.asarray(matte, np.float32)


def box_of(mask: Mask) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of a mask [px]; right and bottom are the first outside."""
    rows, columns = np.where(mask)
    return int(columns.min()), int(rows.min()), int(columns.max()) + 1, int(rows.max()) + 1
