"""The picture of a story: focus, movement, hand, lens, sensor and development of one scene, above all but `making`."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from pocketcamera.blurs import convolved, disc, hand_path, moving_path, path_kernel
from pocketcamera.development import developed
from pocketcamera.layers import taken_apart
from pocketcamera.sensor import captured, drawn_white_balance, through_lens
from pocketcamera.sources import Part
from pocketcamera.stories import Story
from pocketcamera.subjects import Subject, box_of, find_subject
from pocketcamera.tones import Codes, Floats, Mask, key_of, opened, shoulder, srgb_encoded

#: Keys between which a photograph suits a frame [1]. Source: own choice; an error has to show on the side it is on.
TOO_BRIGHT_KEYS, TOO_DARK_KEYS, KEYS = (0.05, 0.5), (0.035, 0.42), (0.012, 0.6)
KEYS_OF_KIND = {"good_highkey": (0.13, 0.6), "good_lowkey": (0.03, 0.4)}
#: Keys that are moved towards the middle key, and by which share of the stops between. Source: own choice.
MOVED_KEYS, MIDDLE_KEY, MOVED_SHARE = (0.05, 0.4), 0.15, 0.2
#: What a background and an outline need to have where they are seen apart. Source: own choice.
MOST_RISE_AROUND_PX, LEAST_OUTLINE = 3.5, 0.68
LEAST_CELLS = {"good_pan": 2, "good_shallow": 2, "missed_focus": 3}
#: Shake of good frames, least and most, and most of one whose background streaks anyway [px]. Source: own choice.
STEADY_PX, STEADY_PAN_PX = (0.05, 1.15), 0.9
#: Defocus of a good frame's subject at most, of a shallow one's, and of a background that is not meant to be soft [px].
#: Source: own choice.
SHARP_DISC_PX, SHALLOW_DISC_PX, NEARLY_SHARP_PX = 0.6, 0.8, (0.5, 1.4)
#: The same of a background behind a subject that moved [px].
NEARLY_SHARP_BEHIND_MOTION_PX = (0.5, 2.2)
#: Defocus of the farthest part of a shallow frame [px]. Source: own choice.
SHALLOW_PX = (4.0, 20.0)
#: Streak of a panned background [px]. Source: own choice.
PANNED_PX = (10.0, 42.0)
#: Discs below this leave a layer as it is [px]. Source: own choice.
LEAST_DISC_PX = 0.35
#: Subjects that end below this share of the height may stand on ground; how often they do. Source: own choice.
FOOT_FROM, GROUND_SHARE = 0.55, 0.75
#: Edges that the sharp part of a missed focus has at least, and how often it is in front. Source: own choice.
LEAST_SHARP_EDGES, IN_FRONT_SHARE = 2500, 0.35
#: Slope along the movement, per px, of edges that smear, and the share of the subject that has them [1]; change of the
#: subject that shows, in grey levels. Source: own choice.
SMEARING_SLOPE, SMEARING_SHARE, LEAST_CHANGE = 9, 0.045, 5.0


class UnfitSceneError(Exception):
    """This story cannot be told with this part of this photograph."""


class UnfitPhotographError(UnfitSceneError):
    """Nor is it likely to be with another part of it."""


@dataclass(frozen=True)
class Aperture:
    """What a point out of focus looks like."""

    n_blades: int
    turn: float  # [rad]
    rim: float  # how much brighter its edge is

    def defocused(self, light: Floats, diameter_px: float) -> Floats:
        """Light out of focus by a disc of this diameter [px]."""
        if diameter_px < LEAST_DISC_PX:
            return light
        return convolved(light, disc(diameter_px, self.n_blades, self.turn, self.rim))


@dataclass(frozen=True)
class Depth:
    """A simple layout of the background: 0 at the distance of the subject, 1 far behind it, and near before it."""

    far: Floats
    near: Floats
    heights: Floats  # 0 at the upper edge, 1 at the lower [1]
    foot: float  # where the subject ends [share of the height]
    has_ground: bool


def rendered(part: Part, story: Story, rng: np.random.Generator) -> tuple[Codes, tuple[int, int, int, int]]:
    """The finished picture in 8-bit codes, and the subject's box in it (left, top, right, bottom) [px].

    Raises:
        UnfitPhotographError: The photograph is too dark or too bright for the story.
        UnfitSceneError: It has no subject, or not the detail, that the story needs.
    """
    key = key_of(part.codes)
    least_key, most_key = suitable_keys(story)
    if not least_key < key < most_key:
        raise UnfitPhotographError("too dark or too bright")
    subject = find_subject(part, rng)
    if subject is None:
        raise UnfitSceneError("no subject")
    check_subject(subject, story)
    scene = opened(part.codes)
    if MOVED_KEYS[0] < key < MOVED_KEYS[1]:
        scene *= np.float32((MIDDLE_KEY / key) ** MOVED_SHARE)
    scene = _in_its_light(scene, subject, story.kind, rng)
    aperture = Aperture(story.settings.body.n_blades, rng.uniform(0, 3), rng.uniform(-0.25, 0.5))
    hand = hand_kernel(story, rng)
    scene, box = _with_focus_and_motion(scene, part.codes, subject, story, aperture, rng)
    if hand is not None:
        scene = convolved(scene, hand)
    body, iso = story.settings.body, story.settings.iso
    light = through_lens(np.maximum(scene, 0), body, story.settings.f_number, rng)
    return developed(captured(light, body, iso, story.ev, drawn_white_balance(rng), rng), body, iso, rng), box


def suitable_keys(story: Story) -> tuple[float, float]:
    """Keys between which a photograph suits a story [1]."""
    if "exposure" in story.faults:
        return TOO_BRIGHT_KEYS if story.ev > 0 else TOO_DARK_KEYS
    return KEYS_OF_KIND.get(story.kind, KEYS)


def check_subject(subject: Subject, story: Story) -> None:
    """Where subject and background part ways, both have to have something to show.

    Raises:
        UnfitSceneError: One has not.
    """
    is_moving = "subject_motion" in story.faults
    is_seen_apart = story.kind in ("missed_focus", "good_pan") or is_moving
    least_cells = LEAST_CELLS.get(story.kind, 3 if is_moving else 0)
    if is_seen_apart and subject.rise_around_px > MOST_RISE_AROUND_PX:
        raise UnfitSceneError("background without sharp detail")
    if subject.n_cells_around < least_cells:
        raise UnfitSceneError("background without detail")
    if (is_seen_apart or story.kind == "good_shallow") and subject.outline < LEAST_OUTLINE:
        raise UnfitSceneError("subject does not stand out")


def hand_kernel(story: Story, rng: np.random.Generator) -> Floats | None:
    """What the hand does to the picture; None on a tripod."""
    time = story.settings.exposure_time_s
    if "shake" in story.faults:
        return path_kernel(hand_path(story.sizes["shake"], time, rng))
    if story.settings.is_on_tripod:
        return None
    most = STEADY_PAN_PX if story.kind == "good_pan" else STEADY_PX[1]
    return path_kernel(hand_path(rng.uniform(STEADY_PX[0], most), time, rng))


def _in_its_light(scene: Floats, subject: Subject, kind: str, rng: np.random.Generator) -> Floats:
    """Low key: a dim scene around a subject in the light. High key: light things in even light and hazy air."""
    if kind == "good_lowkey":
        height, width = scene.shape[:2]
        small = cv2.resize(subject.matte, (width // 8, height // 8), interpolation=cv2.INTER_AREA)
        pool = cv2.resize(cv2.GaussianBlur(small, (0, 0), rng.uniform(22, 40)), (width, height))
        pool = np.clip(pool / pool.max() * 1.3, 0, 1)
        stops = -rng.uniform(2.0, 3.6) * (1 - pool) - rng.uniform(0, 0.5)
        return np.asarray(scene * (2.0**stops)[..., None].astype(np.float32), np.float32)
    if kind == "good_highkey":
        even = np.power(np.maximum(scene, 0), np.float32(rng.uniform(0.5, 0.7))) * np.float32(rng.uniform(0.95, 1.2))
        haze = np.float32(rng.uniform(0.05, 0.4))
        return np.asarray(even * (1 - haze) + haze * np.float32(rng.uniform(1.0, 1.4)), np.float32)
    return scene


def _with_focus_and_motion(
    scene: Floats, codes: Codes, subject: Subject, story: Story, aperture: Aperture, rng: np.random.Generator
) -> tuple[Floats, tuple[int, int, int, int]]:
    """Light behind the lens before the hand, and the subject's box in it."""
    is_moving = "subject_motion" in story.faults
    if not is_moving and story.kind not in ("good_shallow", "good_pan", "missed_focus"):
        if "focus" in story.faults:
            scene = _all_defocused(scene, subject, story.sizes["focus"], aperture, rng)
        return scene, subject.box
    background, front = taken_apart(scene, subject.matte)
    depth = laid_out(subject, rng)
    if story.kind == "good_shallow":
        background, subject_disc = _shallow(background, depth, aperture, rng)
    elif story.kind == "missed_focus":
        background, subject_disc = _missed(background, depth, subject, story.sizes["focus"], aperture, rng)
    else:
        background, subject_disc = _nearly_sharp(background, depth, story.kind, aperture, rng)
    layer = aperture.defocused(np.dstack([front * subject.matte[..., None], subject.matte]), subject_disc)
    if story.kind == "good_pan":
        direction = rng.normal(0, 0.12) + (math.pi if rng.random() < 0.5 else 0)
        streak = path_kernel(moving_path(rng.uniform(*PANNED_PX), direction, rng))
        background = convolved(background, streak)
    box = subject.box
    if is_moving:
        headroom = story.settings.body.headroom
        layer = moved(layer, background, codes, subject, story.sizes["subject_motion"], headroom, rng)
        box = box_of(layer[..., 3] > 0.25)
    return laid_over(background, layer), box


