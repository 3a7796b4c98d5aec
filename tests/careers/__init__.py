"""Simulated careers of photographers with known truth: light, pace, gear, habits, faults and imperfect judging.

`career(seed, n_sessions, world)` draws a photographer and everything they shot. Dim light brings wider, slower and more
sensitive settings at once; faults of a session and of a burst go together; one fault hides another; the judge
overlooks some, invents a few and does not write all of them down. The frames look like the frames table of the
statistics; the truth stays beside them.
"""

from careers.career import Career, career
from careers.people import HABITS, Person, World

__all__ = ["HABITS", "Career", "Person", "World", "career"]
