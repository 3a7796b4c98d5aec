"""The tables of reviews, as SQL: what was handed to a mentor, and what came back."""

from journal.schema.ddl import FAULTS, among

#: Reviews that were handed to a mentor, and what came back: comments and verdicts, beside the photographer's own and
#: never among them. Who wrote a comment is what its file says, unverified. `questions` is a JSON list.
REVIEWS = f"""
create table reviews (
    id           integer primary key,
    review_key   text not null unique,
    made_at      text not null,
    questions    text not null,
    is_simulated integer not null default 0 check (is_simulated in (0, 1))
) strict;

create table review_sessions (
    review_id  integer not null references reviews (id) on delete cascade,
    session_id integer not null references sessions (id) on delete cascade,
    primary key (review_id, session_id)
) strict, without rowid;

create table review_frames (
    review_id integer not null references reviews (id) on delete cascade,
    frame_id  integer not null references frames (id) on delete cascade,
    primary key (review_id, frame_id)
) strict, without rowid;

create table comments (
    id          integer primary key,
    comment_key text not null unique,
    review_id   integer references reviews (id) on delete set null,
    about       text not null check (about in ('whole', 'question', 'session', 'frame', 'habit')),
    question    integer check (question > 0),
    session_id  integer references sessions (id) on delete set null,
    frame_id    integer references frames (id) on delete set null,
    habit       text,
    body        text not null check (length(body) between 1 and 4000),
    mentor      text not null,
    said_at     text not null,
    read_at     text not null,
    source      text not null check (source in ('review file', 'page'))
) strict;
create index comments_review on comments (review_id);
create index comments_session on comments (session_id);
create index comments_frame on comments (frame_id);

create table mentor_verdicts (
    id          integer primary key,
    verdict_key text not null unique,
    review_id   integer references reviews (id) on delete set null,
    frame_id    integer not null references frames (id) on delete cascade,
    verdict     text not null check (verdict in ('keeper', 'reject')),
    mentor      text not null,
    said_at     text not null,
    read_at     text not null,
    source      text not null check (source in ('review file', 'page'))
) strict;
create index mentor_verdicts_frame on mentor_verdicts (frame_id, said_at);
create index mentor_verdicts_review on mentor_verdicts (review_id);

create table mentor_verdict_faults (
    mentor_verdict_id integer not null references mentor_verdicts (id) on delete cascade,
    fault             text not null check (fault in ({among(FAULTS)})),
    primary key (mentor_verdict_id, fault)
) strict, without rowid;
"""
