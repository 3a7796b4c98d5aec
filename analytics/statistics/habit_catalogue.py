"""The habits that are looked for, each one small declaration.

A setting habit has a remedy in stops: what it costs follows from the fault curves with the remedy's settings, its
price on other faults taken off. A label habit has none: what it costs is how many fewer frames are kept where it
occurs, at equal conditions. A condition is written for cells; where something it needs is unknown, it is not met.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.statistics.cells import sums
from analytics.statistics.fault_curves import thinness_stops
from analytics.statistics.limits import fit_limits

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd
    from numpy.typing import NDArray

    from analytics.statistics.cells import Cells
    from analytics.statistics.engine import Floats

    Booleans = NDArray[np.bool_]

#: ISO this far below the highest is to spare [stops], and the settings that a remedy moves by.
TO_SPARE = 2.0
#: A setting on thirds of a stop that is nearer to a limit than this is at it [stops].
AT_LIMIT = 1 / 6
#: Apertures f/2.8 and wider, f/9.5 and smaller, as 2 log2 N with room for rounding [stops].
WIDE_OPEN, STOPPED_DOWN = 2 * np.log2(2.8) + 0.1, 2 * np.log2(9.5) - 0.1
LONG_BURST, FIRST_BURSTS, LATE = 13, 2, 0.75
#: Backlight asks for about this much more exposure than the light alone [stops].
BACKLIGHT_NEEDS = 0.5
#: Farther from what the light asks for than this is a choice, not a rounding [stops].
OFF_STOPS = 0.7
#: Words for the light by which a session's frames can show a habit, by the kind of light.
LIGHT_WORDS = {
    "snow": "snow or hoar frost",
    "night": "night, moonlight, stars or street lamps",
    "stage": "a stage, spotlights or footlights",
}
#: What an exposure is compared with, in words.
LIGHT = "the light is the one stated for the session, followed from burst to burst"


@dataclass(frozen=True, slots=True)
class Scene:
    """Cells with the photographer's own limits, each (m,) [stops on the scale of the setting], NaN where unknown."""

    cells: Cells
    hand_held: Floats
    freeze: Floats
    highest_iso: Floats

    @property
    def by_hand(self) -> Booleans:
        """Hand-held, without flash."""
        return self.cells.support.where("hand-held") & self.no_flash

    @property
    def no_flash(self) -> Booleans:
        """Without flash, or unknown."""
        return np.asarray(self.cells.used_flash != 1)

    @property
    def iso_to_spare(self) -> Booleans:
        """ISO at least two stops below the highest that this person keeps."""
        return np.asarray(self.cells.iso_stops <= self.highest_iso - TO_SPARE)

    @property
    def slowest_needed(self) -> Floats:
        """The slowest time that both hands and subject allow [log2 s]."""
        held = self.hand_held - self.cells.focal_stops
        return np.where(self.by_hand, np.minimum(held, self.freeze), self.freeze)


@dataclass(frozen=True, slots=True)
class Habit:
    """One habit.

    Attributes:
        key: its name in tables; name: in words; definition: what frames show it.
        condition: which cells show it.
        advice: one sentence of what to do instead.
        fault: the fault that the remedy is for, or none.
        time, aperture, iso: the remedy [stops]; all 0 for a label habit.
        light: the kind of light, by the words for it, without which no frame can show it; empty for any.
        needs: columns of the frames table without which no frame can show it, beside those that a camera writes; those
            that begin with is_light_ say whether it was stated.
        possible: which frames of that table can show it by what their camera wrote; all where it is None.
        impossible: what is to be said where none of them can.
    """

    key: str
    name: str
    definition: str
    condition: Callable[[Scene], Booleans]
    advice: str
    fault: str | None = None
    time: float = 0.0
    aperture: float = 0.0
    iso: float = 0.0
    light: str = ""
    needs: tuple[str, ...] = ()
    possible: Callable[[pd.DataFrame], pd.Series] | None = None
    impossible: str = ""

    @property
    def kind(self) -> str:
        """'setting' where a remedy in stops is known, else 'label'."""
        return "setting" if self.time or self.aperture or self.iso else "label"


