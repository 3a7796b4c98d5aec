"""The frames table of the statistics: one row per judged frame of a session, unknown stays unknown.

Rows are read in portions into arrays of numbers; what is the same for a session, a body or a lens is read once and
looked up, for texts repeated a hundred thousand times are what makes reading slow.
"""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from analytics import queries
from analytics.dataset import portions
from analytics.dataset.light import FAULT_STOPS, LIGHT_KINDS, light_ev100, light_kind
from journal.schema.ddl import PACES, PRIORITIES, SUPPORTS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

#: Numbers of a frame in the order of `queries.JUDGED_FRAMES`.
FRAME_COLUMNS = (
    "frame_id", "session", "burst", "position", "exposure_time_s", "f_number", "iso", "focal_length_mm",
    "focal_length_35mm", "body", "lens", "support", "is_stabilised", "flash", "subject_distance_m", "settings_ev100",
    "is_keeper",
)  # fmt: skip
SETTINGS = ("exposure_time_s", "f_number", "iso", "focal_length_mm", "focal_length_35mm")
#: Numbers of a session in the order of `queries.JUDGED_SESSIONS`, after its id.
SESSION_COLUMNS = (
    "day", "priority", "subject_pace", "support", "light_ev100", "is_backlit", "subject_depth_m", "subject_distance_m",
    "sun_elevation_deg", "planned_exposure_time_min_s", "planned_exposure_time_max_s", "planned_f_number_min",
    "planned_f_number_max", "planned_iso_min", "planned_iso_max", "is_simulated",
)  # fmt: skip
#: Bits of `queries.JUDGED_FAULTS` by column. Timing stands for framing too: what no setting would have cured.
FAULT_BITS = {
    "fault_exposure": 1 + 2,
    "fault_focus": 4,
    "fault_shake": 8,
    "fault_motion": 16,
    "fault_noise": 32,
    "fault_timing": 64 + 128,
}
OVEREXPOSED, UNDEREXPOSED = 1, 2
#: Planned settings with the factor that a sixth of a stop is: nominal and exact values of a setting are one plan.
PLANNED = {"exposure_time": ("_s", 2 ** (1 / 6)), "f_number": ("", 2 ** (1 / 12)), "iso": ("", 2 ** (1 / 6))}


