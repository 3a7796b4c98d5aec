"""SQL as named constants, each with its intent and parameters. Pages and commands read summary tables, never frames."""

#: Judged frames and keepers by burst and one setting. Parameters: :setting
COUNTS_BY_SETTING = """
select session_id as session, burst_id as burst, key, sort_key, n_judged as n_frames, n_keepers
from setting_counts
where setting = :setting and n_judged > 0
"""

#: The journal's size. No parameters.
TOTALS = """
select coalesce(sum(n_frames), 0) as n_frames, coalesce(sum(n_judged), 0) as n_judged, count(*) as n_sessions
from session_summaries
"""
