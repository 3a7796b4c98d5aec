"""Labels in the counts by one setting, as they are written now: f/4, and no month that only the time of a file says."""

from __future__ import annotations

from journal.schema.setting_keys import SETTING_KEYS

#: The step; what is counted anew are the months of the sessions whose times nobody stated.
LABELS = f"""
update setting_counts set key = substr(key, 1, length(key) - 2) where setting = 'f_number' and key like 'f/%.0';

delete from setting_counts
where setting = 'month' and session_id in (select id from sessions where is_suggested);

insert into setting_counts (setting, session_id, burst_id, key, sort_key, n_frames, n_judged, n_keepers)
select
    'month', frames.session_id, frames.burst_id, {SETTING_KEYS["month"]} as month,
    12.0 * substr({SETTING_KEYS["month"]}, 1, 4) + substr({SETTING_KEYS["month"]}, 6, 2),
    count(*), sum(frames.verdict <> 'unjudged'), sum(frames.verdict = 'keeper')
from frames
join sessions on sessions.id = frames.session_id
where sessions.is_suggested and frames.burst_id is not null
group by frames.session_id, frames.burst_id, month;
"""  # noqa: S608 - constants, no input
