"""SQL of what was chosen in bursts, and of the frames that a filter means, as named constants."""

from __future__ import annotations

from journal.schema.setting_keys import STATED_BEGIN

#: What was chosen in bursts, as numbers, with counts; -2147483648 stands for unknown.
#: Parameters: :sessions - JSON list
CHOICES = """
select
    session_id, burst_id, n_frames, n_judged, n_keepers,
    ifnull(tv6, -2147483648), ifnull(av6, -2147483648), ifnull(sv6, -2147483648),
    ifnull(focal_length_mm, -2147483648), ifnull(stops_below_rule_third, -2147483648),
    ifnull(ev100_third, -2147483648), ifnull(lens_id, -2147483648), ifnull(body_id, -2147483648),
    case camera_support
        when 'hand-held' then 0 when 'monopod' then 1 when 'tripod' then 2 when 'braced' then 3 else -2147483648 end,
    ifnull(12 * cast(substr(month, 1, 4) as integer) + cast(substr(month, 6, 2) as integer), -2147483648)
from choices
where session_id in (select value from json_each(:sessions))
"""

#: Which state the choices of each session are in. No parameters.
CHOICE_STAMPS = "select session_id, stamp from choice_stamps"

#: What sessions state, for the counts by choice, the newest first. No parameters.
CHOICE_SESSIONS = f"""
select
    id, substr(started_at, 1, 10) as day, round(light_ev100) as light,
    12 * cast(substr({STATED_BEGIN}, 1, 4) as integer) + cast(substr({STATED_BEGIN}, 6, 2) as integer) as month,
    camera_support, priority, subject_pace, light_kind(light) as light_kind
from sessions
order by started_at desc, id desc
"""  # noqa: S608 - a constant, no input

#: Models of lenses and bodies by number. No parameters.
LENS_MODELS = "select id, model from lenses order by id"
BODY_MODELS = "select id, model from bodies order by id"

#: Bursts in the order of time, like the frames of a session's page. Parameters: :bursts - JSON list
BURSTS_BY_TIME = """
select id from bursts where id in (select value from json_each(:bursts)) order by started_at, id
"""

#: Frames of some bursts that a filter means; `{where}` is of `analytics.dataset.choosing`, which binds every value.
#: Parameters: :bursts - JSON list, :verdict - or null for all judged ones, and those of the filter
CHOSEN_FRAMES = """
select
    frames.id as frame_id, frames.session_id, frames.file_name,
    coalesce(frames.taken_at_local, frames.taken_at) as taken_at, frames.burst_id, frames.exposure_time_s,
    frames.f_number, frames.iso, frames.focal_length_mm, frames.verdict,
    (select group_concat(fault, ', ') from frame_faults where frame_id = frames.id) as faults,
    exists (select 1 from previews where previews.frame_id = frames.id) as has_preview
from frames
join sessions on sessions.id = frames.session_id
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
where frames.burst_id in (select value from json_each(:bursts))
    and (frames.verdict = :verdict or (:verdict is null and frames.verdict <> 'unjudged')) and {where}
order by frames.taken_at, frames.position_in_burst, frames.id
"""
