"""The schema as one readable constant.

What a newcomer must know: a session is one outing; a frame is one exposure and has files (raw, JPEG, sidecar); frames
in quick succession share a burst; a verdict belongs to a frame and is never overwritten, and `frames.verdict` repeats
the newest one so that it can be indexed. Times ending in `_at` are UTC text (ISO 8601 with milliseconds, so that
text sorts); `taken_at_local` is what the body's clock showed. Derived columns (`ev100`, `stops_below_rule`, sixths and
thirds of a stop) come from `journal.optics.derived` and carry its version. `cells` and `setting_counts` are summaries
that the writing transaction keeps current, so that pages never scan the frames.
"""

#: "3stp" in the header tells a journal from any other SQLite file.
APPLICATION_ID = 0x33737470

PRIORITIES = ("depth", "motion")
SUPPORTS = ("hand-held", "monopod", "tripod", "braced")
PACES = ("still", "slow", "walking", "running", "fast")
FAULTS = (
    "overexposed",
    "underexposed",
    "missed focus",
    "camera shake",
    "subject motion",
    "noise",
    "timing",
    "framing",
)


def among(words: tuple[str, ...]) -> str:
    """Words as SQL lists them in a check."""
    return ", ".join(f"'{word}'" for word in words)


SCHEMA = f"""
create table bodies (
    id               integer primary key,
    make             text not null,
    model            text not null,
    serial_number    text not null default '',
    sensor_width_mm  real check (sensor_width_mm > 0),
    sensor_height_mm real check (sensor_height_mm > 0),
    is_stabilised    integer check (is_stabilised in (0, 1)),
    base_iso         integer check (base_iso > 0),
    highest_iso      integer check (highest_iso > 0),
    clock_offset_s   integer not null default 0,
    is_stated        integer not null default 0 check (is_stated in (0, 1)),
    unique (make, model, serial_number)
) strict;

create table lenses (
    id                  integer primary key,
    model               text not null unique,
    focal_length_min_mm real check (focal_length_min_mm > 0),
    focal_length_max_mm real check (focal_length_max_mm >= focal_length_min_mm),
    widest_f_number     real check (widest_f_number > 0),
    is_stabilised       integer check (is_stabilised in (0, 1)),
    is_stated           integer not null default 0 check (is_stated in (0, 1))
) strict;

create table sessions (
    id                  integer primary key,
    intent              text not null default '',
    priority            text check (priority in ({among(PRIORITIES)})),
    subject_pace        text check (subject_pace in ({among(PACES)})),
    light               text not null default '',
    light_ev100         real check (light_ev100 between -12 and 24),
    camera_support      text check (camera_support in ({among(SUPPORTS)})),
    place               text not null default '',
    latitude            real check (latitude between -90 and 90),
    longitude           real check (longitude between -180 and 180),
    sun_elevation_deg   real check (sun_elevation_deg between -90 and 90),
    sunlight            text,
    planned_exposure_time_min_s real check (planned_exposure_time_min_s > 0),
    planned_exposure_time_max_s real check (planned_exposure_time_max_s >= planned_exposure_time_min_s),
    planned_f_number_min        real check (planned_f_number_min > 0),
    planned_f_number_max        real check (planned_f_number_max >= planned_f_number_min),
    planned_iso_min             integer check (planned_iso_min > 0),
    planned_iso_max             integer check (planned_iso_max >= planned_iso_min),
    started_at          text not null,
    ended_at            text not null,
    time_zone           text not null default 'UTC',
    notes               text not null default '',
    is_suggested        integer not null default 0 check (is_suggested in (0, 1)),
    is_simulated        integer not null default 0 check (is_simulated in (0, 1)),
    created_at          text not null,
    changed_at          text not null,
    check ((latitude is null) = (longitude is null)),
    check (ended_at >= started_at)
) strict;
create index sessions_started_at on sessions (started_at, ended_at);

create table session_bodies (
    session_id integer not null references sessions (id) on delete cascade,
    body_id    integer not null references bodies (id) on delete restrict,
    primary key (session_id, body_id)
) strict, without rowid;

create table session_lenses (
    session_id integer not null references sessions (id) on delete cascade,
    lens_id    integer not null references lenses (id) on delete restrict,
    primary key (session_id, lens_id)
) strict, without rowid;

create virtual table sessions_fts using fts5 (
    intent, light, place, notes, content='sessions', content_rowid='id', tokenize='porter unicode61 remove_diacritics 2'
);
create trigger sessions_fts_insert after insert on sessions begin
    insert into sessions_fts (rowid, intent, light, place, notes)
    values (new.id, new.intent, new.light, new.place, new.notes);
end;
create trigger sessions_fts_delete after delete on sessions begin
    insert into sessions_fts (sessions_fts, rowid, intent, light, place, notes)
    values ('delete', old.id, old.intent, old.light, old.place, old.notes);
end;
create trigger sessions_fts_update after update on sessions begin
    insert into sessions_fts (sessions_fts, rowid, intent, light, place, notes)
    values ('delete', old.id, old.intent, old.light, old.place, old.notes);
    insert into sessions_fts (rowid, intent, light, place, notes)
    values (new.id, new.intent, new.light, new.place, new.notes);
end;

create table imports (
    id         integer primary key,
    started_at text not null,
    ended_at   text,
    state      text not null check (state in ('open', 'done')),
    paths      text not null,
    n_frames   integer not null default 0,
    n_files    integer not null default 0,
    n_problems integer not null default 0
) strict;

create table problems (
    id        integer primary key,
    import_id integer not null references imports (id) on delete cascade,
    path      text not null,
    problem   text not null,
    next_step text not null
) strict;
create index problems_import on problems (import_id);

create table bursts (
    id         integer primary key,
    session_id integer references sessions (id) on delete set null,
    body_id    integer references bodies (id) on delete set null,
    started_at text,
    n_frames   integer not null default 0
) strict;
create index bursts_session on bursts (session_id);

create table frames (
    id                       integer primary key,
    frame_key                text not null unique,
    session_id               integer references sessions (id) on delete set null,
    burst_id                 integer references bursts (id) on delete set null,
    position_in_burst        integer,
    body_id                  integer references bodies (id) on delete restrict,
    lens_id                  integer references lenses (id) on delete restrict,
    import_id                integer references imports (id) on delete set null,
    file_name                text not null,
    taken_at                 text,
    taken_at_local           text,
    utc_offset_min           integer check (utc_offset_min between -1440 and 1440),
    clock_offset_s           integer not null default 0,
    exposure_time_num        integer,
    exposure_time_den        integer check (exposure_time_den > 0),
    exposure_time_s          real check (exposure_time_s > 0),
    exposure_time_source     text check (exposure_time_source in ('exif', 'apex', 'makernote', 'xmp', 'stated')),
    f_number_num             integer,
    f_number_den             integer check (f_number_den > 0),
    f_number                 real check (f_number > 0),
    f_number_source          text check (f_number_source in ('exif', 'apex', 'makernote', 'xmp', 'stated')),
    iso                      integer check (iso > 0),
    iso_source               text check (iso_source in ('exif', 'apex', 'makernote', 'xmp', 'stated')),
    exposure_bias_ev         real,
    exposure_program         integer,
    exposure_mode            integer,
    metering_mode            integer,
    flash                    integer,
    white_balance            integer,
    focal_length_mm          real check (focal_length_mm > 0),
    focal_length_source      text check (focal_length_source in ('exif', 'xmp', 'stated')),
    focal_length_35mm        real check (focal_length_35mm > 0),
    focal_length_35mm_source text check (focal_length_35mm_source in ('exif', 'focal_plane', 'sensor', 'stated')),
    subject_distance_m       real check (subject_distance_m > 0),
    subject_distance_source  text check (subject_distance_source in ('exif', 'makernote', 'stated')),
    camera_support           text check (camera_support in ({among(SUPPORTS)})),
    is_stabilised            integer check (is_stabilised in (0, 1)),
    drive_mode               text,
    shutter_count            integer,
    orientation              integer check (orientation between 1 and 8),
    width_px                 integer check (width_px > 0),
    height_px                integer check (height_px > 0),
    latitude                 real check (latitude between -90 and 90),
    longitude                real check (longitude between -180 and 180),
    image_unique_id          text,
    rating                   real,
    label                    text,
    keywords                 text,
    ev100                    real,
    stops_below_rule         real,
    tv6                      integer,
    av6                      integer,
    sv6                      integer,
    ev100_third              integer,
    stops_below_rule_third   integer,
    derived_version          integer not null default 0,
    verdict                  text not null default 'unjudged' check (verdict in ('keeper', 'reject', 'unjudged')),
    is_simulated             integer not null default 0 check (is_simulated in (0, 1))
) strict;
create index frames_session on frames (session_id, verdict);
create index frames_taken on frames (body_id, taken_at);
create index frames_burst on frames (burst_id, tv6, av6, sv6);

create table files (
    id          integer primary key,
    frame_id    integer not null references frames (id) on delete cascade,
    path        text not null unique,
    file_name   text not null,
    kind        text not null,
    size_bytes  integer not null check (size_bytes >= 0),
    mtime_ns    integer not null,
    content_key text not null
) strict;
create index files_frame on files (frame_id);
create index files_content on files (content_key);

create table previews (
    frame_id integer primary key references frames (id) on delete cascade,
    webp     blob not null
) strict;

create table verdicts (
    id         integer primary key,
    frame_id   integer not null references frames (id) on delete cascade,
    verdict    text not null check (verdict in ('keeper', 'reject', 'unjudged')),
    judged_at  text not null,
    judged_by  text not null,
    source     text not null check (source in ('command line', 'xmp', 'finals', 'csv', 'page', 'simulated'))
) strict;
create index verdicts_frame on verdicts (frame_id, id);

create table verdict_faults (
    verdict_id integer not null references verdicts (id) on delete cascade,
    fault      text not null check (fault in ({among(FAULTS)})),
    primary key (verdict_id, fault)
) strict, without rowid;

create table frame_faults (
    frame_id integer not null references frames (id) on delete cascade,
    fault    text not null check (fault in ({among(FAULTS)})),
    primary key (frame_id, fault)
) strict, without rowid;

create table cells (
    session_id      integer not null references sessions (id) on delete cascade,
    burst_id        integer not null references bursts (id) on delete cascade,
    tv6             integer,
    av6             integer,
    sv6             integer,
    n_frames        integer not null,
    n_judged        integer not null,
    n_keepers       integer not null,
    n_exposure      integer not null,
    n_focus         integer not null,
    n_shake         integer not null,
    n_motion        integer not null,
    n_noise         integer not null,
    y_exposure      integer not null,
    y_focus         integer not null,
    y_shake         integer not null,
    y_motion        integer not null,
    y_noise         integer not null,
    only_exposure   integer not null,
    only_focus      integer not null,
    only_shake      integer not null,
    only_motion     integer not null,
    only_noise      integer not null
) strict;
create index cells_session on cells (session_id);
create index cells_burst on cells (burst_id);

create table setting_counts (
    setting    text not null,
    session_id integer not null references sessions (id) on delete cascade,
    burst_id   integer not null references bursts (id) on delete cascade,
    key        text,
    sort_key   real,
    n_frames   integer not null,
    n_judged   integer not null,
    n_keepers  integer not null
) strict;
create index setting_counts_setting on setting_counts (setting, session_id);
create index setting_counts_session on setting_counts (session_id);
create index setting_counts_burst on setting_counts (burst_id);

create table session_summaries (
    session_id  integer primary key references sessions (id) on delete cascade,
    n_frames    integer not null,
    n_bursts    integer not null,
    n_judged    integer not null,
    n_keepers   integer not null,
    n_rejects   integer not null,
    commonest_fault text,
    n_commonest_fault integer not null default 0
) strict;

create table settings (
    name  text primary key,
    value text not null
) strict;
"""