def laid_over(background: Floats, layer: Floats) -> Floats:
    """A layer of light and cover over a background."""
    return background * (1 - layer[..., 3:]) + layer[..., :3]


def mixed(one: Floats, other: Floats, share: Floats) -> Floats:
    """One picture where the share is 0, the other where it is 1."""
    return one + (other - one) * share[..., None]


def laid_out(subject: Subject, rng: np.random.Generator) -> Depth:
    """Depth around a subject: on ground that runs from its feet into the distance, or before a wall far behind."""
    shape = subject.matte.shape
    foot = subject.box[3] / shape[0]
    has_ground = foot > FOOT_FROM and bool(rng.random() < GROUND_SHARE)
    heights = np.linspace(0, 1, shape[0], dtype=np.float32)[:, None] * np.ones((1, shape[1]), np.float32)
    if not has_ground:
        return Depth(np.ones(shape, np.float32), np.zeros(shape, np.float32), heights, foot, has_ground)
    far = np.clip((foot - heights) / max(0.3, foot - 0.35), 0, 1)
    return Depth(far, np.clip((heights - foot) / 0.35, 0, 1), heights, foot, has_ground)


def _shallow(background: Floats, depth: Depth, aperture: Aperture, rng: np.random.Generator) -> tuple[Floats, float]:
    """A background that gets softer with distance, and the disc of a subject in focus [px]."""
    farthest = math.exp(rng.uniform(math.log(SHALLOW_PX[0]), math.log(SHALLOW_PX[1])))
    half, whole = (aperture.defocused(background, px) for px in (farthest * 0.5, farthest))
    away = np.maximum(depth.far, depth.near * 0.6)
    soft = mixed(mixed(background, half, np.clip(away * 2, 0, 1)), whole, np.clip(away * 2 - 1, 0, 1))
    return soft, rng.uniform(0, SHALLOW_DISC_PX)


