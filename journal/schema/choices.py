"""The summary that keepers are counted from under any filter: bursts by everything that was chosen in them.

A burst mostly keeps its settings, so that there are about as many rows as bursts, not as frames. What a session states
(priority, pace, light) is not repeated here: it is joined. Frames without a session or a burst are not in it. A reader
that keeps the rows in memory sees by `choice_stamps` which sessions have changed since it looked.
"""

from __future__ import annotations

#: The frame's columns that a row of `choices` is made by, as SQL; `month` is of the body's clock.
CHOSEN = {
    "body_id": "frames.body_id",
    "lens_id": "frames.lens_id",
    "camera_support": "frames.camera_support",
    "month": "substr(frames.taken_at_local, 1, 7)",
    "tv6": "frames.tv6",
    "av6": "frames.av6",
    "sv6": "frames.sv6",
    "focal_length_mm": "cast(round(frames.focal_length_mm) as integer)",
    "stops_below_rule_third": "frames.stops_below_rule_third",
    "ev100_third": "frames.ev100_third",
}

#: Rows of `choices`; `{where}` chooses frames, all of which have a session and a burst.
COUNTED = f"""
insert into choices (session_id, burst_id, {", ".join(CHOSEN)}, n_frames, n_judged, n_keepers)
select
    frames.session_id, frames.burst_id, {", ".join(CHOSEN.values())},
    count(*), sum(frames.verdict <> 'unjudged'), sum(frames.verdict = 'keeper')
from frames
where {{where}}
group by frames.session_id, frames.burst_id, {", ".join(CHOSEN.values())}
"""  # noqa: S608 - constants of this file, no input

#: The step: the tables, and what existing frames put into them.
CHOICES = """
create table choices (
    session_id             integer not null references sessions (id) on delete cascade,
    burst_id               integer not null references bursts (id) on delete cascade,
    body_id                integer,
    lens_id                integer,
    camera_support         text,
    month                  text,
    tv6                    integer,
    av6                    integer,
    sv6                    integer,
    focal_length_mm        integer,
    stops_below_rule_third integer,
    ev100_third            integer,
    n_frames               integer not null,
    n_judged               integer not null,
    n_keepers              integer not null
) strict;
create index choices_session on choices (session_id);
create index choices_burst on choices (burst_id);

create table choice_stamps (
    session_id integer primary key references sessions (id) on delete cascade,
    stamp      integer not null
) strict;

insert into choice_stamps select id, random() from sessions;
"""
CHOICES += COUNTED.format(where="frames.session_id is not null and frames.burst_id is not null") + ";\n"
