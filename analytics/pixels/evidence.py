"""What speaks for a fault, in short sentences with numbers; what speaks against sharpness being judged at all is said
too."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from analytics.pixels.features import Measures
from analytics.pixels.moved import MovedPlace
from analytics.pixels.rings import Rings
from analytics.pixels.settings import Settings
from analytics.pixels.spread import Blur
from analytics.pixels.subject import Place
from journal.notation import SMALLEST_SPREAD_PX, format_direction, format_exposure_time, format_spread
from journal.records.turns import upright_deg

#: Probability from which the evidence for a fault is told.
TOLD_FROM = 0.25
#: Spread along over spread across from which a direction is named.
DIRECTED = 1.3
#: Clipped share that is worth a sentence [0..1].
MUCH_CLIPPED = 0.02
#: Negative spread below which edges were steepened after the exposure [px].
STEEPENED = -0.8


def evidence_of(
    measures: Measures,
    settings: Settings,
    probabilities: Mapping[str, float],
    by_fault: Mapping[str, Sequence[str]],
) -> list[str]:
    """Sentences for every fault that is not unlikely, the likeliest first.

    Args:
        measures: of the pixels.
        settings: of the camera.
        probabilities: by fault.
        by_fault: what is said on each fault.

    Returns:
        Sentences without a full stop; at least one.

    Source: own choice.
    """
    sentences: list[str] = []
    if not measures.is_telling:
        cells = int((measures.map.n_crests > 0).sum())
        sentences.append(f"too few edges to judge sharpness by: in {cells} of {measures.map.n_crests.size} cells")
    for fault in sorted(probabilities, key=lambda each: -probabilities[each]):
        if probabilities[fault] >= TOLD_FROM:
            sentences += [each for each in by_fault[fault] if each not in sentences]
    if not sentences:
        sentences = [f"the sharpest edges {spread_words(measures.blur, settings.orientation)}"]
    if measures.blur.spread < STEEPENED:
        sentences.append("edges are steeper than a lens makes them: sharpened, or made smaller, after the exposure")
    return sentences


def sentences_for(fault: str, measures: Measures, settings: Settings, exposure_error: float) -> list[str]:
    """What the picture and its settings say on one fault.

    Args:
        fault: as `measure` calls it.
        measures: of the pixels.
        settings: of the camera.
        exposure_error: too bright is positive [stops].

    Returns:
        Sentences without a full stop; none where nothing is known.

    Source: own choice.
    """
    if fault == "exposure":
        return _exposure(measures, settings, exposure_error)
    if fault == "noise":
        return _noise(measures, settings)
    if fault == "shake":
        return [*_edges(measures.soft_half, settings), *_rule(settings)]
    if fault == "subject_motion":
        return [*_moved(measures.moved, settings), *_place(measures.streaked_place, settings), *_time(settings)]
    return [
        *_edges(measures.soft_half, settings),
        *_place(measures.soft_place, settings),
        *_discs(measures.rings),
    ]


def _exposure(measures: Measures, settings: Settings, error: float) -> list[str]:
    tones = measures.tones
    sentences = [f"about {abs(error):.1f} stops too {'bright' if error > 0 else 'dark'} by the tones and settings"]
    sentences.append(f"half of the picture lies {_away(float(tones.levels[3]))} mid-grey")
    if tones.white_share >= MUCH_CLIPPED:
        sentences.append(f"{tones.white_share:.0%} of the picture is clipped white")
    if measures.colours.one_clipped >= MUCH_CLIPPED:
        sentences.append(f"in {measures.colours.one_clipped:.0%} of the picture one colour is clipped alone")
    if tones.black_share >= MUCH_CLIPPED:
        sentences.append(f"{tones.black_share:.0%} of the picture is black")
    if abs(settings.metered_error_ev) >= 0.5:
        more = "more" if settings.metered_error_ev > 0 else "less"
        sentences.append(
            f"the settings let in {abs(settings.metered_error_ev):.1f} stops {more} light than the camera metered"
        )
    return sentences


def _noise(measures: Measures, settings: Settings) -> list[str]:
    sentences = []
    if math.isfinite(measures.noise.shown):
        sentences.append(f"flat places vary by {measures.noise.shown:.1f} of 255 levels")
    if math.isfinite(settings.iso):
        sentences.append(f"taken at ISO {settings.iso:.0f}")
    return sentences


def _edges(blur: Blur, settings: Settings) -> list[str]:
    """Of edges that are as sharp as pixels can show nothing is said: they speak for no fault."""
    is_soft = math.isfinite(blur.spread) and not blur.along < SMALLEST_SPREAD_PX
    return [f"edges {spread_words(blur, settings.orientation)}"] if is_soft else []


def spread_words(blur: Blur, orientation: int = 1) -> str:
    """How far edges spread, and in which direction of the upright picture; what is too little to be told is never
    nought.

    Args:
        blur: of some group of edges.
        orientation: how the stored picture is turned, by Exif.

    Returns:
        Words that follow "the edges".

    Source: own choice.
    """
    if not math.isfinite(blur.along):
        return f"spread {format_spread(blur.spread)}" if math.isfinite(blur.spread) else "are too few to measure"
    along, across = blur.along, blur.across
    if along < SMALLEST_SPREAD_PX:
        return "are as sharp as pixels can show"
    if along > DIRECTED * max(across, SMALLEST_SPREAD_PX):
        direction = format_direction(upright_deg(math.degrees(blur.direction), orientation))
        return f"spread {format_spread(along)} along {direction}, {format_spread(across)} across it"
    return f"spread {format_spread(along)}, alike in all directions"


def _place(place: Place | None, settings: Settings) -> list[str]:
    if place is None:
        return []
    inside, around = spread_words(place.blur, settings.orientation), format_spread(place.outside.spread)
    return [f"at the likely subject edges {inside}, around it {around}"]


def _discs(rings: Rings) -> list[str]:
    if (told := rings.told) is None:
        return []
    where = "in a place" if told.is_place else "all over"
    return [f"points spread into discs of about {told.size:.0f} px {where}, as they do out of focus"]


def _moved(place: MovedPlace, settings: Settings) -> list[str]:
    if not place.is_sure:
        return []
    way = format_direction(upright_deg(math.degrees(place.moved.direction), settings.orientation))
    return [f"a place seems to have moved by about {place.moved.far:.0f} px along {way}"]


def _rule(settings: Settings) -> list[str]:
    below = settings.stops_below_rule
    if not math.isfinite(below):
        return _time(settings)
    side = "below" if below > 0 else "above"
    length = settings.focal_length_35mm
    return [
        f"{format_exposure_time(settings.exposure_time_s)} at {length:.0f} mm is {abs(below):.1f} stops {side} the rule"
    ]


def _time(settings: Settings) -> list[str]:
    known = math.isfinite(settings.exposure_time_s)
    return [f"exposed for {format_exposure_time(settings.exposure_time_s)}"] if known else []


def _away(stops: float) -> str:
    return f"{abs(stops):.1f} stops or more {'above' if stops > 0 else 'below'}"
