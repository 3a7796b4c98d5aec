"""Settings moved along the engraved scales, in thirds of a stop, as far as lens and body go.

Thirds are counted as light: a positive move of any setting makes the picture brighter (a longer time, a wider aperture,
a higher ISO), so moves that add up to zero keep the exposure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from journal.notation import format_exposure_time, format_f_number, format_iso
from journal.optics.nominal import nominal_f_number_name, nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    from analytics.explaining.facts import FrameFacts

#: Shortest time that is proposed [s]; mechanical shutters of today end there.
SHORTEST_S = 1 / 8000
#: Longest time that is proposed [s]; longer ones are timed by hand.
LONGEST_S = 32.0
#: Smallest aperture that is proposed; lenses for these formats close at least so far, and further on diffraction costs
#: more than depth gains.
SMALLEST_F_NUMBER = 16.0
#: Lowest ISO that is proposed where nobody stated the body's.
LOWEST_ISO = 100.0


@dataclass(frozen=True, slots=True)
class Move:
    """Thirds of a stop by which each setting brightens; `on_tripod` changes the support instead."""

    time: int = 0
    aperture: int = 0
    iso: int = 0
    on_tripod: bool = False

    @property
    def light(self) -> int:
        """Thirds by which the picture becomes brighter; 0 keeps the exposure."""
        return self.time + self.aperture + self.iso


#: Nothing moved.
UNMOVED = Move()


@dataclass(frozen=True, slots=True)
class Room:
    """How far each setting can go either way [thirds of a stop], as light: `open` brightens, `close` darkens."""

    longer: int
    shorter: int
    open: int
    close: int
    up: int
    down: int


def room(facts: FrameFacts) -> Room:
    """What lens and body leave. An aperture wider than any that is stated or was used so far counts as out of reach."""
    time, n, iso, gear = facts.exposure_time_s or 1.0, facts.f_number or 1.0, facts.iso or 100.0, facts.gear
    widest = min(gear.widest_f_number or n, n)
    lowest = gear.lowest_iso if gear.lowest_iso_is_stated else min(LOWEST_ISO, gear.lowest_iso or LOWEST_ISO)
    highest = gear.highest_iso if gear.highest_iso_is_stated else None
    return Room(
        longer=_thirds(LONGEST_S / time),
        shorter=_thirds(time / SHORTEST_S),
        open=_thirds((n / widest) ** 2),
        close=_thirds((SMALLEST_F_NUMBER / n) ** 2),
        up=_thirds(highest / iso) if highest else 3 * 20,
        down=_thirds(iso / (lowest or LOWEST_ISO)),
    )


def _thirds(ratio: float) -> int:
    """Whole thirds in a ratio of light; engraved values lie up to a sixth beside their exact ones."""
    return max(0, round(3 * math.log2(ratio)))


def moved(facts: FrameFacts, move: Move) -> FrameFacts:
    """The frame as if it had been taken with the moved settings in the same light."""
    time, n, iso = facts.exposure_time_s, facts.f_number, facts.iso
    darker = move.light / 3
    measured = facts.measured
    if measured is not None:  # of its edges nothing is known: they were measured with the settings that it had
        ev = None if measured.ev is None else measured.ev + darker
        measured = replace(measured, ev=ev, edge_spread_px=None, edge_along_px=None, edge_across_px=None)
    return replace(
        facts,
        exposure_time_s=None if time is None else time * 2.0 ** (move.time / 3),
        f_number=None if n is None else n * 2.0 ** (-move.aperture / 6),
        iso=None if iso is None else iso * 2.0 ** (move.iso / 3),
        ev100=None if facts.ev100 is None else facts.ev100 - darker,
        stops_below_rule=None if facts.stops_below_rule is None else facts.stops_below_rule + move.time / 3,
        camera_support="tripod" if move.on_tripod else facts.camera_support,
        measured=measured,
    )


def settings_name(facts: FrameFacts, move: Move = UNMOVED) -> str:
    """The settings of a frame as they are stored, and moved ones by their engraved names: 1/125, f/5.6, ISO 400."""
    there = moved(facts, move)
    known = (
        (_time_name if move.time else format_exposure_time, there.exposure_time_s),
        (_aperture_name if move.aperture else format_f_number, there.f_number),
        (_iso_name if move.iso else iso_words, there.iso),
    )
    return ", ".join(name(value) for name, value in known if value) or "settings unknown"


def iso_words(iso: float) -> str:
    """An ISO speed as it is stored."""
    return format_iso(round(iso))


def _time_name(exposure_time_s: float) -> str:
    """The engraved time nearest to this one, in thirds of a stop."""
    return nominal_time_name(2 * round(3 * math.log2(exposure_time_s)))


def _aperture_name(f_number: float) -> str:
    """The engraved f-number nearest to this one, in thirds of a stop."""
    return nominal_f_number_name(2 * round(6 * math.log2(f_number)))


def focal_length_name(focal_length_mm: float) -> str:
    """A focal length as it is spoken, to a tenth of a millimetre: 50 mm, 20.7 mm."""
    return f"{round(focal_length_mm, 1):g} mm"


def _iso_name(iso: float) -> str:
    """The ISO speed nearest to this one, in thirds of a stop."""
    return nominal_iso_name(2 * round(3 * math.log2(iso / 100)))
