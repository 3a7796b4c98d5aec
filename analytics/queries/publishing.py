"""What is published: which sessions and frames, their gear, and how much private text they hold."""

from __future__ import annotations

#: How many of some sessions, of these and some other frames, and of their bodies have text that is private.
#: Parameters: :sessions, :numbers - JSON lists
PRIVATE_TEXTS = """
with shown as (
    select body_id, file_name
    from frames
    where session_id in (select value from json_each(:sessions)) or id in (select value from json_each(:numbers))
)
select
    sum(intent <> '') as n_intents, sum(light <> '') as n_light, sum(notes <> '') as n_notes,
    sum(place <> '' or time_zone <> 'UTC') as n_places, count(coalesce(latitude, sun_elevation_deg)) as n_positions,
    (select count(*) from bodies where serial_number <> '' and id in (select body_id from shown)) as n_serials,
    (select count(*) from shown where file_name <> '') as n_file_names
from sessions
where id in (select value from json_each(:sessions))
"""

#: Sessions by their begin. Parameters: :since, :until - days (ISO), either may be null
SESSIONS_WITHIN = """
select id as session_id
from sessions
where (:since is null or started_at >= :since) and (:until is null or substr(started_at, 1, 10) <= :until)
order by started_at, id
"""

#: Bodies and lenses of some sessions' frames. Parameters: :sessions - JSON list
GEAR_OF_SESSIONS = """
select distinct session_id, bodies.model as body, bodies.serial_number, lenses.model as lens
from frames
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
where session_id in (select value from json_each(:sessions))
order by session_id, body, lens
"""

#: Frames of some sessions, and some frames by their numbers, in the order of the day.
#: Parameters: :sessions, :numbers - JSON lists
PUBLISHED_FRAMES = """
select
    frames.id as frame_id, file_name, coalesce(taken_at_local, taken_at) as taken_at, session_id, burst_id,
    exposure_time_s, f_number, iso, focal_length_mm, verdict,
    (select group_concat(fault, ', ') from frame_faults where frame_id = frames.id) as faults
from frames
where session_id in (select value from json_each(:sessions)) or frames.id in (select value from json_each(:numbers))
order by session_id, frames.taken_at, burst_id, frames.id
"""
