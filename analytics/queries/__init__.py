"""SQL as named constants, each with its intent and parameters.

Pages and counts read summary tables, never all frames. Lists of frames and the export do read frames.
"""

from __future__ import annotations

#: The last of so many frames, or sessions, after one: where a portion ends. Parameters: :after, :size
LAST_OF_FRAMES = "select max(id) from (select id from frames where id > :after order by id limit :size)"
LAST_OF_SESSIONS = "select max(id) from (select id from sessions where id > :after order by id limit :size)"

#: Judged frames and keepers by burst and one setting. Parameters: :setting, and sessions after :after up to :last
COUNTS_BY_SETTING = """
select session_id as session, burst_id as burst, key, sort_key, n_judged as n_frames, n_keepers
from setting_counts
where setting = :setting and n_judged > 0 and session_id > :after and session_id <= :last
"""

#: The journal's size; `n_outside` are frames of no session, which no rate counts. No parameters.
TOTALS = """
select
    coalesce(sum(n_frames), 0) as n_frames, coalesce(sum(n_judged), 0) as n_judged,
    coalesce(sum(n_keepers), 0) as n_keepers, count(*) as n_sessions,
    (select count(*) from frames where session_id is null) as n_outside
from session_summaries
"""

#: How many sessions are simulated, and how many there are. No parameters.
SIMULATED_SESSIONS = "select coalesce(sum(is_simulated), 0) as n_simulated, count(*) as n_sessions from sessions"

#: The frame table: one row per frame, without positions and serial numbers; `{more}` adds columns that are asked for.
#: Parameters: :number - of one frame, or null for all
FRAMES = """
select
    frames.id as frame_id, frames.file_name, frames.taken_at, frames.session_id, frames.burst_id,
    frames.position_in_burst, frames.exposure_time_s, frames.exposure_time_source, frames.f_number,
    frames.f_number_source, frames.iso, frames.iso_source, frames.exposure_bias_ev, frames.focal_length_mm,
    frames.focal_length_source, frames.focal_length_35mm, frames.focal_length_35mm_source, frames.subject_distance_m,
    frames.subject_distance_source, frames.flash, frames.ev100, frames.stops_below_rule, bodies.model as body,
    lenses.model as lens, frames.is_stabilised,
    coalesce(frames.camera_support, sessions.camera_support) as camera_support, sessions.priority,
    sessions.subject_pace, sessions.light, frames.width_px, frames.height_px, frames.verdict, frames.is_simulated,
    (select group_concat(fault, '; ') from frame_faults where frame_id = frames.id) as faults {more}
from frames
left join sessions on sessions.id = frames.session_id
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
where :number is null or frames.id = :number
order by frames.taken_at, frames.id
"""
FRAME_POSITIONS = ", frames.latitude, frames.longitude"
FRAME_SERIALS = ", bodies.serial_number as body_serial_number"

#: All that explaining one frame needs: settings, geometry, what was stated, gear, measures, suggestion and verdict.
#: `widest_used`, `lowest_iso_used` and `highest_iso_used` are how far lens (at this focal length or longer) and body
#: were ever set. Parameters: :number
EXPLAINED_FRAME = """
select
    frames.id as frame_id, frames.file_name, frames.exposure_time_s, frames.f_number, frames.iso, frames.ev100,
    frames.stops_below_rule, frames.focal_length_mm, frames.focal_length_35mm, frames.subject_distance_m,
    frames.subject_distance_source,
    coalesce(frames.is_stabilised, case
        when bodies.is_stabilised = 1 or lenses.is_stabilised = 1 then 1
        when bodies.is_stabilised = 0 and (lenses.is_stabilised = 0 or frames.lens_id is null) then 0
    end) as is_stabilised, frames.flash, frames.width_px, frames.height_px,
    frames.verdict, frames.session_id, max(frames.is_simulated, coalesce(sessions.is_simulated, 0)) as is_simulated,
    coalesce(frames.camera_support, sessions.camera_support) as camera_support, sessions.priority,
    sessions.subject_pace, sessions.light_ev100, sessions.is_backlit, sessions.subject_depth_m,
    sessions.subject_distance_m as session_subject_distance_m, bodies.model as body, bodies.sensor_width_mm,
    bodies.sensor_height_mm, bodies.base_iso, bodies.highest_iso, lenses.model as lens, lenses.widest_f_number,
    lenses.focal_length_min_mm, lenses.focal_length_max_mm,
    (with recursive apertures (f_number) as (
        select min(f_number) from frames as widest where widest.lens_id = frames.lens_id
        union all
        select (select min(f_number) from frames as next
            where next.lens_id = frames.lens_id and next.f_number > apertures.f_number)
        from apertures where apertures.f_number is not null)
    select f_number from apertures where exists (select 1 from frames as others where others.lens_id = frames.lens_id
        and others.f_number = apertures.f_number and others.focal_length_mm >= 0.99 * frames.focal_length_mm)
    limit 1) as widest_used,
    (select min(iso) from frames as others where others.body_id = frames.body_id) as lowest_iso_used,
    (select max(iso) from frames as others where others.body_id = frames.body_id) as highest_iso_used,
    (select group_concat(fault, '; ') from frame_faults where frame_id = frames.id) as faults,
    measurements.measures, measurements.source as measured_from, suggestions.fault as suggested_fault,
    suggestions.probability as suggested_probability, suggestions.is_unsure as suggestion_is_unsure,
    suggestions.probabilities as suggested_probabilities, suggestions.evidence, unexamined.problem as why_unexamined
from frames
left join sessions on sessions.id = frames.session_id
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
left join measurements on measurements.frame_id = frames.id
left join suggestions on suggestions.frame_id = frames.id
left join unexamined on unexamined.frame_id = frames.id
where frames.id = :number
"""

