"""One frame explained, or two side by side: what the page and the command show, in words and rows.

The thinking is done in `analytics.explaining`; here its results become sentences and cells, the same ones for a page
and for the terminal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.dataset.opened import SIMULATED
from analytics.explaining import Comparison, Explanation, compare, explain, facts_of_row
from analytics.explaining.effects import stops_words
from analytics.explaining.explanation import exposure_words
from analytics.explaining.missing import how_to_state_the_sensor
from analytics.explaining.noise import levels_words
from analytics.explaining.own_limits import NAMES, Limits, ToSpare, limits_of_tables
from analytics.explaining.remedies import EXPOSURE_FAULTS, NOT_EXAMINED
from analytics.pages.session import FrameCard, frame_cards
from analytics.queries import EXPLAINED_FRAME, NEAR_IN_BURST
from journal.errors import JournalError
from journal.notation import (
    SMALLEST_SPREAD_PX,
    format_direction,
    format_names,
    format_rounded_distance,
    format_signed,
    format_spread,
)

if TYPE_CHECKING:
    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.explaining.blur_budget import BlurBudget
    from analytics.explaining.facts import Suggestion
    from analytics.explaining.remedies import Remedy

#: Spread along over spread across from which a direction is named.
DIRECTED = 1.3
#: An exposure so far off [stops] may well be meant where it is less likely a fault than this; so unlikely a fault is
#: not named.
FAR_STOPS, UNLIKELY = 0.5, 0.2
#: What is said where nothing is suggested.
NO_FAULT = "No fault stands out."
#: How a direction is counted, in the picture as it stands upright.
COUNTED = " (clockwise from level)"
#: Nearer to a limit than this, no setting of a camera lies between [stops].
AT_LIMIT_STOPS = 1 / 6
#: Frames of the burst that are offered to compare with.
MOST_NEAR = 12
#: How sure a cause is that is surely absent; the other words are the budget's own.
SURE_WORDS = {"none": "certain"}
#: Where a distance was read, as a reader would say it.
READ_FROM = {"exif": "as the camera wrote it", "makernote": "as the camera wrote it", "xmp": "as the sidecar says"}


@dataclass(frozen=True, slots=True)
class Part:
    """One part of an explanation: a heading, sentences before and after, and a table (empty where there is none).

    `notes` belong to the table and stand right under it.
    """

    heading: str
    before: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    right: tuple[str, ...] = ()
    drawing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FramePage:
    """One frame: the sentence that comes first, then the parts; the nearest of the `n_others` frames of its burst."""

    explanation: Explanation
    sentence: str
    parts: tuple[Part, ...]
    card: FrameCard
    burst: list[FrameCard]
    n_others: int
    simulated: str | None


@dataclass(frozen=True, slots=True)
class ComparisonPage:
    """Two frames: the sentence that comes first, then the parts."""

    comparison: Comparison
    frames: tuple[Explanation, Explanation]
    sentence: str
    parts: tuple[Part, ...]
    cards: list[FrameCard]
    simulated: str | None


def own_limits(frames: pd.DataFrame) -> Limits:
    """The photographer's own limits by (kind, key), from all judged frames."""
    from analytics.statistics.limits import KINDS, limits  # it loads scipy, which many commands do without

    return limits_of_tables({kind: limits(frames, kind) for kind in KINDS}) if len(frames) else {}


def explain_frame(journal: OpenJournal, number: int, limits: Limits) -> Explanation:
    """One frame of a journal, explained.

    Raises:
        JournalError: there is no such frame.
    """
    rows = journal.rows(EXPLAINED_FRAME, {"number": number})
    if not rows:
        raise JournalError(f"There is no frame {number} in this journal.", "List the frames with: thirdstop frames")
    return explain(facts_of_row(rows[0]), limits)


def frame_page(journal: OpenJournal, number: int, limits: Limits) -> FramePage:
    """One frame with all its parts.

    Raises:
        JournalError: there is no such frame.
    """
    one = explain_frame(journal, number, limits)
    makers = (_exposure, _depth, _blur, _suggestion, _fixes, _limits)
    parts = tuple(make(one) for make in makers if make is not _fixes or one.facts.verdict != "keeper")
    near = journal.rows(NEAR_IN_BURST, {"number": number, "limit": MOST_NEAR})
    card, *burst = frame_cards(journal, [number, *(row["id"] for row in near)])
    n_others = near[0]["n_others"] if near else 0
    return FramePage(one, one.sentence, parts, card, burst, n_others, _simulated(one))


