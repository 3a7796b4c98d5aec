"""The tables of judging again, as SQL: which old frames were chosen each quarter, and what was said of them, blind."""

from journal.schema.ddl import FAULTS, among

#: Old keepers and rejects that are judged again without their old verdict, to tell whether judging became milder.
#: `n_keepers` and `n_rejects` of a round are those among which it chose, which the estimate needs; `place` is the order
#: of showing, which says nothing of the old verdict. What is said here is never a verdict of the frame: no rate reads
#: it. Nothing is overwritten; the newest that was not taken back counts.
ANCHORS = f"""
create table anchor_rounds (
    id         integer primary key,
    chosen_at  text not null,
    seed       integer not null,
    n_keepers  integer not null check (n_keepers >= 0),
    n_rejects  integer not null check (n_rejects >= 0)
) strict;

create table anchors (
    id            integer primary key,
    round_id      integer not null references anchor_rounds (id) on delete cascade,
    place         integer not null check (place > 0),
    frame_id      integer not null references frames (id) on delete cascade,
    old_verdict   text not null check (old_verdict in ('keeper', 'reject')),
    old_judged_at text not null,
    unique (round_id, place)
) strict;
create unique index anchors_frame on anchors (frame_id, round_id);

create table anchor_verdicts (
    id            integer primary key,
    anchor_id     integer not null references anchors (id) on delete cascade,
    told          text not null,
    verdict       text not null check (verdict in ('keeper', 'reject')),
    judged_at     text not null,
    judged_by     text not null,
    taken_back_at text,
    unique (anchor_id, told)
) strict;

create table anchor_verdict_faults (
    anchor_verdict_id integer not null references anchor_verdicts (id) on delete cascade,
    fault             text not null check (fault in ({among(FAULTS)})),
    primary key (anchor_verdict_id, fault)
) strict, without rowid;

create view anchors_judged as
select
    anchors.id as anchor_id, anchors.round_id, anchors.place, anchors.frame_id, anchors.old_verdict,
    anchors.old_judged_at, anchor_verdicts.id as verdict_id, anchor_verdicts.verdict, anchor_verdicts.judged_at
from anchors
left join anchor_verdicts on anchor_verdicts.id = (
    select max(id) from anchor_verdicts where anchor_id = anchors.id and taken_back_at is null
);

create view anchor_results as
select
    anchor_rounds.id as round, anchor_rounds.chosen_at, anchor_rounds.n_keepers as n_pool_keepers,
    anchor_rounds.n_rejects as n_pool_rejects, count(place) as n_pictures, count(verdict) as n_judged,
    coalesce(sum(old_verdict = 'keeper' and verdict is not null), 0) as n_keepers,
    coalesce(sum(old_verdict = 'keeper' and verdict = 'reject'), 0) as n_keepers_rejected,
    coalesce(sum(old_verdict = 'reject' and verdict is not null), 0) as n_rejects,
    coalesce(sum(old_verdict = 'reject' and verdict = 'keeper'), 0) as n_rejects_kept,
    min(old_judged_at) as old_from, max(old_judged_at) as old_until, max(judged_at) as judged_until,
    count(distinct substr(judged_at, 1, 10)) as n_days
from anchor_rounds
left join anchors_judged on anchors_judged.round_id = anchor_rounds.id
group by anchor_rounds.id;
"""  # noqa: S608 - constants of the schema
