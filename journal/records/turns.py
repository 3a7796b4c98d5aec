"""How a stored picture is turned to stand upright, and what that does to a direction in it."""

from __future__ import annotations

#: Orientation -> whether the stored picture is mirrored, left for right, and then by how many quarter turns to the
#: right it stands upright. Source: CIPA DC-008 (Exif), tag Orientation.
TURNS = {
    1: (False, 0),
    2: (True, 0),
    3: (False, 2),
    4: (True, 2),
    5: (True, 3),
    6: (False, 1),
    7: (True, 1),
    8: (False, 3),
}


def upright_deg(direction_deg: float, orientation: int | None) -> float:
    """A direction of the stored picture as it lies in the upright one, clockwise from level.

    Args:
        direction_deg: of a line, clockwise from level in the stored picture [degrees].
        orientation: Exif's Orientation, 1 to 8; another, or none, stands for upright.

    Returns:
        In 0..180, without 180 [degrees].

    Source: a mirror turns a direction round, a quarter turn adds 90 degrees.
    """
    is_mirrored, quarter_turns = TURNS.get(orientation or 1, (False, 0))
    return ((-direction_deg if is_mirrored else direction_deg) + 90 * quarter_turns) % 180