def scene_of(cells: Cells) -> Scene:
    """The cells with this photographer's own limits."""
    hand = fit_limits(cells, "hand-held").limits()
    freeze, iso = fit_limits(cells, "freeze").limits(), fit_limits(cells, "iso").limits()
    paces = np.array([freeze.get(name, np.nan) for name in cells.subject_pace.names] + [np.nan])
    bodies = np.array([iso.get(name, np.nan) for name in cells.body.names] + [np.nan])
    held = np.where(cells.is_stabilised == 1, hand.get(True, np.nan), hand.get(False, np.nan))
    held = np.where(np.isfinite(cells.is_stabilised), held, np.nan)
    return Scene(cells, held, paces[cells.subject_pace.codes], bodies[cells.body.codes])


def _changes_settings(scene: Scene) -> Booleans:
    """Cells of bursts that hold several settings."""
    cells = scene.cells
    if not len(cells.burst):
        return np.zeros(0, dtype=bool)
    n_bursts = int(cells.burst.max()) + 1
    spread = np.zeros(len(cells.burst), dtype=bool)
    for values in (cells.time_stops, cells.aperture_stops, cells.iso_stops):
        known = np.isfinite(values)
        size = sums(cells.burst[known], np.ones(int(known.sum())), n_bursts)
        mean = sums(cells.burst[known], values[known], n_bursts) / np.maximum(size, 1)
        spread |= known & (np.abs(values - mean[cells.burst]) > 1e-3)
    return sums(cells.burst, spread.astype(np.float64), n_bursts)[cells.burst] > 0


def _off_in(light: str, side: str) -> str:
    """What frames count as exposed to one side of a kind of light."""
    return (
        f"frames without flash, the light described as {LIGHT_WORDS[light]}, more than {OFF_STOPS:g} stop {side} than "
        f"the light asks for; {LIGHT}"
    )


