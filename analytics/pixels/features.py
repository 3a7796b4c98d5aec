"""Everything the fault model looks at, by name: a flat dictionary of numbers, NaN where a picture or the settings do
not tell.

Spreads go in as octaves, shares as square roots, settings as stops, so that evenly spaced knots of the model's curves
suit them all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.bands import bands_of
from analytics.pixels.cells import Tiles
from analytics.pixels.colours import Colours, colours_of, without_colour
from analytics.pixels.contrast import contrast_features, contrasts_of
from analytics.pixels.detail import Detail, detail_of
from analytics.pixels.edges import EdgeCounts, edge_counts, sizes_of
from analytics.pixels.exposure import Ends, Tones, tones_of
from analytics.pixels.metered import metered_features
from analytics.pixels.moved import MovedPlace, moved_features, moved_of
from analytics.pixels.noise import Noise, noise_of
from analytics.pixels.rings import Rings, rings_features, rings_of
from analytics.pixels.settings import Settings
from analytics.pixels.spread import (
    PLACE_SHARE,
    Blur,
    BlurMap,
    blur_map,
    blur_of,
    directed_octaves,
    octaves,
    spread_along,
)
from analytics.pixels.subject import (
    Place,
    differing_place,
    streaked_place,
    subject_weights,
    surrounding_weights,
    weighted_counts,
)
from analytics.pixels.timed import timed_features
from analytics.pixels.travel import dips_by_place, travel_of

Numbers = NDArray[np.float64]

#: Longer side up to which blur counts pixel for pixel [px]; in larger pictures what is tolerated grows with the root
#: of the size.
#: Source: own choice; a picture is looked at whole and near, and the two sizes are weighed alike.
PLAIN_SIDE = 2000.0
#: Spread up to which a cell is sharp, and from which it is soft [px].
SHARP, SOFT = 1.0, 2.2
#: Spread along a cell's way from which it is smeared [px], and that over the spread across.
SMEARED_FROM, SMEARED_RATIO = 1.5, 2.0
#: What is told of a place.
PLACE_KEYS = (
    *("inside", "along", "across", "outside", "directed", "outside_directed", "softer", "sureness"),
    *("same_way", "apart"),
)
#: Quantiles at which a map is told.
QUANTILES = (0.1, 0.3, 0.5, 0.8)
#: Crests below which a picture says nothing about sharpness.
TOO_FEW_CRESTS = 60.0
#: Cells with edges below which it says nothing about sharpness.
TOO_FEW_CELLS = 5


@dataclass(frozen=True, slots=True)
class Measures:
    """All that is measured of a picture's pixels.

    Attributes:
        blur: over the whole picture.
        soft_half: the same, by the median edge instead of a sharp one.
        map: by cell.
        subject: around the guessed subject.
        subject_middle: the same, by its median edge.
        surroundings: of what surrounds the subject, by the median edge.
        soft_place: the place that is softest against the rest, if any.
        sharp_place: the place that is sharpest.
        streaked_place: the place whose edges are spread one way, unlike the rest.
        moved: the place that most likely moved, and what else is known of it.
        rings: what is out of focus by the cepstrum.
        detail: fine against coarse.
        noise: of flat places.
        tones: brightness.
        colours: the three colours at the bright end.
        contrasts: how much tones differ from their neighbours, by how bright they are.
        tolerance: how many times more blur this picture's size tolerates [1].
    """

    blur: Blur
    soft_half: Blur
    map: BlurMap
    subject: Blur
    subject_middle: Blur
    surroundings: Blur
    soft_place: Place | None
    sharp_place: Place | None
    streaked_place: Place | None
    moved: MovedPlace
    rings: Rings
    detail: Detail
    noise: Noise
    tones: Tones
    colours: Colours
    contrasts: Numbers
    tolerance: float

    @property
    def is_telling(self) -> bool:
        """Whether there are edges enough to say something about sharpness."""
        return self.blur.n_crests >= TOO_FEW_CRESTS and int(np.isfinite(self.map.spread).sum()) >= TOO_FEW_CELLS


def measures_of(tiles: Tiles, scale: float, point: tuple[float, float] | None) -> Measures:
    """All measures of a picture.

    Args:
        tiles: of the picture.
        scale: pixels of the full-size picture per pixel of the tiles' [px/px].
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        Measures.

    Source: see the modules of each.
    """
    sizes = sizes_of(tiles)
    edges: EdgeCounts = edge_counts(sizes, tiles.shape)
    counts = edges.counts
    whole = counts.sum(axis=(1, 2))
    cells = blur_map(counts)
    weights = subject_weights(edges.shape, point)
    around = surrounding_weights(weights)
    bands = bands_of(sizes, tiles.flat, tiles.shape)
    travel = travel_of(tiles.spectral, tiles.spectral_tile, tiles.shape)
    places = dips_by_place(travel)
    measures = Measures(
        blur=blur_of(whole),
        soft_half=blur_of(whole, 0.5),
        map=cells,
        subject=blur_of(weighted_counts(counts, weights / weights.max())),
        subject_middle=blur_of(weighted_counts(counts, weights / weights.max()), PLACE_SHARE),
        surroundings=blur_of(weighted_counts(counts, around / around.max()), PLACE_SHARE),
        soft_place=differing_place(counts, cells, point, 1),
        sharp_place=differing_place(counts, cells, point, -1),
        streaked_place=streaked_place(counts, cells, point),
        moved=moved_of(travel, places, counts, bands, point),
        rings=rings_of(tiles, sizes, travel, places, point),
        detail=detail_of(bands, weights, around, point),
        noise=noise_of(tiles.flat),
        tones=tones_of(tiles.small, tiles.code_shares, point or (0.5, 0.5)),
        colours=colours_of(without_colour(tiles.eighth) if tiles.colours is None else tiles.colours),
        contrasts=contrasts_of(tiles.small),
        tolerance=math.sqrt(max(1.0, tiles.side * scale / PLAIN_SIDE)),
    )
    return measures if scale == 1 else at_full_size(measures, scale)


def at_full_size(measures: Measures, scale: float) -> Measures:
    """Spreads of a picture that was made smaller, in pixels of the full-size one; over-sharpened edges stay what they
    are.

    Args:
        measures: of the smaller picture, in its own pixels.
        scale: pixels of the full-size picture per pixel of it [px/px].

    Returns:
        Measures.

    Source: lengths grow with the picture.
    """

    def px(spread: float) -> float:
        return spread * scale if spread > 0 else spread

    def blur(each: Blur) -> Blur:
        return replace(each, spread=px(each.spread), along=px(each.along), across=px(each.across))

    def place(each: Place | None) -> Place | None:
        return each and replace(each, blur=blur(each.blur), outside=blur(each.outside))

    cells = measures.map
    maps = (cells.spread, cells.middle, cells.along, cells.across)
    spread, middle, along, across = (np.where(each > 0, each * scale, each) for each in maps)
    return replace(
        measures,
        blur=blur(measures.blur),
        soft_half=blur(measures.soft_half),
        subject=blur(measures.subject),
        subject_middle=blur(measures.subject_middle),
        surroundings=blur(measures.surroundings),
        map=replace(cells, spread=spread, middle=middle, along=along, across=across),
        soft_place=place(measures.soft_place),
        sharp_place=place(measures.sharp_place),
        streaked_place=place(measures.streaked_place),
        moved=measures.moved.at_full_size(scale, blur),
        rings=measures.rings.at_full_size(scale),
    )


def features_of(measures: Measures, settings: Settings, from_afar: float = 0.0) -> dict[str, float]:
    """What the model looks at.

    Args:
        measures: of the pixels.
        settings: of the camera.
        from_afar: how much a look at a smaller size is to be doubted, see `distance`; 0 for a near look [0..1].

    Returns:
        Numbers by name, NaN where not known.

    Source: own choice.
    """
    features = {
        **_sharpness(measures),
        **_place("soft", measures.soft_place, measures.tolerance),
        **_place("sharp", measures.sharp_place, measures.tolerance),
        **_place("streaked", measures.streaked_place, measures.tolerance),
        **moved_features(measures.moved, measures.tolerance),
        **rings_features(measures.rings, measures.tolerance),
        **measures.detail.features(),
        **_noise(measures.noise),
        **_tones(measures.tones),
        **measures.colours.features(),
        **contrast_features(measures.contrasts),
        **_settings(settings),
    }
    features |= metered_features(features)
    return features | timed_features(features, settings, measures.tolerance) | {"from_afar": from_afar}


def _sharpness(measures: Measures) -> dict[str, float]:
    tolerance, cells = measures.tolerance, measures.map
    known = cells.spread[np.isfinite(cells.spread)]
    by_cell = _quantiles(known, ("sharpest_cells", "sharp_cells", "middle_cells", "softest_cells"), tolerance)
    turned = np.exp(2j * cells.direction[np.isfinite(cells.direction)])
    directed = np.nan_to_num(cells.along - cells.across)[np.isfinite(cells.direction)]
    middle, around = measures.subject_middle, measures.surroundings
    agreement = abs(np.sum(turned * directed)) / max(float(np.sum(directed)), 1e-9) if len(turned) else math.nan
    return {
        **by_cell,
        "smeared_alike": _smeared_alike(cells, tolerance),
        **_quantiles(
            cells.along[np.isfinite(cells.along)], ("along_sharpest", "along_sharp", "along_middle"), tolerance
        ),
        "sharp_share": float(np.mean(known < SHARP * tolerance)) if len(known) else math.nan,
        "soft_share": float(np.mean(known > SOFT * tolerance)) if len(known) else math.nan,
        "cells_apart": by_cell["softest_cells"] - by_cell["sharpest_cells"],
        "whole": octaves(measures.blur.spread, tolerance),
        "whole_along": octaves(measures.blur.along, tolerance),
        "whole_across": octaves(measures.blur.across, tolerance),
        "whole_directed": directed_octaves(measures.blur, tolerance),
        "half_along": octaves(measures.soft_half.along, tolerance),
        "half_across": octaves(measures.soft_half.across, tolerance),
        "half_directed": directed_octaves(measures.soft_half, tolerance),
        "direction_agreement": float(agreement),
        "subject": octaves(measures.subject.spread, tolerance),
        "subject_across": octaves(measures.subject.across, tolerance),
        "subject_directed": directed_octaves(measures.subject, tolerance),
        "subject_middle_along": octaves(middle.along, tolerance),
        "subject_middle_across": octaves(middle.across, tolerance),
        "subject_middle_directed": directed_octaves(middle, tolerance),
        "surroundings_along": octaves(around.along, tolerance),
        "subject_along_apart": octaves(middle.along, tolerance)
        - octaves(spread_along(around, middle.direction), tolerance),
        "subject_across_apart": octaves(middle.across, tolerance)
        - octaves(spread_along(around, middle.direction + math.pi / 2), tolerance),
        "subject_softer": octaves(measures.subject.spread, tolerance) - by_cell["sharp_cells"],
        "crests": math.log2(measures.blur.n_crests + 30),
    }


def _smeared_alike(cells: BlurMap, tolerance: float) -> float:
    """Share of the cells whose edges spread clearly more along one way than across it, as far as they agree on the way:
    near 1 only where the whole picture is smeared.
    """
    known = np.isfinite(cells.along)
    if not known.any():
        return math.nan
    along, across = cells.along[known], np.nan_to_num(cells.across[known])
    is_smeared = (along > SMEARED_FROM * tolerance) & (along > SMEARED_RATIO * np.maximum(across, 0.5 * tolerance))
    return float(abs(np.sum(np.exp(2j * cells.direction[known])[is_smeared])) / len(along))


def _quantiles(spread: Numbers, names: tuple[str, ...], tolerance: float) -> dict[str, float]:
    """Quantiles of a map, in octaves, the sharpest first."""
    found = np.quantile(spread, QUANTILES[: len(names)]) if len(spread) else [math.nan] * len(names)
    return {name: octaves(float(value), tolerance) for name, value in zip(names, found, strict=True)}


def _place(name: str, place: Place | None, tolerance: float) -> dict[str, float]:
    if place is None:
        return {f"{name}_{key}": math.nan for key in PLACE_KEYS}
    return {
        f"{name}_inside": octaves(place.blur.spread, tolerance),
        f"{name}_along": octaves(place.blur.along, tolerance),
        f"{name}_across": octaves(place.blur.across, tolerance),
        f"{name}_outside": octaves(place.outside.spread, tolerance),
        f"{name}_directed": directed_octaves(place.blur, tolerance),
        f"{name}_outside_directed": directed_octaves(place.outside, tolerance),
        f"{name}_softer": place.softer,
        f"{name}_sureness": place.sureness,
        f"{name}_same_way": octaves(spread_along(place.outside, place.blur.direction), tolerance),
        f"{name}_apart": octaves(place.blur.along, tolerance)
        - octaves(spread_along(place.outside, place.blur.direction), tolerance),
    }


def _noise(noise: Noise) -> dict[str, float]:
    def log(value: float) -> float:
        return math.log2(value + 0.2) if math.isfinite(value) else math.nan

    return {
        "noise": log(noise.sigma),
        "noise_half": log(noise.sigma_half),
        "noise_coarse": log(noise.sigma_half) - log(noise.sigma),
        "noise_laplacian": log(noise.immerkaer),
        "noise_shadows": log(float(noise.by_band[0])),
        "noise_middle": log(float(noise.by_band[1])),
    }


def _tones(tones: Tones) -> dict[str, float]:
    names = ("tone_01", "tone_05", "tone_25", "tone_50", "tone_75", "tone_95", "tone_99")
    levels = {name: float(value) for name, value in zip(names, tones.levels, strict=True)}
    return {
        **levels,
        "tone_mean": tones.mean,
        "tone_middle": tones.middle_mean,
        "white": math.sqrt(tones.white_share),
        "white_middle": math.sqrt(tones.middle_white_share),
        "black": math.sqrt(tones.black_share),
        "tone_range": levels["tone_95"] - levels["tone_05"],
        "tone_spread": tones.spread,
        "tone_lean": tones.lean,
        **_ends(tones.ends),
    }


def _ends(ends: Ends) -> dict[str, float]:
    names = ("tone_001", "tone_999", "tone_9997")
    return {
        **{name: float(value) for name, value in zip(names, ends.levels, strict=True)},
        "white_whitest": math.sqrt(ends.whitest_share),
        "white_nearly": math.sqrt(ends.nearly_white_share),
        "white_piled": ends.white_piled,
        "black_nearly": math.sqrt(ends.nearly_black_share),
        "black_piled": ends.black_piled,
    }


def _settings(settings: Settings) -> dict[str, float]:
    def log(value: float) -> float:
        return math.log2(value) if math.isfinite(value) else math.nan

    return {
        "time": log(settings.exposure_time_s),
        "f_number": 2 * log(settings.f_number),
        "pupil": log(settings.pupil_mm),
        "iso": log(settings.iso / 100),
        "stops_below_rule": settings.likely_stops_below_rule,
        "ev100": settings.ev100,
        "metered_error": settings.metered_error_ev,
        "is_manual": settings.is_manual,
        "is_steadied": settings.is_steadied,
    }
