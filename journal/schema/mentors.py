"""The table of the links that let mentors in, as SQL, and which link a comment came through."""

#: A row for each link. The link itself is not here: it is `link_key`, signed with a secret that is not in the journal.
#: A link counts while now is before `expires_at` and `withdrawn_at` is null; rows are never deleted.
MENTOR_LINKS = """
create table mentor_links (
    id           integer primary key,
    link_key     text not null unique,
    mentor       text not null check (length(mentor) between 1 and 100),
    made_at      text not null,
    expires_at   text not null,
    withdrawn_at text
) strict;

alter table comments add column link_id integer references mentor_links (id) on delete set null;
alter table mentor_verdicts add column link_id integer references mentor_links (id) on delete set null;
create index comments_link on comments (link_id);
create index mentor_verdicts_link on mentor_verdicts (link_id);
create index comments_habit on comments (habit) where habit is not null;
"""
