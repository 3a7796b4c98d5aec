"""Pictures are measured in worker processes, so that a broken or hostile one ends its worker and nothing else.

`examine_pictures` takes frames and the name of a measure function, and yields what was found of each, or a `Problem`.
It knows no journal: which frames to examine and where the findings go is its caller's to say.
"""

from __future__ import annotations

from analytics.examining.pool import examine_pictures

__all__ = ["examine_pictures"]