def _missed(
    background: Floats, depth: Depth, subject: Subject, disc_px: float, aperture: Aperture, rng: np.random.Generator
) -> tuple[Floats, float]:
    """A background that is sharp in front of the subject or behind it, and the disc of the subject [px]."""
    n_edges = subject.edges_around.sum()
    has_front = depth.has_ground and subject.n_edges_in_front > max(LEAST_SHARP_EDGES, 0.25 * n_edges)
    if has_front and rng.random() < IN_FRONT_SHARE:
        farther = disc_px * rng.uniform(1.1, 1.6)
        sharp, soft, softer = (aperture.defocused(background, px) for px in (rng.uniform(0, 0.7), disc_px, farther))
        from_focus = np.clip((depth.foot + 0.16 - depth.heights) / 0.2, 0, 1)
        return mixed(mixed(sharp, soft, from_focus), softer, depth.far), disc_px
    at_subject = np.clip(1 - depth.far + depth.near, 0, 1)
    if (subject.edges_around & (at_subject < 0.15)).sum() < max(LEAST_SHARP_EDGES, 0.5 * n_edges):
        at_subject = at_subject * 0
    sharp, soft = (aperture.defocused(background, px) for px in (rng.uniform(0, 0.6), disc_px * 1.05))
    return mixed(sharp, soft, at_subject), disc_px


