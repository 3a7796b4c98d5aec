"""One frame explained: exposure, depth, blur, noise, what would have fixed it, how near the photographer's limits.

What a newcomer must know first: everything here follows from `FrameFacts`, the facts of one frame with unknown ones as
`None`, and from the photographer's own limits, which are handed in. A number that stands on an assumption says so in
its `basis`; a number whose ground is missing stays `None` and the basis says what is missing. No distance, pace or
support is ever guessed. Nothing here reads files, asks the journal, prints or judges: a suggestion stays a suggestion.
"""

from __future__ import annotations

from analytics.explaining.comparing import Comparison, compare
from analytics.explaining.explanation import Explanation, explain
from analytics.explaining.facts import FrameFacts, facts_of_row
from analytics.explaining.own_limits import Limits, OwnLimit

__all__ = ["Comparison", "Explanation", "FrameFacts", "Limits", "OwnLimit", "compare", "explain", "facts_of_row"]
