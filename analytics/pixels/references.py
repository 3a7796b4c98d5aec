"""What the frames of a session and the stated intent say about one frame, as shifts of log-odds with a sentence each.

A picture alone cannot know that the dark was meant or that the neighbour came out sharp. Every shift is small, named
and told: nothing here overrules a clear measure, and nothing is learned in secret.
"""

from __future__ import annotations

import math
import re
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analytics.pixels.settings import Settings, settings_of
from journal.notation import format_spread

#: Faults by the words that people use; exposure comes as two.
WORDS = ("overexposed", "underexposed", "missed focus", "camera shake", "subject motion", "noise")
SHARPNESS_WORDS = ("missed focus", "camera shake", "subject motion")

#: Brightness apart from the best-exposed frame of a burst that is still alike, and log-odds per stop beyond it.
ALIKE_STOPS, SHIFT_PER_STOP, MOST_FROM_BURST = 0.7, 1.4, 2.5
#: Spread over the sharpest of a burst that is still alike [octaves], log-odds per octave beyond, and for being as
#: sharp as a sharp one.
ALIKE_OCTAVES, SHIFT_PER_OCTAVE, AS_SHARP = 0.5, 1.2, -1.0
#: Spread that is sharp, and spread that is a streak [px]; raised so that ratios of sharp edges stay small.
SHARP_PX, STREAK_PX, RAISE_PX = 1.2, 2.5, 0.7
#: Spread along a streak over that across it; less is a soft background whose edges mostly run one way.
STREAKED = 2.0
#: Frames and bursts from which a session's usual look counts, the look that is unusual [stops], and what it shifts.
USUAL_FRAMES, USUAL_BURSTS, UNUSUAL_STOPS, USUAL_LOOK = 8, 3, 0.8, -1.2
#: What a stated intent shifts, and what only looks like one.
STATED, LOOKS_LIKE = -2.2, -0.8
#: Exposure times from which trails can be meant [s].
TRAILS_FROM_S = 0.2
#: What support takes from camera shake [log-odds]. Source: own choice; a tripod seldom shakes, the others help.
SUPPORT = {"tripod": -2.0, "braced": -0.7, "monopod": -0.7, "hand-held": 0.0}
#: What a still subject takes from subject motion [log-odds]. Source: own choice; who sits still breathes and blinks.
STILL = -1.5
#: Words that turn the next one round: "not too dark", "no streaks", "too dark last time".
TURNED_ROUND = re.compile(
    r"\b(not|never|no|without|less|avoid(ing)?|nothing|too)\b(\s+(too|so|very|that|any|a|the))*\s+\S+", re.I
)
#: What follows "dark" or "bright" where pictures are to be so; what is so itself, "dark skin", asks for nothing.
OF_PICTURES = (
    r"(?=\W*$|[,.;:!?)]|\s+(and|or|but|moods?|looks?|pictures?|images?|frames?|shots?|tones|photos?|photographs?)\b)"
)
MEANT_DARK = re.compile(rf"\b(low[ -]?key|silhouettes?|night|moody|stars?|moon|dark{OF_PICTURES})\b", re.I)
MEANT_BRIGHT = re.compile(rf"\b(high[ -]?key|snow|white on white|bright{OF_PICTURES})\b", re.I)
MEANT_PANNING = re.compile(r"\b(pan|panning|panned|follow(ed|ing)? (the|a)|along with)\b", re.I)
MEANT_TRAILS = re.compile(r"\b(trails?|streaks?|long exposures?|silky|star trails?|smooth water|motion blur)\b", re.I)


@dataclass(frozen=True, slots=True)
class MeasuredFrame:
    """One frame of a session.

    Attributes:
        key: what the caller knows it by.
        measures: what `measure` gave.
        exif: settings by Exif name.
        burst: frames of one burst share it; None stands alone.
    """

    key: Hashable
    measures: Mapping[str, Any]
    exif: Mapping[str, Any]
    burst: Hashable | None = None


@dataclass(frozen=True, slots=True)
class Intent:
    """What was stated of the session; None where nobody wrote it down.

    Attributes:
        intent: in the photographer's words.
        priority: `depth` or `motion`.
        camera_support: `hand-held`, `monopod`, `tripod`, `braced`.
        subject_pace: `still`, `slow`, `walking`, `running`, `fast`.
        is_backlit: whether the subject stood before the light.
    """

    intent: str = ""
    priority: str | None = None
    camera_support: str | None = None
    subject_pace: str | None = None
    is_backlit: bool | None = None


