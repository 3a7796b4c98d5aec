"""What the frames of one session say together; all of them have the parameter :number."""

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

#: Faults that the rejects of a session show, the commonest first. Parameters: :number
FAULTS_OF_SESSION = """
select fault, count(*) as n_frames, count(distinct coalesce(burst_id, -id)) as n_bursts
from frames
join frame_faults on frame_id = id
where session_id = :number and verdict = 'reject'
group by fault
order by n_frames desc, fault
"""
