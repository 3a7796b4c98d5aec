"""Measures of a session's frames -> suggestions that know the burst, the stated intent and the photographer.

The thinking is done in `analytics.pixels`; here stored measures become its arguments, and its results records.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from analytics.pixels.references import SHARPNESS_WORDS, WORDS, Intent, MeasuredFrame
from analytics.pixels.suggest import plain_log_odds, suggestions
from analytics.pixels.tolerance import Agreement, Judged, Tolerance, agreement, fitted_tolerance
from journal.records.measures import Suggestion

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    Row = Mapping[str, Any]


def suggestions_of(session: Row | None, rows: Sequence[Row], tolerance: Tolerance) -> dict[int, Suggestion]:
    """A suggestion for each measured frame of a session; frames of no session are looked at burst by burst.

    Args:
        session: the row of the session, or None.
        rows: of its frames, with `frame_id`, `burst_id` and `measures` as JSON.
        tolerance: of this photographer.
    """
    frames = [_frame(row) for row in rows]
    if session is not None:
        backlit = session["is_backlit"]
        intent = Intent(
            intent=session["intent"],
            priority=session["priority"],
            camera_support=session["camera_support"],
            subject_pace=session["subject_pace"],
            is_backlit=None if backlit is None else bool(backlit),
        )
        return _records(frames, intent, tolerance)
    bursts: dict[object, list[MeasuredFrame]] = {}
    for frame in frames:
        bursts.setdefault(("alone", frame.key) if frame.burst is None else frame.burst, []).append(frame)
    found: dict[int, Suggestion] = {}
    for burst in bursts.values():
        found |= _records(burst, Intent(), tolerance)
    return found


def _frame(row: Row) -> MeasuredFrame:
    measures = json.loads(row["measures"])
    return MeasuredFrame(row["frame_id"], measures, measures["exif"], row["burst_id"])


def _records(frames: Sequence[MeasuredFrame], intent: Intent, tolerance: Tolerance) -> dict[int, Suggestion]:
    found = {}
    for frame, told in zip(frames, suggestions(frames, intent, tolerance), strict=True):
        is_blind = bool(frame.measures["cant_tell"])
        # a picture without texture says nothing of sharpness, whatever its settings make likely
        chances = {
            word: chance for word, chance in told.probabilities.items() if not (is_blind and word in SHARPNESS_WORDS)
        }
        found[int(str(frame.key))] = Suggestion(
            fault=told.fault if told.fault in chances else None,
            probability=max(chances.values()),
            is_unsure=told.is_unsure,
            probabilities=chances,
            evidence=tuple(told.evidence),
            model_version=str(frame.measures["model_version"]),
        )
    return found


def judged_of(row: Row) -> Judged:
    """A judged frame with `measures` as JSON and `faults`, as tolerance is learned from it."""
    return Judged(plain_log_odds(json.loads(row["measures"])), _faults(row))


def tolerance_without(learned: Sequence[tuple[int | None, Judged]], session_id: int | None) -> Tolerance:
    """What the photographer tolerates by the verdicts of all sessions but one."""
    return fitted_tolerance([frame for session, frame in learned if session != session_id])


def agreement_of(judged: Sequence[Row], suggested: Mapping[int, Suggestion]) -> Agreement:
    """How far suggestions and verdicts agree.

    Left out are frames of which nothing could be told, and those rejected for nothing that a picture shows: a
    suggestion could neither agree nor disagree with that.

    Args:
        judged: frames with `verdict` and `faults`.
        suggested: of these frames, made without the verdicts that they are held against.
    """
    told = [
        row
        for row in judged
        if row["frame_id"] in suggested
        and (suggested[row["frame_id"]].fault is not None or not suggested[row["frame_id"]].is_unsure)
        and (row["verdict"] == "keeper" or _faults(row) & frozenset(WORDS))
    ]
    bursts = [row["frame_id"] if row["burst_id"] is None else ("burst", row["burst_id"]) for row in told]
    return agreement([suggested[row["frame_id"]].fault for row in told], [_faults(row) for row in told], bursts)


def _faults(row: Row) -> frozenset[str]:
    return frozenset(row["faults"].split("; ")) if row["faults"] else frozenset()