#: Sessions with their counts, without place and position; `{more}` adds columns that are asked for.
SESSIONS = """
select
    id as session_id, intent, priority, subject_pace, light, light_ev100, camera_support, started_at, ended_at,
    time_zone, sunlight, notes, n_frames, n_bursts, n_judged, n_keepers, n_rejects, commonest_fault, is_simulated {more}
from sessions
left join session_summaries on session_id = id
order by started_at, id
"""
SESSION_POSITIONS = ", place, latitude, longitude"

#: One line per session for a list, newest first. Parameters: :limit
SESSION_LINES = """
select
    id as session_id, intent, started_at, coalesce(n_frames, 0) as n_frames, coalesce(n_judged, 0) as n_judged,
    coalesce(n_keepers, 0) as n_keepers, commonest_fault, is_suggested, is_simulated
from sessions
left join session_summaries on session_id = id
order by started_at desc, id desc
limit :limit
"""

#: The session that began last; one of a day to come, which a clock set wrong may say, only where there is no other.
#: Parameters: :now
LAST_SESSION = """
select id as session_id from sessions order by started_at > :now, started_at desc, id desc limit 1
"""

#: Models of all bodies. No parameters.
BODY_MODELS = "select distinct model from bodies order by model"

#: The light that was stated for the last sessions, newest first. Parameters: :limit
RECENT_LIGHT = """
select started_at, light, intent, light_ev100
from sessions
where light_ev100 is not null
order by started_at desc, id desc
limit :limit
"""

#: What was stated about one session, and what came of it. Parameters: :number
ONE_SESSION = """
select
    sessions.id as session_id, intent, priority, subject_pace, light, light_ev100, camera_support, place, sunlight,
    sun_elevation_deg, latitude, longitude, planned_exposure_time_min_s, planned_exposure_time_max_s,
    planned_f_number_min, planned_f_number_max, planned_iso_min, planned_iso_max, is_backlit, subject_depth_m,
    subject_distance_m,
    started_at, ended_at, time_zone, notes, is_suggested, is_simulated,
    coalesce(n_frames, 0) as n_frames, coalesce(n_bursts, 0) as n_bursts, coalesce(n_judged, 0) as n_judged,
    coalesce(n_keepers, 0) as n_keepers, coalesce(n_rejects, 0) as n_rejects, commonest_fault,
    coalesce(n_commonest_fault, 0) as n_commonest_fault,
    (select id from sessions as before where (before.started_at, before.id) < (sessions.started_at, sessions.id)
        order by started_at desc, id desc limit 1) as session_before,
    (select id from sessions as after where (after.started_at, after.id) > (sessions.started_at, sessions.id)
        order by started_at, id limit 1) as session_after
from sessions
left join session_summaries on session_id = id
where sessions.id = :number
"""

#: Frames of the same burst, the nearest ones in the order of the burst, and how many there are in all.
#: Parameters: :number, :limit
NEAR_IN_BURST = """
select id, n_others
from (
    select others.id, others.position_in_burst, count(*) over () as n_others
    from frames
    join frames as others on others.burst_id = frames.burst_id and others.id <> frames.id
    where frames.id = :number
    order by abs(others.position_in_burst - frames.position_in_burst), others.id
    limit :limit
)
order by position_in_burst, id
"""