def judged_frames(connection: sqlite3.Connection) -> pd.DataFrame:
    """One row per judged frame that belongs to a session, by frame number.

    Returns:
        `frame_id`, `session`, `burst` (of their ids; a frame outside any burst is one of its own, below zero),
        `position`, `day` (from the first session's begin to this one's), settings, `body`, `lens`, `support`,
        `priority` and `subject_pace` as categories; `is_stabilised` (the frame's, else 1 where body or lens is, 0 where
        neither is; a lens without a name is built in or has no electronics, so that the body's fact is all),
        `used_flash` and `is_backlit` as 0, 1 or NaN; `ev100`, the light, and `is_light_stated`, see
        `analytics.dataset.light`; `subject_distance_m` (the frame's, else the session's), `subject_depth_m`;
        `light_kind`, snow, night or stage where the words for the light say so, and `is_light_described`, whether there
        are such words, of any kind; `is_off_plan`, whether a setting is outside the session's plan; `burst_number`,
        `session_bursts` and `burst_length`, which count unjudged frames too; `is_keeper` and the `fault_` columns; the
        session's plan and the sun's height.
    """
    frame = _columns(portions.by_frames(connection, queries.JUDGED_FRAMES), FRAME_COLUMNS)
    session = _looked_up(_at_once(connection, queries.JUDGED_SESSIONS), SESSION_COLUMNS, frame["session"])
    bursts = portions.by_sessions(connection, queries.JUDGED_BURSTS)
    burst = _looked_up(bursts, ("number", "bursts", "length"), frame["burst"])
    body, body_is_stabilised = _gear(connection, queries.JUDGED_BODIES, frame["body"])
    lens, lens_is_stabilised = _gear(connection, queries.JUDGED_LENSES, frame["lens"])
    lens_is_stabilised = np.where(np.isnan(frame["lens"]), 0.0, lens_is_stabilised)  # without a name it has none
    faults = _faults(connection, frame["frame_id"])
    of_session = {name: session[name] for name in SESSION_COLUMNS if name.startswith(("planned", "sun"))}
    alone = np.isnan(frame["burst"])
    burst_id = np.where(alone, -frame["frame_id"], frame["burst"])
    is_keeper = frame["is_keeper"] > 0
    kind_of_light, is_light_described = _light_words(connection, frame["session"])
    return pd.DataFrame(
        {
            "frame_id": frame["frame_id"].astype(np.int64),
            "session": frame["session"].astype(np.int64),
            "burst": burst_id.astype(np.int64),
            "position": np.where(np.isnan(frame["position"]), 0, frame["position"]).astype(np.int64),
            "day": session["day"],
            **{name: frame[name] for name in SETTINGS},
            "body": body,
            "lens": lens,
            "support": _words(_first_known(frame["support"], session["support"]), SUPPORTS),
            "is_stabilised": _first_known(frame["is_stabilised"], _either(body_is_stabilised, lens_is_stabilised)),
            "used_flash": np.where(np.isnan(frame["flash"]), np.nan, np.mod(frame["flash"], 2)),
            "priority": _words(session["priority"], PRIORITIES),
            "subject_pace": _words(session["subject_pace"], PACES),
            "is_backlit": session["is_backlit"],
            "subject_distance_m": _first_known(frame["subject_distance_m"], session["subject_distance_m"]),
            "subject_depth_m": session["subject_depth_m"],
            "ev100": _light(frame, session, burst["number"], faults),
            "light_kind": kind_of_light,
            "is_off_plan": _off_plan(frame, session),
            "is_light_stated": np.isfinite(session["light_ev100"]),
            "is_light_described": is_light_described,
            "burst_number": np.where(alone, 0, burst["number"]).astype(np.int64),
            "session_bursts": np.where(alone, 1, burst["bursts"]).astype(np.int64),
            "burst_length": np.where(alone, 1, burst["length"]).astype(np.int64),
            "is_keeper": is_keeper,
            **{name: (faults & bits > 0) & ~is_keeper for name, bits in FAULT_BITS.items()},
            **of_session,
            "is_simulated": session["is_simulated"] > 0,
        }
    )


def _at_once(connection: sqlite3.Connection, sql: str) -> Iterator[list[portions.Row]]:
    """All rows of a short table."""
    yield [tuple(row) for row in connection.execute(sql)]


def _columns(rows: Iterator[list[portions.Row]], names: tuple[str, ...]) -> dict[str, Floats]:
    """Columns of numbers; what is null is NaN."""
    parts = [np.array(some, dtype=np.float64) for some in rows if some]
    table = np.concatenate(parts) if parts else np.empty((0, len(names)))
    return {name: np.ascontiguousarray(table[:, column]) for column, name in enumerate(names)}


def _looked_up(rows: Iterator[list[portions.Row]], names: tuple[str, ...], wanted: Floats) -> dict[str, Floats]:
    """Columns of a smaller table by its id, once for each wanted id; NaN where the id is unknown."""
    table = _columns(rows, ("id", *names))
    order = np.argsort(table["id"], kind="stable")
    place, found = _places(table["id"][order], wanted)
    return {name: np.where(found, _at(table[name][order], place), np.nan) for name in names}


def _places(ids: Floats, wanted: Floats) -> tuple[Integers, NDArray[np.bool_]]:
    """Where each wanted id stands among the sorted ids, and whether it does."""
    place = np.clip(np.searchsorted(ids, wanted), 0, max(len(ids) - 1, 0))
    return place, (_at(ids, place) == wanted)


def _at(values: Floats, place: Integers) -> Floats:
    return values[place] if len(values) else np.full(len(place), np.nan)