def _nearly_sharp(
    background: Floats, depth: Depth, kind: str, aperture: Aperture, rng: np.random.Generator
) -> tuple[Floats, float]:
    """A background that is sharp, or hardly soft far away, and the disc of a subject in focus [px]."""
    if rng.random() < 0.35:
        away_px = rng.uniform(*(NEARLY_SHARP_BEHIND_MOTION_PX if kind == "subject_motion" else NEARLY_SHARP_PX))
        soft = aperture.defocused(background, away_px)
        background = mixed(background, soft, np.maximum(depth.far, depth.near))
    return background, rng.uniform(0, SHARP_DISC_PX)


def _all_defocused(
    scene: Floats, subject: Subject, disc_px: float, aperture: Aperture, rng: np.random.Generator
) -> Floats:
    """Everything out of focus, upper parts a little more or less than lower ones."""
    farther = disc_px * rng.uniform(0.85, 1.2)
    height, width = scene.shape[:2]
    heights = np.linspace(1, 0, height, dtype=np.float32)[:, None] * np.ones((1, width), np.float32)
    share = heights * (1 - cv2.GaussianBlur(subject.matte, (0, 0), 6))
    soft, softer = (aperture.defocused(scene, px) for px in (disc_px, farther))
    return mixed(soft, softer, np.asarray(share, np.float32))


def moved(
    layer: Floats,
    background: Floats,
    codes: Codes,
    subject: Subject,
    extent_px: float,
    headroom: float,
    rng: np.random.Generator,
) -> Floats:
    """The subject's layer smeared along a path, in a direction in which it shows.

    Raises:
        UnfitSceneError: It shows in none, or hardly.
    """
    direction = rng.normal(0, 0.35) if rng.random() < 0.75 else rng.uniform(0, math.pi)
    directions = (direction, direction + rng.normal(0, 0.8), rng.uniform(0, math.pi))
    is_subject = cv2.dilate((subject.matte > 0.5).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    shows_along = next((one for one in directions if _smears(codes, is_subject, one)), None)
    if shows_along is None:
        raise UnfitSceneError("motion would not show")
    smeared = convolved(layer, path_kernel(moving_path(extent_px, shows_along, rng)))
    before, after = (_shown_at_half_size(background, one, headroom) for one in (layer, smeared))
    change = np.abs(after - before).mean(-1) * 255
    size = (change.shape[1], change.shape[0])
    at_half_size = cv2.resize(is_subject.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    if round(float(change[at_half_size].mean()), 1) < LEAST_CHANGE:
        raise UnfitSceneError("motion would not show")
    return smeared


def _smears(codes: Codes, is_subject: Mask, direction: float) -> bool:
    """Whether enough of the subject has a slope along this direction [rad]."""
    luma = cv2.cvtColor(codes, cv2.COLOR_RGB2GRAY).astype(np.float32)
    across, down = cv2.Sobel(luma, -1, 1, 0) / 8, cv2.Sobel(luma, -1, 0, 1) / 8
    slope = np.abs(across * math.cos(direction) + down * math.sin(direction))
    return bool((slope[is_subject] > SMEARING_SLOPE).mean() > SMEARING_SHARE)


def _shown_at_half_size(background: Floats, layer: Floats, headroom: float) -> Floats:
    """sRGB values of a layer over a background, at half size."""
    light = cv2.resize(laid_over(background, layer), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return srgb_encoded(shoulder(np.asarray(light, np.float32), headroom))