@dataclass
class Shifts:
    """Log-odds to add by fault word, and why."""

    by_word: dict[str, float] = field(default_factory=lambda: dict.fromkeys(WORDS, 0.0))
    reasons: list[tuple[str, str]] = field(default_factory=list)

    def add(self, word: str, shift: float, reason: str = "") -> None:
        """Adds a shift; a reason is told with the fault that it is about."""
        self.by_word[word] += shift
        if reason and (word, reason) not in self.reasons:
            self.reasons.append((word, reason))


@dataclass(frozen=True, slots=True)
class BestOfBurst:
    """What the best frames of a burst show to be possible; the best are found once, not for every frame.

    Attributes:
        exposed: the frame whose exposure is least likely to be wrong.
        sharpest_px: least spread of its frames with texture, NaN where none is known [px].
        n_told: frames with texture.
    """

    exposed: MeasuredFrame
    sharpest_px: float
    n_told: int


def best_of_burst(burst: Sequence[MeasuredFrame]) -> BestOfBurst | None:
    """The best of a burst; None where a frame stands alone."""
    if len(burst) < 2:
        return None
    spreads = [_spread(each) for each in burst if not each.measures["cant_tell"]]
    return BestOfBurst(
        exposed=min(burst, key=lambda each: float(each.measures["exposure"])),
        sharpest_px=min((spread for spread in spreads if math.isfinite(spread)), default=math.nan),
        n_told=len(spreads),
    )


def usual_error(session: Sequence[MeasuredFrame]) -> float:
    """Exposure error that the frames of a session share, NaN where they are too few to have a usual look [stops]."""
    bursts = {each.key if each.burst is None else ("burst", each.burst) for each in session}
    if len(session) < USUAL_FRAMES or len(bursts) < USUAL_BURSTS:
        return math.nan
    return float(np.median([float(each.measures["ev"]) for each in session]))


def shifts_of(frame: MeasuredFrame, best: BestOfBurst | None, usual: float, intent: Intent) -> Shifts:
    """All that speaks for or against faults of one frame beside its own pixels.

    Args:
        frame: of the session.
        best: of its burst.
        usual: exposure error that most frames of the session share, NaN where they have none [stops].
        intent: of the session.

    Returns:
        Shifts [log-odds].

    Source: own choice; each constant says what it is.
    """
    shifts = Shifts()
    settings = settings_of(frame.exif)
    if best is not None:
        _brightness_in_burst(frame, best, shifts)
        _sharpness_in_burst(frame, best, shifts)
    _usual_look(frame, usual, shifts)
    _stated_look(intent, shifts)
    _streaks_meant(frame, settings, intent, shifts)
    _shallow_depth(frame, intent, shifts)
    return shifts


def _brightness_in_burst(frame: MeasuredFrame, best: BestOfBurst, shifts: Shifts) -> None:
    apart = _tone(frame) - _tone(best.exposed)
    if best.exposed.key == frame.key or not abs(apart) > ALIKE_STOPS:
        return
    shift = min(SHIFT_PER_STOP * (abs(apart) - ALIKE_STOPS), MOST_FROM_BURST)
    word, other = ("overexposed", "underexposed") if apart > 0 else ("underexposed", "overexposed")
    way = "brighter" if apart > 0 else "darker"
    shifts.add(word, shift, f"{abs(apart):.1f} stops {way} than the best-exposed frame of its burst")
    shifts.add(other, -shift)


def _sharpness_in_burst(frame: MeasuredFrame, best: BestOfBurst, shifts: Shifts) -> None:
    mine = math.nan if frame.measures["cant_tell"] else _spread(frame)
    if not math.isfinite(mine + best.sharpest_px) or best.n_told < 2:
        return
    octaves = math.log2((mine + RAISE_PX) / (best.sharpest_px + RAISE_PX))
    if octaves > ALIKE_OCTAVES:
        shift = min(SHIFT_PER_OCTAVE * (octaves - ALIKE_OCTAVES), MOST_FROM_BURST)
        sharpest, this_one = format_spread(best.sharpest_px), format_spread(mine)
        reason = f"the sharpest frame of its burst spreads edges by {sharpest}, this one by {this_one}"
        for word in SHARPNESS_WORDS:
            shifts.add(word, shift, reason if sharpest != this_one else "")
    elif best.sharpest_px < SHARP_PX:
        for word in SHARPNESS_WORDS:
            shifts.add(word, AS_SHARP * (1 - octaves / ALIKE_OCTAVES))


