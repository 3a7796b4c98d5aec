"""What the frames of one session say together; all but the last have the parameter :number."""

from __future__ import annotations

from journal.schema.setting_keys import CHOSEN_SETTINGS

#: Settings of each frame of a session that somebody chose. Parameters: :number
USED_IN_SESSION = f"select {CHOSEN_SETTINGS} from frames where session_id = :number"  # noqa: S608 - columns, no values

#: Frames of a session along the day, counted by burst, exposure time and verdict; `began` is the body's clock.
#: Parameters: :number
COURSE_OF_SESSION = """
select
    rtrim(min(coalesce(taken_at_local, taken_at)), 'Z') as began,
    cast(strftime('%s', min(taken_at)) as integer) as seconds, tv6, verdict, count(*) as n_frames
from frames
where session_id = :number and taken_at is not null and tv6 is not null
group by coalesce(burst_id, -id), tv6, verdict
order by seconds, tv6, verdict
"""

#: How many frames of a session were taken in a minute before it began or after it ended.
#: Parameters: :number, :started_at, :ended_at
OUTSIDE_SESSION = """
select count(*) as n_outside
from frames
where session_id = :number
    and (substr(taken_at, 1, 16) < substr(:started_at, 1, 16) or substr(taken_at, 1, 16) > substr(:ended_at, 1, 16))
"""

#: Bursts of a session with judged frames, in their order; `began` and `ended` are by the body's clock, null where it
#: had none. Parameters: :number
JUDGED_BURSTS_OF_SESSION = """
select
    coalesce(burst_id, -id) as burst,
    rtrim(min(coalesce(taken_at_local, taken_at)), 'Z') as began,
    rtrim(max(coalesce(taken_at_local, taken_at)), 'Z') as ended,
    sum(verdict = 'keeper') as n_keepers,
    sum(verdict = 'reject') as n_rejects
from frames
where session_id = :number and verdict in ('keeper', 'reject')
group by 1
order by min(taken_at), 1
"""

#: Faults that the rejects of a session show, by burst. Parameters: :number
FAULTS_OF_SESSION = """
select fault, coalesce(burst_id, -id) as burst, count(*) as n_frames
from frames
join frame_faults on frame_id = id
where session_id = :number and verdict = 'reject'
group by 1, 2
"""

#: What bursts of more than one frame are called: their places among those of their session, in the order of the day.
#: Parameters: :sessions - JSON list
BURST_PLACES = """
with of_many as (
    select id, session_id, started_at from bursts
    where session_id in (select value from json_each(:sessions))
        and exists (select 1 from frames where burst_id = bursts.id limit 1 offset 1)
)
select
    id as burst_id, row_number() over (partition by session_id order by started_at is null, started_at, id) as place
from of_many
"""