def _gear(connection: sqlite3.Connection, sql: str, wanted: Floats) -> tuple[pd.Categorical[Any], Floats]:
    """Model and stabilisation of the body or lens of each frame."""
    rows: list[tuple[Any, ...]] = [tuple(row) for row in connection.execute(sql)]
    models = sorted({str(model) for _, model, _ in rows})
    ids = np.array([number for number, _, _ in rows], dtype=np.float64)
    codes = np.array([models.index(str(model)) for _, model, _ in rows], dtype=np.float64)
    steady = np.array([flag for _, _, flag in rows], dtype=np.float64)
    place, found = _places(ids, wanted)
    code = np.where(found, _at(codes, place), -1).astype(np.int64)
    return pd.Categorical.from_codes(code, pd.Index(models, dtype="str")), np.where(found, _at(steady, place), np.nan)


def _words(codes: Floats, words: tuple[str, ...]) -> pd.Categorical[Any]:
    return pd.Categorical.from_codes(np.where(np.isnan(codes), -1, codes).astype(np.int64), pd.Index(words))


def _first_known(first: Floats, second: Floats) -> Floats:
    return np.where(np.isnan(first), second, first)


def _either(first: Floats, second: Floats) -> Floats:
    """1 where one of them is 1, 0 where both are 0; else nobody knows."""
    return np.where((first == 1) | (second == 1), 1.0, np.where((first == 0) & (second == 0), 0.0, np.nan))


def _faults(connection: sqlite3.Connection, frame_id: Floats) -> Integers:
    """Bits of the faults of each frame."""
    table = _columns(portions.by_frames(connection, queries.JUDGED_FAULTS), ("id", "bits"))
    place, found = _places(table["id"], frame_id)
    return np.where(found, _at(table["bits"], place), 0).astype(np.int64)


def _light(frame: dict[str, Floats], session: dict[str, Floats], burst_number: Floats, faults: Integers) -> Floats:
    over, under = (faults & OVEREXPOSED > 0).astype(float), (faults & UNDEREXPOSED > 0).astype(float)
    settings = frame["settings_ev100"] + FAULT_STOPS * (over - under)
    settings[np.mod(np.nan_to_num(frame["flash"]), 2) == 1] = np.nan
    number = np.where(np.isnan(burst_number), -frame["frame_id"], burst_number).astype(np.int64)
    return light_ev100((frame["session"].astype(np.int64), number), settings, session["light_ev100"])


def _light_words(connection: sqlite3.Connection, session: Floats) -> tuple[pd.Categorical[Any], NDArray[np.bool_]]:
    """The kind of light of each frame, and whether the light of its session is described at all."""
    kinds = tuple(LIGHT_KINDS)
    rows = [(number, str(light)) for number, light in connection.execute(queries.JUDGED_LIGHT)]
    found_kinds = [light_kind(light) for _, light in rows]
    codes = np.array([np.nan if kind is None else kinds.index(kind) for kind in found_kinds], dtype=np.float64)
    said = np.array([bool(light.strip()) for _, light in rows], dtype=np.float64)
    place, found = _places(np.array([number for number, _ in rows], dtype=np.float64), session)
    return _words(np.where(found, _at(codes, place), np.nan), kinds), found & (_at(said, place) == 1)


def _off_plan(frame: dict[str, Floats], session: dict[str, Floats]) -> Floats:
    """1 where a setting is outside its planned range, 0 where all planned ones are inside; NaN without a plan."""
    off = np.full(len(frame["session"]), np.nan)
    for setting, (unit, sixth) in PLANNED.items():
        value = frame[f"{setting}{unit}"]
        low, high = (session[f"planned_{setting}_{end}{unit}"] for end in ("min", "max"))
        is_off = np.where(np.isfinite(value + low + high), (value < low / sixth) | (value > high * sixth), np.nan)
        off = np.fmax(off, is_off)
    return off