#: What was stated beside the settings, what pictures measure, what is suggested, which verdicts were given at one go,
#: and what was advised. A suggestion is never a verdict; `measures`, `probabilities` and `evidence` are JSON.
MEASURES_AND_ADVICE = f"""
alter table sessions add column is_backlit integer check (is_backlit in (0, 1));
alter table sessions add column subject_depth_m real check (subject_depth_m > 0);
alter table sessions add column subject_distance_m real check (subject_distance_m > 0);

create table measurements (
    frame_id        integer primary key references frames (id) on delete cascade,
    measure_version integer not null,
    source          text not null check (source in ('picture', 'embedded preview')),
    content_key     text not null,
    measured_at     text not null,
    measures        text not null
) strict;

create table suggestions (
    frame_id      integer primary key references frames (id) on delete cascade,
    model_version text not null,
    fault         text check (fault in ({among(FAULTS)})),
    probability   real check (probability between 0 and 1),
    is_unsure     integer not null check (is_unsure in (0, 1)),
    probabilities text not null,
    evidence      text not null,
    suggested_at  text not null
) strict;
create index suggestions_probability on suggestions (probability);

create table judgings (
    id           integer primary key,
    made_at      text not null,
    judged_by    text not null,
    description  text not null,
    taken_back_at text
) strict;
alter table verdicts add column judging_id integer references judgings (id) on delete set null;
create index verdicts_judging on verdicts (judging_id);

create table advice (
    id                 integer primary key,
    habit              text not null,
    advice             text not null,
    given_at           text not null,
    evidence_from      text,
    evidence_until     text,
    ended_at           text,
    is_simulated       integer not null default 0 check (is_simulated in (0, 1))
) strict;
create index advice_given_at on advice (given_at);
"""
