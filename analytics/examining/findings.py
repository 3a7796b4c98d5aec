"""What measuring a picture returned, as a record: the measures, and what this one picture suggests.

Three states: a fault is suggested, nothing stands out, or it cannot be told. The suggestion stands until the whole
session is looked at, see `suggesting`; it is here so that a run that is killed leaves no picture without one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from journal.records.measures import ALONE, Examined, Suggestion

if TYPE_CHECKING:
    from collections.abc import Mapping

    from journal.records.measures import ToExamine

#: A fault is suggested from this probability on; below `FINE` for every fault, nothing stands out.
SUGGESTED, FINE = 0.5, 0.2
#: The journal's word for each probability; exposure has two words, by the sign of its error.
FAULT_OF = {
    "focus": "missed focus",
    "shake": "camera shake",
    "subject_motion": "subject motion",
    "noise": "noise",
}
#: Faults that a picture without texture says nothing about.
SHARPNESS = ("missed focus", "camera shake", "subject motion")


def examined(frame: ToExamine, result: Mapping[str, Any], exif: Mapping[str, Any]) -> Examined:
    """The record of one measured frame: all that was measured, the settings that went in, what one picture suggests."""
    measures = {**result, "exif": dict(exif)}
    version = int(result["measure_version"])
    suggestion = suggestion_of(result)
    return Examined(frame.frame_id, version, frame.source, frame.content_key, measures, suggestion)


def suggestion_of(result: Mapping[str, Any]) -> Suggestion:
    """The suggestion in what a measure returned; what cannot be told has no probability either."""
    chances = fault_probabilities(result)
    cannot_tell = bool(result.get("cant_tell"))
    told = {fault: chance for fault, chance in chances.items() if not (cannot_tell and fault in SHARPNESS)}
    first = max(told, key=lambda fault: told[fault], default=None)
    highest = told[first] if first is not None else None
    is_suggested = highest is not None and highest >= SUGGESTED
    return Suggestion(
        fault=first if is_suggested else None,
        probability=highest,
        is_unsure=not is_suggested and (cannot_tell or highest is None or highest >= FINE),
        probabilities=told,
        evidence=tuple(str(sentence) for sentence in result.get("evidence", ())),
        model_version=f"{result['model_version']}{ALONE}",
    )


def fault_probabilities(result: Mapping[str, Any]) -> dict[str, float]:
    """Probabilities by the journal's words for the faults; those that are missing are left out."""
    chances = {word: float(result[name]) for name, word in FAULT_OF.items() if result.get(name) is not None}
    exposure, error = result.get("exposure"), result.get("ev")
    if exposure is not None and error is not None:
        chances["overexposed" if error > 0 else "underexposed"] = float(exposure)
    return dict(sorted(chances.items(), key=lambda pair: -pair[1]))