def comparison_page(journal: OpenJournal, number: int, other: int, limits: Limits) -> ComparisonPage:
    """Two frames side by side.

    Raises:
        JournalError: there is no such frame.
    """
    frames = (explain_frame(journal, number, limits), explain_frame(journal, other, limits))
    both = compare(*frames)
    cards = frame_cards(journal, [number, other])
    return ComparisonPage(both, frames, both.sentence, tuple(_compared(both, frames)), cards, _simulated(*frames))


def _simulated(*frames: Explanation) -> str | None:
    """What to say where these frames are simulated, all or one of them, whatever the rest of the journal is."""
    found = [one.facts.frame_id for one in frames if one.facts.is_simulated]
    if not found:
        return None
    return SIMULATED if len(found) == len(frames) else f"{SIMULATED} in frame {found[0]}"


def _exposure(one: Explanation) -> Part:
    exposure, noise = one.exposure, one.noise
    rows = [("settings", one.settings), ("light they suit", _ev(exposure.ev100))]
    if exposure.light_ev100 is not None:
        off = exposure.light_difference_stops
        against = (
            "" if off is None else f"; by that, {'over' if off > 0 else 'under'}exposed by {stops_words(abs(off))}"
        )
        rows.append(("light as stated", f"{_ev(exposure.light_ev100)}{against}"))
    if exposure.measured_ev is not None:
        rows.append(("measured exposure", exposure_words(exposure.measured_ev) + _meant(one)))
    if noise.expected_sigma is not None:
        levels = f"{levels_words(noise.expected_sigma)} at mid-grey"
        each = " in a pixel of this small picture" if one.budget.is_small else ""
        rows.append(("noise expected", f"{levels}, signal to noise {noise.signal_to_noise:.0f}{each}"))
        rows.append(("noise from", noise.basis))
    else:
        rows.append(("noise expected", f"not known, because {noise.basis}"))
    if noise.measured_sigma is not None:
        rows.append(("noise measured", levels_words(noise.measured_sigma)))
    return Part("Exposure and noise", columns=("what", "value"), rows=tuple(rows))


def _ev(value: float | None) -> str:
    return "unknown" if value is None else f"EV {value:.1f} at ISO 100"


def _depth(one: Explanation) -> Part:
    depth = one.depth
    if depth.near_m is None or depth.far_m is None or depth.subject_distance_m is None:
        return Part("Depth of field", before=(f"Not known, because {depth.missing}.",))
    read = READ_FROM.get(depth.subject_distance_source or "", "as stated")
    focused = f"focused at {format_rounded_distance(depth.subject_distance_m)} ({read})"
    told = f"Sharp from {format_rounded_distance(depth.near_m)} to {depth.far_words}, {focused}"
    if depth.is_subject_inside is not None:
        held = "holds" if depth.is_subject_inside else "does not hold"
        half = (depth.subject_depth_m or 0.0) / 2
        ends = [f"{depth.subject_distance_m + side:.2f} m" for side in (-half, half)]
        told = f"{told}; that {held} the subject, {depth.subject_depth_m:.3g} m deep, from {ends[0]} to {ends[1]}"
    return Part("Depth of field", before=(f"{told}.",), drawing=one.drawing)


def _blur(one: Explanation) -> Part:
    budget = one.budget
    return Part(
        "Blur budget",
        columns=("cause", "px", "µm", "share", "how sure", "from"),
        rows=_blur_rows(budget),
        right=("px", "µm", "share"),
        notes=_blur_notes(budget, how_to_state_the_sensor(one.facts)),
        after=tuple(_measured_blur(one)),
    )


