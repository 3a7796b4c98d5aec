"""What a photographer may believe: pure functions from judged frames to results with intervals.

Frames come in bursts and bursts in sessions, and dim light brings slow times and high ISO together, so sessions are the
unit of evidence everywhere and "not enough yet" is an answer. Each question has a module of its name; the functions
that answer them can be taken from here. This package knows no SQL, file, chart, clock or printing.
"""

from analytics.statistics.advice_effect import advice_effect
from analytics.statistics.habits import habits
from analytics.statistics.limits import limits
from analytics.statistics.plan import more_sessions
from analytics.statistics.progress import progress
from analytics.statistics.rates import keeper_rates
from analytics.statistics.series import series_limit
from analytics.statistics.shortage import shortage

__all__ = [
    "advice_effect",
    "habits",
    "keeper_rates",
    "limits",
    "more_sessions",
    "progress",
    "series_limit",
    "shortage",
]
