"""Measures of a session's frames -> one suggestion each: the likeliest fault, how likely, and why.

A suggestion is never a verdict. It starts from what each picture says by itself (`measure`), is moved by what its
burst, its session and the stated intent say (`references`), and by what this photographer was seen to tolerate
(`tolerance`). Pure: measures in, suggestions out.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analytics.pixels.model import UNCERTAINTY
from analytics.pixels.references import (
    SHARPNESS_WORDS,
    Intent,
    MeasuredFrame,
    Shifts,
    best_of_burst,
    shifts_of,
    usual_error,
)
from analytics.pixels.tolerance import Tolerance
from journal.records.measures import is_said

#: Probability from which a fault is suggested. Source: own choice between precision and how many frames get a
#: suggestion.
SUGGEST_FROM = 0.5
#: Below the first a frame looks fine, from the second a suggestion is sure; between them it is unsure.
FINE_BELOW, SURE_FROM = 0.2, 0.6
#: Measured fault -> the word for it; exposure is told apart by its sign.
FAULT_WORDS = {"focus": "missed focus", "shake": "camera shake", "subject_motion": "subject motion", "noise": "noise"}


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What the tool reads from a frame.

    Attributes:
        key: of the frame.
        fault: the likeliest, None where none is likely.
        probability: of the likeliest fault.
        is_unsure: whether a person had better look.
        probabilities: by fault word.
        evidence: short sentences, for the likeliest two faults.
    """

    key: Hashable
    fault: str | None
    probability: float
    is_unsure: bool
    probabilities: Mapping[str, float]
    evidence: list[str]


def suggestions(
    frames: Sequence[MeasuredFrame], intent: Intent | None = None, tolerance: Tolerance | None = None
) -> list[Suggestion]:
    """A suggestion for every frame of a session.

    Args:
        frames: of one session, measured.
        intent: what was stated of it.
        tolerance: of this photographer; none is supposed where it is not given.

    Returns:
        Suggestions in the order of the frames.

    Source: log-odds add up; see `references` and `tolerance` for each part.
    """
    stated, tolerated = intent or Intent(), tolerance or Tolerance()
    bursts: dict[Hashable, list[MeasuredFrame]] = {}
    for frame in frames:
        if frame.burst is not None:
            bursts.setdefault(frame.burst, []).append(frame)
    best = {burst: best_of_burst(members) for burst, members in bursts.items()}
    usual = usual_error(frames)
    return [
        _suggestion(
            frame, shifts_of(frame, None if frame.burst is None else best[frame.burst], usual, stated), tolerated
        )
        for frame in frames
    ]


def plain_log_odds(measures: Mapping[str, Any]) -> dict[str, float]:
    """Log-odds of each fault word by the picture and its settings alone.

    Args:
        measures: what `measure` gave.

    Returns:
        Log-odds by fault word; exposure counts for the side that its error lies on.

    Source: log-odds = ln(p / (1 − p)).
    """
    is_bright = bool(measures["is_too_bright"])
    exposure = float(measures["exposure"])
    probabilities = {
        "overexposed": exposure if is_bright else UNCERTAINTY,
        "underexposed": UNCERTAINTY if is_bright else exposure,
        **{word: float(measures[fault]) for fault, word in FAULT_WORDS.items()},
    }
    return {word: math.log(probability / (1 - probability)) for word, probability in probabilities.items()}


def _suggestion(frame: MeasuredFrame, shifts: Shifts, tolerance: Tolerance) -> Suggestion:
    log_odds = plain_log_odds(frame.measures)
    probabilities = {
        word: round(_probability(odds + shifts.by_word[word] + tolerance.shift(word)), 4)
        for word, odds in log_odds.items()
    }
    ranked = sorted(probabilities, key=lambda word: -probabilities[word])
    likeliest = ranked[0]
    probability = probabilities[likeliest]
    between = FINE_BELOW <= probability < SURE_FROM
    blind = bool(frame.measures["cant_tell"]) and (probability < SUGGEST_FROM or likeliest in SHARPNESS_WORDS)
    return Suggestion(
        key=frame.key,
        fault=likeliest if probability >= SUGGEST_FROM else None,
        probability=probability,
        is_unsure=between or blind,
        probabilities=probabilities,
        evidence=_evidence(frame, ranked[:2], probabilities, shifts),
    )


def _evidence(
    frame: MeasuredFrame, likeliest: Sequence[str], probabilities: Mapping[str, float], shifts: Shifts
) -> list[str]:
    """What the picture says on the likeliest faults, and what the session added."""
    by_fault = frame.measures["evidence_by_fault"]
    told: list[str] = []
    for word in likeliest:
        if probabilities[word] < FINE_BELOW:
            continue
        fault = next((fault for fault, name in FAULT_WORDS.items() if name == word), "exposure")
        told += [sentence for sentence in by_fault.get(fault, []) if not is_said(sentence, told)]
        told += [reason for about, reason in shifts.reasons if about == word and reason not in told]
    general = [sentence for sentence in frame.measures["evidence"] if sentence.startswith("too few edges")]
    reasons = list(dict.fromkeys(reason for _, reason in shifts.reasons))[:2]
    return general + (told or reasons or list(frame.measures["evidence"][:1]))


def _probability(log_odds: float) -> float:
    probability = 1 / (1 + math.exp(-min(max(log_odds, -30.0), 30.0)))
    return min(max(probability, UNCERTAINTY), 1 - UNCERTAINTY)