def _blur_notes(budget: BlurBudget, next_step: str) -> tuple[str, ...]:
    """What the star in the table means, and why it has no shares."""
    unknown = [part.name for part in budget.parts if not part.has_size]
    star = "* the largest of those that are known." if unknown else "* the largest part of the blur to expect."
    notes = [star] if budget.dominant else []
    notes += [] if unknown else ["Shares are by variance: of one width, a disc, a streak and a ring do not blur alike."]
    notes += [f"{part.against[0].upper()}{part.against[1:]}." for part in budget.parts if part.against]
    if unknown and len(unknown) < len(budget.parts):
        untold = [part.name for part in budget.parts if not part.has_size and not part.against]
        verb = "is" if len(untold) == 1 else "are"
        why = f": {format_names(untold)} {verb} not known" if untold else ", for of what is ruled out no size is known"
        notes.append(f"No shares are told{why}.")
    return tuple(filter(None, [*notes, next_step]))


def _blur_rows(budget: BlurBudget) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (
            f"{part.name}{' *' if part.name == budget.dominant else ''}",
            "" if part.extent_px is None else f"{part.extent_px:.1f}",
            "" if part.extent_um is None else f"{part.extent_um:.1f}",
            share,
            SURE_WORDS.get(part.bound, part.bound),
            part.basis,
        )
        for part, share in zip(budget.parts, budget.shares, strict=True)
    )


def _meant(one: Explanation) -> str:
    """What stands behind an exposure that is far from the usual and yet hardly suggested as a fault."""
    error, told = one.exposure.measured_ev or 0.0, one.facts.suggestion
    if told is None or abs(error) < FAR_STOPS:
        return ""
    chance = max((told.probabilities.get(fault, 0.0) for fault in EXPOSURE_FAULTS), default=0.0)
    return ", if it was not meant so" if chance < UNLIKELY else ""


def _measured_blur(one: Explanation) -> list[str]:
    told = []
    if (one.budget.measured_blur_px or 0.0) >= 1:
        told.append(f"Measured in the picture: a blur of about {one.budget.measured_blur_px:.0f} px from end to end.")
    measured = one.facts.measured
    if measured is not None and measured.edge_spread_px is not None:
        along, across, directed = measured.edge_along_px, measured.edge_across_px, ""
        if along is not None and across is not None and along > DIRECTED * max(across, SMALLEST_SPREAD_PX):
            direction = format_direction(measured.edge_direction_deg or 0.0)
            ways = f"{format_spread(along)} along {direction} and {format_spread(across)} across it"
            directed = f"; taken direction by direction, it spreads {ways}{COUNTED}"
        if measured.edge_spread_px < SMALLEST_SPREAD_PX:
            spread = f"less than {SMALLEST_SPREAD_PX:g} px, which is the least that can be told"
        else:
            spread = f"up to {format_spread(measured.edge_spread_px)}"
        told.append(f"The sharpest quarter of all edges spreads {spread}, as a standard deviation{directed}.")
    return told


def _suggestion(one: Explanation) -> Part:
    suggestion = one.facts.suggestion
    if suggestion is None:
        why = one.facts.why_unexamined
        told = "has not been examined." if why is None else f"could not be examined. {why}"
        return Part(
            "Suggestion", before=(f"None: the picture {told} Next, where its file is at hand: thirdstop examine",)
        )
    if suggestion.fault is None:
        told = f"None, for the picture does not tell{_perhaps(suggestion)}." if suggestion.is_unsure else NO_FAULT
    else:
        unsure = ", unsure" if suggestion.is_unsure else ""
        chance = f"probability {suggestion.probability:.2f}{unsure}"
        told = f"{suggestion.fault}, {chance}; a suggestion, not a verdict."
    return Part("Suggestion", before=(told,), after=tuple(f"- {sentence}" for sentence in suggestion.evidence))


def _perhaps(suggestion: Suggestion) -> str:
    """The likeliest fault where none is likely enough to be suggested; empty where all are unlikely."""
    fault, chance = max(suggestion.probabilities.items(), key=lambda pair: pair[1], default=("", 0.0))
    return f"; perhaps {fault} (probability {chance:.2f})" if chance >= UNLIKELY else ""


