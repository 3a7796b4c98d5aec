"""SQL as named constants, each with its intent and parameters. Pages and commands read summary tables, never frames."""

#: Judged frames and keepers by burst and one setting. Parameters: :setting
COUNTS_BY_SETTING = """
select session_id as session, burst_id as burst, key, sort_key, n_judged as n_frames, n_keepers
from setting_counts
where setting = :setting and n_judged > 0
"""

#: Judged frames and keepers by burst and two settings; `{key}` and `{other}` are of SETTING_KEYS, never input.
COUNTS_BY_TWO = """
select
    frames.session_id as session, frames.burst_id as burst, {key} as value, {other} as other_value,
    count(*) as n_frames, sum(frames.verdict = 'keeper') as n_keepers
from frames
join sessions on sessions.id = frames.session_id
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
where frames.verdict <> 'unjudged' and frames.burst_id is not null
group by frames.session_id, frames.burst_id, {key}, {other}
"""

#: The journal's size. No parameters.
TOTALS = """
select coalesce(sum(n_frames), 0) as n_frames, coalesce(sum(n_judged), 0) as n_judged, count(*) as n_sessions
from session_summaries
"""

#: Sessions with their counts, newest first. Parameters: :session_id - of one session, or null for all
SESSION_LINES = """
select
    id, intent, priority, subject_pace, light, camera_support, place, sunlight, started_at, ended_at, time_zone, notes,
    is_suggested, is_simulated, coalesce(n_frames, 0) as n_frames, coalesce(n_bursts, 0) as n_bursts,
    coalesce(n_judged, 0) as n_judged, coalesce(n_keepers, 0) as n_keepers, commonest_fault
from sessions
left join session_summaries on session_id = id
where :session_id is null or id = :session_id
order by started_at desc, id desc
"""

#: The frames of one session in order of bursts. Parameters: :session_id
SESSION_FRAMES = """
select
    frames.id, burst_id, file_name, exposure_time_s, f_number, iso, focal_length_mm, verdict,
    previews.frame_id is not null as has_preview,
    (select group_concat(fault, ', ') from frame_faults where frame_id = frames.id) as faults
from frames
left join previews on previews.frame_id = frames.id
where session_id = :session_id
order by taken_at, burst_id, position_in_burst, frames.id
limit 5000
"""

#: One small picture. Parameters: :frame_id
PREVIEW = "select webp from previews where frame_id = :frame_id"
