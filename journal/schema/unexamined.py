"""Why the picture of a frame could not be examined, so that whoever asks about the frame is told."""

from __future__ import annotations

#: The step. A frame has a line here only until its picture is examined; the sentence names no file and no folder, for
#: pages that are shared show it as well.
UNEXAMINED = """
create table unexamined (
    frame_id integer primary key references frames (id) on delete cascade,
    problem  text not null,
    tried_at text not null
) strict;
"""
