"""Where a picture is out of focus, and by how much: rings of the cepstrum.

A point out of focus becomes a disc, and the spectrum of a disc is zero on rings that lie about 1/D apart. In the
cepstrum that is a ring too: a dip at a little less than the diameter D, in all directions alike, and a rise a fifth to
a third farther out. A blur without an edge, wider than a camera's own, ends in noise all round and leaves a weaker
one. What a camera softened has none, and a smear has its dip one way only. So rings tell a missed focus from noise
reduction and from movements, in whatever there is to see, and they tell the diameter.

Cameras and scenes have dips at short distances of their own; a ring counts by how far it stands out from what is usual.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.cells import Floats, Tiles
from analytics.pixels.edges import Sizes
from analytics.pixels.subject import weight_around
from analytics.pixels.travel import N_WAYS, SMALLEST_TILE, PlaceDips, Travel, dips_by_place, distances, travel_of

Numbers = NDArray[np.float64]

#: Longer side from which rings are looked for in smaller copies too [px].
LARGE_FROM = 3400
#: Diameters that are tried [px of the tiles].
SIZES = (5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 22)
#: Where the dip of a disc lies, and where the rise behind it, in shares of the diameter. Source: cepstrum of an even
#: disc, computed; discs of five blades and more have the same.
DIP, RISE = (0.8, 1.0), (1.15, 1.35)
#: How far a dip stands above a rise in pictures without a ring, by diameter, and how much that varies from one picture
#: to another [1000ths]. Source: median, and half of the middle two thirds, of generated frames without defocus.
USUAL = (81.5, 40.6, 7.7, 2.2, 1.43, 1.23, 0.65, 0.46, 0.27, 0.25, 0.23, 0.17, 0.09, 0.07, 0.04)
VARIES = (16.4, 10.2, 3.9, 1.8, 0.99, 0.79, 0.54, 0.40, 0.32, 0.28, 0.22, 0.19, 0.14, 0.09, 0.08)
#: Scatter over the cells that is added, so that an even picture does not divide by nothing [1000ths].
LEAST_SCATTER = 0.5
#: Share of the ways, the middle ones, whose dips make a ring: those of a railing or of a smear are left out.
MIDDLE_WAYS = 1 / 3
#: Width within which a place out of focus, or in focus, is looked for, in shares of the sides.
WIDTH_OF_SEARCH = 0.14
#: Two places of a picture vary less from one another than two pictures do.
VARIES_WITHIN = 0.5
#: Diameters that are told apart [px].
SPANS = {"short": (5, 7), "middle": (7, 10), "long": (10, 14), "longest": (14, 23)}
#: Shares of the places at which it is told how far a ring is all over the picture.
LEAST_SHARE, MOST_SHARE = 0.15, 0.85
#: Sureness from which a diameter is told, and that in the places that have least of it. Source: of 4,575 generated
#: frames it is then told of a third of those out of focus, in nine of ten of them right within a fifth, and of 3 in 100
#: of all others.
SURE, SURE_ALL_OVER = 4.0, 2.0


@dataclass(frozen=True, slots=True)
class Discs:
    """What points spread into.

    Attributes:
        size: diameter [px].
        is_place: in one place, and not all over.
    """

    size: float
    is_place: bool


@dataclass(frozen=True, slots=True)
class RingPlace:
    """A place and how sure a ring is there; the diameter is the same inside and outside.

    Attributes:
        differs: how far inside and outside differ, over their scatter [1].
        size: diameter of the disc [px of the tiles].
        inside: sureness of a ring inside [1].
        outside: sureness of a ring in what surrounds it [1].
        by_span: greatest difference within each of `SPANS`.
    """

    differs: float
    size: float
    inside: float
    outside: float
    by_span: dict[str, float]


@dataclass(frozen=True, slots=True)
class Rings:
    """Rings of a picture, as sureness: how far they stand out from what is usual, over what that varies [1].

    Attributes:
        sureness: over the whole picture, of the surest diameter.
        size: that diameter [px of the tiles].
        by_span: over the whole picture, greatest within each of `SPANS`.
        least: in the places that have least of it.
        most: in those that have most.
        subject: around the guessed subject, of the diameter that is surest there.
        subject_size: that diameter [px of the tiles].
        around: in what surrounds the subject, of the same diameter.
        subject_by_span: around the subject, greatest within each of `SPANS`.
        blurred: the place near the subject that is most out of focus against the rest.
        spared: the place near the subject that is most in focus against a picture that is not.
    """

    sureness: float
    size: float
    by_span: dict[str, float]
    least: float
    most: float
    subject: float
    subject_size: float
    around: float
    subject_by_span: dict[str, float]
    blurred: RingPlace
    spared: RingPlace

    @property
    def told(self) -> Discs | None:
        """The discs of a place near the subject, or of the whole picture, where they are sure enough to tell."""
        if self.blurred.differs >= SURE and self.blurred.inside >= SURE:
            return Discs(self.blurred.size, is_place=True)
        return Discs(self.size, is_place=False) if self.sureness >= SURE and self.least >= SURE_ALL_OVER else None

    def at_full_size(self, scale: float) -> Rings:
        """The same, measured in a small preview, in pixels of the full-size picture.

        Args:
            scale: pixels of the full-size picture per pixel of the preview's [px/px].
        """
        blurred, spared = (replace(each, size=each.size * scale) for each in (self.blurred, self.spared))
        size, subject_size = self.size * scale, self.subject_size * scale
        return replace(self, size=size, subject_size=subject_size, blurred=blurred, spared=spared)


def rings_of(tiles: Tiles, sizes: Sizes, travel: Travel, places: PlaceDips, point: tuple[float, float] | None) -> Rings:
    """Rings of a picture; in a large one discs can be large as well, and are looked for in a smaller copy too.

    Args:
        tiles: of the picture.
        sizes: of its tiles.
        travel: of its tiles at full size.
        places: its dips by place.
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        Rings; of two sizes of a picture those of the one that is surer.

    Source: Cannon 1976, Blind deconvolution of spatially invariant image blurs with phase.
    """
    found = [_found(travel, places, point)]
    for level in (1, 2) if tiles.side > LARGE_FROM else ():
        image, tile = sizes.images[level], sizes.tiles[level]
        # the quarter of a picture that is not very large is whole, and has no tiles
        has_tiles = image.shape == (tiles.shape[0] * tile[0], tiles.shape[1] * tile[1])
        if has_tiles and min(tile) >= SMALLEST_TILE:
            smaller = travel_of(image, tile, tiles.shape)
            found.append(_found(smaller, dips_by_place(smaller), point).at_full_size(2.0**level))
    return max(found, key=lambda each: max(each.sureness, each.blurred.differs))


@dataclass(frozen=True, slots=True)
class _Stands:
    """How far dips stand above rises, by diameter [1000ths], and how much that scatters from cell to cell.

    Attributes:
        whole: over all cells, (sizes,).
        inside: in every place, (places, sizes).
        outside: in what surrounds it, (places, sizes).
        n_cells: of the picture.
        n_inside: cells of every place, (places, 1).
        n_outside: cells of what surrounds it, (places, 1).
        variance: between cells, (sizes,).
    """

    whole: Numbers
    inside: Numbers
    outside: Numbers
    n_cells: int
    n_inside: NDArray[np.intp]
    n_outside: NDArray[np.intp]
    variance: Numbers

    def sureness(self, height: Numbers, n_cells: int | NDArray[np.intp]) -> Numbers:
        """By how much more than usual, over what that varies between pictures and between cells."""
        return np.asarray((height - np.array(USUAL)) / np.sqrt(self.variance / n_cells + np.array(VARIES) ** 2))


def _stands_of(travel: Travel, places: PlaceDips) -> _Stands:
    n_cells = travel.dips.shape[0] * travel.dips.shape[1]
    by_cell = travel.dips.reshape(n_cells, N_WAYS, -1)
    return _Stands(
        whole=_heights(_of_middle_ways(by_cell.mean(axis=0))),
        inside=_heights(_of_middle_ways(places.within)),
        outside=_heights(_of_middle_ways(places.without)),
        n_cells=n_cells,
        n_inside=places.inside.sum(axis=1)[:, None],
        n_outside=places.outside.sum(axis=1)[:, None],
        variance=(_heights(by_cell.mean(axis=1)).std(axis=0) + LEAST_SCATTER) ** 2,
    )


def _found(travel: Travel, places: PlaceDips, point: tuple[float, float] | None) -> Rings:
    """Rings in the dips of a picture, all over, by place, and around the subject."""
    stands = _stands_of(travel, places)
    whole = stands.sureness(stands.whole, stands.n_cells)
    inside = stands.sureness(stands.inside, stands.n_inside)
    outside = stands.sureness(stands.outside, stands.n_outside)
    shape = (travel.dips.shape[0], travel.dips.shape[1])
    near = weight_around(shape, point or (0.5, 0.5), WIDTH_OF_SEARCH)[places.centres[:, 0], places.centres[:, 1]]
    subject, around = (near @ each / near.sum() for each in (inside, outside))
    best, nearest = int(np.argmax(whole)), int(np.argmax(subject))
    return Rings(
        sureness=float(whole[best]),
        size=float(SIZES[best]),
        by_span=_by_span(whole),
        least=float(np.quantile(inside[:, best], LEAST_SHARE)),
        most=float(np.quantile(inside[:, best], MOST_SHARE)),
        subject=float(subject[nearest]),
        subject_size=float(SIZES[nearest]),
        around=float(around[nearest]),
        subject_by_span=_by_span(subject),
        blurred=_blurred(stands, inside, outside, near),
        spared=_spared(stands, inside, outside, near, best),
    )


def _blurred(stands: _Stands, inside: Numbers, outside: Numbers, near: Numbers) -> RingPlace:
    """The place, and the diameter, by which it is most out of focus against what surrounds it."""
    apart = np.sqrt(stands.variance / stands.n_inside + (VARIES_WITHIN * np.array(VARIES)) ** 2)
    differs = (stands.inside - np.maximum(stands.outside, USUAL)) / apart + np.log(near)[:, None]
    place, size = (int(each) for each in np.unravel_index(int(np.argmax(differs)), differs.shape))
    return RingPlace(
        differs=float(differs[place, size]),
        size=float(SIZES[size]),
        inside=float(inside[place, size]),
        outside=float(outside[place, size]),
        by_span=_by_span(differs.max(axis=0)),
    )


def _spared(stands: _Stands, inside: Numbers, outside: Numbers, near: Numbers, size: int) -> RingPlace:
    """The place that lacks most of the ring that the picture has, of one diameter."""
    lacks = (stands.outside - stands.inside)[:, size] / np.sqrt(stands.variance / stands.n_inside)[:, size]
    place = int(np.argmax(lacks + np.log(near)))
    return RingPlace(
        differs=float((lacks + np.log(near))[place]),
        size=float(SIZES[size]),
        inside=float(inside[place, size]),
        outside=float(outside[place, size]),
        by_span={},
    )


def _of_middle_ways(dips: Floats) -> Floats:
    """Mean over the middle ways of (..., ways, distances)."""
    ordered = np.sort(dips, axis=-2)
    spared = round(N_WAYS * (1 - MIDDLE_WAYS) / 2)
    return np.asarray(ordered[..., spared : N_WAYS - spared, :].mean(axis=-2), np.float32)


def _heights(dips: Floats) -> Numbers:
    """How far the dip of each diameter stands above its rise: (..., distances) -> (..., sizes) [1000ths]."""
    px = distances()[:, None]
    parts = []
    for low, high in (DIP, RISE):
        inside = ((px >= np.multiply(low, SIZES)) & (px <= np.multiply(high, SIZES))).astype(float)
        parts.append(inside / inside.sum(axis=0))
    return np.asarray(1000 * (dips @ (parts[0] - parts[1])), np.float64)


def _by_span(sureness: Numbers) -> dict[str, float]:
    sizes = np.array(SIZES)
    return {name: float(sureness[(sizes >= low) & (sizes < high)].max()) for name, (low, high) in SPANS.items()}


def rings_features(rings: Rings, tolerance: float) -> dict[str, float]:
    """What the model looks at.

    Args:
        rings: of the picture.
        tolerance: of the picture's size [1].

    Returns:
        Numbers by name.

    Source: own choice.
    """
    found = {
        "ring": rings.sureness,
        "ring_far": math.log2(rings.size / tolerance),
        "ring_least": rings.least,
        "ring_most": rings.most,
        "ring_subject": rings.subject,
        "ring_subject_far": math.log2(rings.subject_size / tolerance),
        "ring_around": rings.around,
        "ring_place": rings.blurred.differs,
        "ring_place_far": math.log2(rings.blurred.size / tolerance),
        "ring_place_inside": rings.blurred.inside,
        "ring_place_outside": rings.blurred.outside,
        "ring_spared": rings.spared.differs,
        "ring_spared_inside": rings.spared.inside,
        "ring_spared_outside": rings.spared.outside,
    }
    for name, spans in (("ring", rings.by_span), ("ring_subject", rings.subject_by_span)):
        found |= {f"{name}_{span}": value for span, value in spans.items()}
    return found | {f"ring_place_{span}": value for span, value in rings.blurred.by_span.items()}