#: Frames of one session in the order of the day, some at a time. Parameters: :number, :limit, :offset
FRAMES_OF_SESSION = """
select
    frames.id as frame_id, file_name, coalesce(taken_at_local, taken_at) as taken_at, burst_id, exposure_time_s,
    f_number, iso, focal_length_mm, verdict,
    (select group_concat(fault, ', ') from frame_faults where frame_id = frames.id) as faults,
    exists (select 1 from previews where previews.frame_id = frames.id) as has_preview
from frames
where session_id = :number
order by taken_at, burst_id, frames.id
limit :limit offset :offset
"""

#: Frames by their numbers, as a session's page shows them. Parameters: :numbers - JSON list
SOME_FRAMES = """
select
    frames.id as frame_id, session_id, file_name, coalesce(taken_at_local, taken_at) as taken_at, burst_id,
    exposure_time_s, f_number, iso, focal_length_mm, verdict,
    (select group_concat(fault, ', ') from frame_faults where frame_id = frames.id) as faults,
    exists (select 1 from previews where previews.frame_id = frames.id) as has_preview
from frames
where id in (select value from json_each(:numbers))
"""

#: Sessions with unjudged frames, the latest first. No parameters.
SESSIONS_TO_JUDGE = """
select
    id as number, substr(started_at, 1, 10) as day, intent, n_frames, n_frames - n_judged as n_unjudged
from session_summaries
join sessions on id = session_id
where n_judged < n_frames
order by started_at desc, id desc
"""

#: Which of some frames have a picture file that may be read, and what was measured of them; tables and simulated
#: records have none. Parameters: :numbers - JSON list
WITH_ORIGINAL = """
select files.frame_id, measurements.measures, suggestions.fault
from files
left join measurements on measurements.frame_id = files.frame_id
left join suggestions on suggestions.frame_id = files.frame_id
where files.frame_id in (select value from json_each(:numbers)) and files.kind not in ('sidecar', 'table')
    and files.path not like 'simulated/%'
group by files.frame_id
"""

#: The file that shows a frame best, a finished picture before a raw file, and what was measured of it.
#: Parameters: :number
ORIGINAL = """
select
    files.path, files.content_key, files.kind, frames.orientation, measurements.measures, suggestions.fault
from files
join frames on frames.id = files.frame_id
left join measurements on measurements.frame_id = files.frame_id
left join suggestions on suggestions.frame_id = files.frame_id
where files.frame_id = :number and files.kind not in ('sidecar', 'table') and files.path not like 'simulated/%'
order by files.kind in ('raw', 'dng'), files.path
limit 1
"""

#: Which of some frames have a preview. Parameters: :numbers - JSON list
WITH_PREVIEW = """
select frame_id from previews
where frame_id in (select value from json_each(:numbers))
"""

#: Which of some frames have a fault. Parameters: :numbers - JSON list, :fault
WITH_FAULT = """
select frame_id from frame_faults
where fault = :fault and frame_id in (select value from json_each(:numbers))
"""

#: The small preview of one frame. Parameters: :number
PREVIEW = "select webp from previews where frame_id = :number"

#: Judged frames of sessions as numbers, by id; supports are coded in the order of the schema's words.
#: Parameters: frames after :after up to :last
JUDGED_FRAMES = """
select
    id, session_id, burst_id, position_in_burst, exposure_time_s, f_number, iso, focal_length_mm, focal_length_35mm,
    body_id, lens_id,
    case camera_support when 'hand-held' then 0 when 'monopod' then 1 when 'tripod' then 2 when 'braced' then 3 end,
    is_stabilised, flash, subject_distance_m, ev100, verdict = 'keeper'
from frames
where id > :after and id <= :last and verdict <> 'unjudged' and session_id is not null
order by id
"""

#: What sessions state, as numbers, by id; words are coded in the order of the schema's. `day` counts from the first
#: session's begin. No parameters.
JUDGED_SESSIONS = """
select
    id, julianday(started_at) - (select min(julianday(started_at)) from sessions) as day,
    case priority when 'depth' then 0 when 'motion' then 1 end,
    case subject_pace
        when 'still' then 0 when 'slow' then 1 when 'walking' then 2 when 'running' then 3 when 'fast' then 4 end,
    case camera_support when 'hand-held' then 0 when 'monopod' then 1 when 'tripod' then 2 when 'braced' then 3 end,
    light_ev100, is_backlit, subject_depth_m, subject_distance_m, sun_elevation_deg,
    planned_exposure_time_min_s, planned_exposure_time_max_s, planned_f_number_min, planned_f_number_max,
    planned_iso_min, planned_iso_max, is_simulated
from sessions
order by id
"""