CATALOGUE: tuple[Habit, ...] = (
    Habit(
        "slow_by_hand",
        "too slow for your hands",
        "hand-held without flash, slower than your own limit, with two stops of ISO to spare",
        lambda s: s.by_hand & (s.cells.stops_below_rule > s.hand_held) & s.iso_to_spare,
        "Take a time two stops faster and pay with ISO.",
        "shake",
        time=-2,
        iso=2,
        needs=("support", "is_stabilised"),
    ),
    Habit(
        "slow_for_subject",
        "too slow for the subject",
        "walking, running or fast subjects without flash, slower than your own limit for that pace, with two stops of "
        "ISO to spare",
        lambda s: (
            s.cells.subject_pace.where("walking", "running", "fast")
            & s.no_flash
            & (s.cells.time_stops > s.freeze)
            & s.iso_to_spare
        ),
        "Take a time two stops faster and pay with ISO.",
        "motion",
        time=-2,
        iso=2,
        needs=("subject_pace",),
    ),
    Habit(
        "thin_focus",
        "thinner focus than the subject",
        "f/2.8 or wider where the depth of field is thinner than the subject, with two stops of ISO to spare",
        lambda s: (s.cells.aperture_stops <= WIDE_OPEN) & (thinness_stops(s.cells) > 0) & s.iso_to_spare,
        "Close the aperture by two stops and pay with ISO.",
        "focus",
        aperture=2,
        iso=2,
        needs=("subject_depth_m", "subject_distance_m"),
        possible=lambda frames: 2 * np.log2(frames["f_number"]) <= WIDE_OPEN,
        impossible="no judged frame is at f/2.8 or wider",
    ),
    Habit(
        "needlessly_fast",
        "faster than needed, and noisy for it",
        "more than two stops faster than hands and subject need, at an ISO above your limit for that body",
        lambda s: (s.cells.time_stops < s.slowest_needed - 2) & (s.cells.iso_stops > s.highest_iso + AT_LIMIT),
        "Use a time two stops slower and an ISO two stops lower.",
        "noise",
        time=2,
        iso=-2,
        needs=("subject_pace", "is_stabilised"),
    ),
    Habit(
        "stopped_down",
        "stopped down into noise",
        "narrower than f/9 at ISO 400 or more",
        lambda s: (s.cells.aperture_stops >= STOPPED_DOWN) & (s.cells.iso_stops >= 2 - 1e-6),
        "Open the aperture by two stops and lower the ISO by two; very small apertures also soften by diffraction.",
        "noise",
        aperture=-2,
        iso=-2,
    ),
    Habit(
        "under_in_backlight",
        "too dark against the light",
        "backlit frames at ISO 25600 or less that were given less than half a stop more than the light asks for, those "
        f"given less than it asks for included; {LIGHT}",
        lambda s: (
            (s.cells.is_backlit == 1) & (s.cells.exposure_error_stops < BACKLIGHT_NEEDS) & (s.cells.iso_stops <= 8)
        ),
        "Give backlit subjects a stop more. Mind your eyes: never look at the sun through an optical finder.",
        "exposure",
        iso=1,
        needs=("is_backlit", "is_light_stated"),
    ),
    Habit(
        "under_in_snow",
        "grey snow",
        _off_in("snow", "darker"),
        lambda s: s.cells.light_kind.where("snow") & s.no_flash & (s.cells.exposure_error_stops < -OFF_STOPS),
        "Give snow a stop more.",
        "exposure",
        iso=1,
        light="snow",
        needs=("is_light_described", "is_light_stated"),
    ),
    Habit(
        "under_at_night",
        "too dark at night",
        _off_in("night", "darker"),
        lambda s: s.cells.light_kind.where("night") & s.no_flash & (s.cells.exposure_error_stops < -OFF_STOPS),
        "Give night frames a stop more. Stand only where you would stand without a camera; local rules come first.",
        "exposure",
        iso=1,
        light="night",
        needs=("is_light_described", "is_light_stated"),
    ),
    Habit(
        "over_on_stage",
        "burnt-out stage light",
        _off_in("stage", "brighter"),
        lambda s: s.cells.light_kind.where("stage") & s.no_flash & (s.cells.exposure_error_stops > OFF_STOPS),
        "Give lit faces on a dark stage a stop less.",
        "exposure",
        iso=-1,
        light="stage",
        needs=("is_light_described", "is_light_stated"),
    ),
    Habit(
        "long_burst",
        "long bursts",
        "bursts of thirteen frames or more",
        lambda s: s.cells.burst_length >= LONG_BURST,
        "Stop earlier, look, and begin again with better settings.",
    ),
    Habit(
        "first_bursts",
        "the first frames of a session",
        "the first two bursts of a session",
        lambda s: s.cells.burst_number < FIRST_BURSTS,
        "Take a first burst that does not matter and check it before the first that does.",
    ),
    Habit(
        "late_session",
        "the last quarter of a session",
        "bursts in the last quarter of a session; a session of three bursts or fewer has no last quarter",
        lambda s: s.cells.burst_number >= LATE * s.cells.session_bursts,
        "Rest before the last quarter, and look at a frame at full size after the rest.",
        possible=lambda frames: frames["session_bursts"] > 3,
        impossible="no judged session has four bursts or more",
    ),
    Habit(
        "weekend",
        "two days of every seven",
        "every session on two fixed days of seven; nothing is expected here, so it keeps watch over the method",
        lambda s: np.floor(s.cells.day) % 7 < 2,
        "Nothing follows from this.",
    ),
    Habit(
        "fiddling",
        "changing settings inside a burst",
        "bursts in which time, aperture or ISO changes",
        _changes_settings,
        "Settle the settings before the burst, then leave them alone.",
    ),
    Habit(
        "off_plan",
        "not what you had planned",
        "frames with a time, aperture or ISO outside the ranges planned for the session",
        lambda s: s.cells.is_off_plan == 1,
        "Look at the plan at the start; whenever you leave it, write down why.",
        needs=("is_off_plan",),
    ),
)
BY_KEY = {habit.key: habit for habit in CATALOGUE}
