"""What mentors said on pages and through which links; what came back of all reviews is in `analytics.queries`."""

from __future__ import annotations

#: Comments on one place, in the order in which they were written. Parameters: :about, :session, :frame, :habit - null
#: where it is not about such a thing; :mentor - only what this mentor said on pages, or null for all
COMMENTS_ON = """
select review_id as review, about, question, session_id, frame_id, habit, body, mentor, said_at
from comments
where about = :about and session_id is :session and frame_id is :frame and habit is :habit
    and (:mentor is null or (mentor = :mentor and source = 'page'))
order by said_at, id
"""

#: All that one mentor said on pages, the newest first. Parameters: :mentor
COMMENTS_BY = """
select review_id as review, about, question, session_id, frame_id, habit, body, mentor, said_at
from comments
where mentor = :mentor and source = 'page'
order by said_at desc, id desc
"""


def _newest_verdicts(which: str) -> str:
    """Each mentor's newest verdict on frames, of those verdicts for which a condition holds."""
    return f"""
select
    newest.frame_id, burst_id, mentor, newest.verdict, frames.verdict as own_verdict,
    (select group_concat(fault, ', ') from mentor_verdict_faults where mentor_verdict_id = newest.id) as faults,
    (select group_concat(fault, ', ') from frame_faults where frame_faults.frame_id = newest.frame_id) as own_faults
from (
    select *, row_number() over (partition by mentor, frame_id order by said_at desc, id desc) as place
    from mentor_verdicts
    where {which}
) as newest
join frames on frames.id = newest.frame_id
where place = 1
order by newest.frame_id, mentor
"""  # noqa: S608 - constants, no input


#: Each mentor's newest verdict on one frame, or on each frame of a session, beside the photographer's own. Parameters:
#: :frame, :session - one of them null; :mentor - only what this mentor said on pages, or null for all
MENTOR_VERDICTS_ON = _newest_verdicts(
    """frame_id in (
            select id from frames where id = :frame union all select id from frames where session_id = :session
        )
        and (:mentor is null or (mentor = :mentor and source = 'page'))"""
)

#: The same of one mentor on each frame that they judged on pages. Parameters: :mentor
MENTOR_VERDICTS_BY = _newest_verdicts("mentor = :mentor and source = 'page'")

#: The links that mentors were given, the newest first, with how much came through each.
MENTOR_LINKS = """
select
    id as link, mentor, made_at, expires_at, withdrawn_at,
    (select count(*) from comments where link_id = mentor_links.id) as n_comments,
    (select count(*) from mentor_verdicts where link_id = mentor_links.id) as n_verdicts
from mentor_links
order by id desc
"""
