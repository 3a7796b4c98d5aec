"""Indexes for what every frame's page asks: how far its body and its lens were ever set."""

from __future__ import annotations

#: The step. Each is read at one end only, so the look-up takes as long in a million frames as in a hundred.
LOOK_UPS = """
create index frames_body_iso on frames (body_id, iso);
create index frames_lens_f_number on frames (lens_id, f_number, focal_length_mm);
"""