def _usual_look(frame: MeasuredFrame, usual: float, shifts: Shifts) -> None:
    """A look that most frames of a session share was most likely meant, or is the scene's."""
    own = float(frame.measures["ev"])
    if not abs(usual) >= UNUSUAL_STOPS or own * usual <= 0 or abs(own - usual) > UNUSUAL_STOPS:
        return
    word, look = ("overexposed", "bright") if usual > 0 else ("underexposed", "dark")
    shifts.add(word, USUAL_LOOK, f"most frames of the session are as {look}")


def _asks_for(intent: Intent, words: re.Pattern[str]) -> bool:
    """Whether the intent has one of the words, and not to say that it is not wanted."""
    return bool(words.search(TURNED_ROUND.sub("", intent.intent)))


def _stated_look(intent: Intent, shifts: Shifts) -> None:
    if _asks_for(intent, MEANT_DARK):
        shifts.add("underexposed", STATED, "the intent asks for dark pictures")
    if _asks_for(intent, MEANT_BRIGHT):
        shifts.add("overexposed", STATED, "the intent asks for bright pictures")
    if intent.is_backlit:
        shifts.add("underexposed", LOOKS_LIKE, "the subject stood before the light")
        shifts.add("overexposed", LOOKS_LIKE, "the subject stood before the light")


def _streaks_meant(frame: MeasuredFrame, settings: Settings, intent: Intent, shifts: Shifts) -> None:
    support = SUPPORT.get(intent.camera_support or "", 0.0)
    if support:
        shifts.add("camera shake", support, f"the camera was on a support: {intent.camera_support}")
    if intent.subject_pace == "still":
        shifts.add("subject motion", STILL, "the subject was still")
    is_panning = _asks_for(intent, MEANT_PANNING)
    if _has_sharp_subject_before_streaks(frame):
        stated = is_panning or intent.priority == "motion"
        reason = "a sharp subject before a streaked background, as when the camera follows it"
        for word, share in (("camera shake", 1.0), ("subject motion", 0.8), ("missed focus", 0.6)):
            shifts.add(word, share * (STATED if stated else LOOKS_LIKE), reason)
    long_enough = settings.exposure_time_s >= TRAILS_FROM_S
    if long_enough and _asks_for(intent, MEANT_TRAILS):
        shifts.add("subject motion", STATED, "the intent asks for trails")
    elif long_enough and intent.priority == "motion":
        shifts.add("subject motion", LOOKS_LIKE, "motion was the priority")


def _has_sharp_subject_before_streaks(frame: MeasuredFrame) -> bool:
    place = frame.measures["subject"]["sharp_place"]
    if place is None:
        return False
    inside, outside = place["blur"], place["outside"]
    known = [inside["spread_px"], outside["along_px"], outside["across_px"]]
    if any(each is None for each in known):
        return False
    return bool(known[0] < SHARP_PX and known[1] > STREAK_PX and known[1] > STREAKED * max(known[2], RAISE_PX))


def _shallow_depth(frame: MeasuredFrame, intent: Intent, shifts: Shifts) -> None:
    """A sharp subject before an evenly soft background is depth of field, unless depth was the priority."""
    place = frame.measures["subject"]["sharp_place"]
    if place is None or intent.priority == "depth":
        return
    inside, outside = place["blur"]["spread_px"], place["outside"]["spread_px"]
    if inside is not None and outside is not None and inside < SHARP_PX and outside > 2 * SHARP_PX:
        shifts.add("missed focus", LOOKS_LIKE, "but a place is sharp before a soft background, as in shallow depth")


def _tone(frame: MeasuredFrame) -> float:
    return float(frame.measures["tones"]["mean_stops"])


def _spread(frame: MeasuredFrame) -> float:
    """The wider of two: of the whole frame along its blur, and at the subject [px]."""
    values = (frame.measures["blur"]["along_px"], frame.measures["subject"]["blur"]["along_px"])
    known = [max(float(value), 0.0) for value in values if value is not None]
    return max(known) if known else math.nan
