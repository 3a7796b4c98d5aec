"""Results -> what to do next time: starting settings for an outing, and a test series that finds a limit properly.

Everything is said within this photographer's own limits, or the usual ones where theirs are not known yet, and which of
the two it is stands beside each. Cautions come with the choice they are about.
"""
