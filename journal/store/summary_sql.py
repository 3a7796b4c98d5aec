"""The statements behind `summaries`, as named constants."""

from __future__ import annotations

from journal.schema.choices import COUNTED

#: Choices of one session by burst. Parameters: :session_id, :bursts - JSON list of bursts, or null for all of it
CHOICES = COUNTED.format(
    where="frames.session_id = :session_id and frames.burst_id is not null"
    " and (:bursts is null or frames.burst_id in (select value from json_each(:bursts)))"
)

#: Marks the session's choices as other than they were. Parameters: :session_id
STAMP = "insert or replace into choice_stamps values (:session_id, random())"

#: Cells of one session: burst x sixths of a stop, with the counts that the fault curves need.
#: A frame counts in `n_<fault>` unless another fault hides that one; `only_<fault>` counts rejects for it alone.
#: Parameters: :session_id, :bursts - JSON list of bursts, or null for all of the session
CELLS = """
insert into cells
with
    faults as (
        select
            frames.id as frame_id,
            max(fault in ('overexposed', 'underexposed')) as exposure,
            max(fault = 'missed focus')                   as focus,
            max(fault = 'camera shake')                   as shake,
            max(fault = 'subject motion')                 as motion,
            max(fault = 'noise')                          as noise,
            max(fault in ('timing', 'framing'))           as other
        from frames
        join frame_faults on frame_faults.frame_id = frames.id
        where frames.session_id = :session_id
            and (:bursts is null or frames.burst_id in (select value from json_each(:bursts)))
        group by frames.id
    ),
    judged as (
        select
            frames.session_id, frames.burst_id, frames.tv6, frames.av6, frames.sv6, frames.verdict,
            coalesce(exposure, 0) as exposure, coalesce(focus, 0) as focus, coalesce(shake, 0) as shake,
            coalesce(motion, 0) as motion, coalesce(noise, 0) as noise,
            coalesce(exposure + focus + shake + motion + noise + other, 0) as n_faults,
            frames.verdict <> 'unjudged' as is_judged
        from frames
        left join faults on faults.frame_id = frames.id
        where frames.session_id = :session_id and frames.burst_id is not null
            and (:bursts is null or frames.burst_id in (select value from json_each(:bursts)))
    )
select
    session_id, burst_id, tv6, av6, sv6,
    count(*), sum(is_judged), sum(verdict = 'keeper'),
    sum(is_judged),
    sum(is_judged and not (shake or motion)),
    sum(is_judged and not (focus or motion)),
    sum(is_judged and not (focus or shake)),
    sum(is_judged and not (exposure or focus or shake or motion)),
    sum(exposure),
    sum(focus and not (shake or motion)),
    sum(shake and not (focus or motion)),
    sum(motion and not (focus or shake)),
    sum(noise and not (exposure or focus or shake or motion)),
    sum(exposure and n_faults = 1), sum(focus and n_faults = 1), sum(shake and n_faults = 1),
    sum(motion and n_faults = 1), sum(noise and n_faults = 1)
from judged
group by burst_id, tv6, av6, sv6
"""

#: One line for the session: frames, bursts, verdicts. Parameters: :session_id, :fault, :n_fault
SESSION_SUMMARY = """
insert into session_summaries
    (session_id, n_frames, n_bursts, n_judged, n_keepers, n_rejects, commonest_fault, n_commonest_fault)
select
    :session_id,
    count(*),
    count(distinct burst_id),
    coalesce(sum(verdict <> 'unjudged'), 0),
    coalesce(sum(verdict = 'keeper'), 0),
    coalesce(sum(verdict = 'reject'), 0),
    :fault,
    :n_fault
from frames
where session_id = :session_id
"""

#: Faults of one session with their counts, commonest first. Parameters: :session_id
FAULT_COUNTS = """
select fault, count(*) as n
from frames
join frame_faults on frame_faults.frame_id = frames.id
where frames.session_id = :session_id
group by fault
order by n desc, fault
"""

#: Counts of one session by burst and one setting; `{key}` is one of SETTING_KEYS, never input.
#: Parameters: :session_id, :bursts - as above
SETTING_COUNTS = """
select
    frames.burst_id, {key} as key,
    count(*) as n_frames, sum(frames.verdict <> 'unjudged') as n_judged, sum(frames.verdict = 'keeper') as n_keepers
from frames
join sessions on sessions.id = frames.session_id
left join bodies on bodies.id = frames.body_id
left join lenses on lenses.id = frames.lens_id
where frames.session_id = :session_id and frames.burst_id is not null
    and (:bursts is null or frames.burst_id in (select value from json_each(:bursts)))
group by frames.burst_id, {key}
"""