def _fixes(one: Explanation) -> Part:
    fixes = one.fixes
    heading = "What would have fixed it"
    if fixes.fault is None:
        return Part(heading, before=(f"Nothing to fix: {fixes.basis}.",))
    told = [f"{fixes.fault[0].upper()}{fixes.fault[1:]} ({fixes.basis})."]
    if not fixes.remedies:
        why = f": {fixes.need_basis}" if fixes.need_basis else ""
        return Part(heading, before=(*told, f"No setting would have changed that{why}."))
    if fixes.need_stops is not None:
        told.append(f"How far: {stops_words(fixes.need_stops)}, in whole thirds ({fixes.need_basis}).")
    else:
        told.append(_first_step(fixes.need_basis))
    has_but = any(remedy.cautions for remedy in fixes.remedies)
    focus = "A smaller aperture only widens what is sharp; it does not move the focus."
    return Part(
        heading,
        before=tuple(told),
        columns=("settings", "gain", "price", "stops given up", *(("but",) if has_but else ())),
        rows=tuple(_remedy_cells(remedy, has_but) for remedy in fixes.remedies),
        right=("stops given up",),
        after=(focus,) if fixes.fault == "missed focus" else (),
    )


def _first_step(why: str) -> str:
    """What stands for how far, where only the direction is known; the command that would tell it ends the sentence."""
    next_step = "; where its file is at hand: thirdstop examine" if why == NOT_EXAMINED else "."
    return f"The ways here are a first step of one stop at most; {why}{next_step}"


def _remedy_cells(remedy: Remedy, has_but: bool) -> tuple[str, ...]:
    gains, prices, cautions = ("; ".join(texts) for texts in (remedy.gains, remedy.prices, remedy.cautions))
    return (remedy.settings, gains, prices, f"{remedy.stops_given_up:.1f}", *((cautions,) if has_but else ()))


def _limits(one: Explanation) -> Part:
    columns = ("limit", "this frame", "interval", "from")
    return Part("Against your own limits", columns=columns, rows=tuple(_limit_cells(line) for line in one.to_spare))


def _limit_cells(line: ToSpare) -> tuple[str, ...]:
    stops, interval = "unknown", ""
    if line.stops is not None:
        size, side = _side(line.stops)
        stops = f"{size} stops {side}" if abs(line.stops) >= AT_LIMIT_STOPS else "at the limit"
    if line.low is not None and line.high is not None:
        interval = _interval_words(line.low, line.high)
    return (f"{NAMES[line.kind]} ({line.key})", stops, interval, line.basis)


def _side(stops: float) -> tuple[str, str]:
    """So many stops to spare, or beyond the limit."""
    size = f"{abs(stops):.1f}"
    return size, "beyond" if stops < 0 and size != "0.0" else "to spare"


def _interval_words(low: float, high: float) -> str:
    """From the smaller to the larger distance from the limit: 0.4 to 1.4 beyond; 0.8 beyond to 0.2 to spare."""
    (least, lower_side), (most, upper_side) = _side(low), _side(high)
    if lower_side != upper_side:
        return f"{least} {lower_side} to {most} {upper_side}"
    ends = (most, least) if lower_side == "beyond" else (least, most)
    return f"{ends[0]} to {ends[1]} {lower_side}"


def _compared(both: Comparison, frames: tuple[Explanation, Explanation]) -> list[Part]:
    names = (f"frame {both.first_id}", f"frame {both.second_id}")
    settings = tuple((line.name, line.first, line.second, _of_light(line.stops)) for line in both.settings)
    effects = tuple((line.name, line.first_words, line.second_words, line.how) for line in both.differences)
    verdicts = "; ".join(f"{name}: {_judged(side)}" for name, side in zip(names, frames, strict=True))
    brighter = f"stops brighter in {names[1]}"
    columns = ("what", *names, brighter)
    differ = Part("Settings that differ", columns=columns, rows=settings, right=(brighter,))
    made = Part("What that does to the picture", columns=("what", *names, "difference"), rows=effects)
    parts = [
        differ if settings else Part(differ.heading, before=("None.",)),
        made if effects else Part(made.heading, before=(both.no_difference,)),
        Part("Verdicts", before=(f"{verdicts[0].upper()}{verdicts[1:]}.",)),
    ]
    if both.unknown:
        parts.append(Part("Not known", before=tuple(f"- {line}" for line in both.unknown)))
    return parts


def _judged(side: Explanation) -> str:
    faults = " and ".join(side.facts.faults)
    return f"{side.facts.verdict} ({faults})" if faults else side.facts.verdict


def _of_light(stops: float | None) -> str:
    return "" if stops is None else format_signed(stops, 1)