#: What sessions say of the light, in the photographer's words, by id. No parameters.
JUDGED_LIGHT = "select id, light from sessions order by id"

#: Bursts: their number in the session from 0, in the order of time, the session's bursts, and their frames.
#: Parameters: sessions after :after up to :last
JUDGED_BURSTS = """
select
    id, row_number() over (partition by session_id order by started_at is null, started_at, id) - 1 as number,
    count(*) over (partition by session_id) as bursts, n_frames
from bursts
where session_id > :after and session_id <= :last
"""

#: Bodies and lenses by id, with whether they steady the picture. No parameters.
JUDGED_BODIES = "select id, model, is_stabilised from bodies order by id"
JUDGED_LENSES = "select id, model, is_stabilised from lenses order by id"

#: Faults of frames as one number each, a bit per fault in the order of the schema's words.
#: Parameters: frames after :after up to :last
JUDGED_FAULTS = """
select
    frame_id,
    sum(case fault
        when 'overexposed' then 1 when 'underexposed' then 2 when 'missed focus' then 4 when 'camera shake' then 8
        when 'subject motion' then 16 when 'noise' then 32 when 'timing' then 64 when 'framing' then 128 end) as bits
from frame_faults
where frame_id > :after and frame_id <= :last
group by frame_id
order by frame_id
"""

#: Frames, judged frames and keepers by session with frames, in the order of time. No parameters.
JUDGED_BY_SESSION = """
select session_id, n_frames, n_judged, n_keepers
from session_summaries
join sessions on sessions.id = session_id
where n_frames > 0
order by started_at, session_id
"""

#: Days from the first session's begin to a moment. Parameters: :instant
DAY_OF = "select julianday(:instant) - min(julianday(started_at)) as day from sessions"

#: Advice that was given, the newest first. No parameters.
ADVICE = """
select id, habit, advice, given_at, evidence_from, evidence_until, ended_at, is_simulated
from advice
order by given_at desc, id desc
"""

#: The moment from which the days of the frames table count. No parameters.
FIRST_SESSION = "select min(started_at) as began from sessions"

#: Frames of some sessions that have a preview, newest session first. Parameters: :sessions - JSON list
PREVIEWED_FRAMES = """
select frames.id as frame_id, session_id, burst_id
from frames
join sessions on sessions.id = session_id
where session_id in (select value from json_each(:sessions))
    and exists (select 1 from previews where previews.frame_id = frames.id)
order by sessions.started_at desc, session_id desc, burst_id, frames.taken_at, frames.id
"""

#: Reviews with how many comments and verdicts came back, the newest first. No parameters.
REVIEWS = """
select
    id as review, made_at, questions, is_simulated,
    (select count(*) from review_sessions where review_id = reviews.id) as n_sessions,
    (select count(*) from comments where review_id = reviews.id) as n_comments,
    (select count(*) from mentor_verdicts where review_id = reviews.id) as n_verdicts
from reviews
order by made_at desc, id desc
"""

#: Comments in the order in which they were written. Parameters: :review - or null for all
COMMENTS = """
select review_id as review, about, question, session_id, frame_id, habit, body, mentor, said_at
from comments
where :review is null or review_id = :review
order by said_at, id
"""

#: Each mentor's newest verdict on each frame beside the photographer's own. Parameters: :review - or null for all
MENTOR_VERDICTS = """
select
    review_id as review, newest.frame_id, burst_id, mentor, newest.verdict, frames.verdict as own_verdict,
    (select group_concat(fault, ', ') from mentor_verdict_faults where mentor_verdict_id = newest.id) as faults,
    (select group_concat(fault, ', ') from frame_faults where frame_faults.frame_id = newest.frame_id) as own_faults
from (
    select *, row_number() over (partition by mentor, frame_id order by said_at desc, id desc) as place
    from mentor_verdicts
    where :review is null or review_id = :review
) as newest
join frames on frames.id = newest.frame_id
where place = 1
order by mentor, newest.frame_id
"""

#: Rounds of judging old frames again, the earliest first, with what was said of them. No parameters.
ANCHOR_ROUNDS = "select * from anchor_results order by round"
