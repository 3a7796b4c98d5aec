"""A simulated year of one photographer on a tidal river, to try everything on before there is a journal of one's own.

`scenario` says who, where, with what, and which limits and habits are planted; `career` draws the frames from a seed;
`rendering` makes small pictures with exposure, focus, shake, motion and noise really in the pixels; `building` puts
them through the importer and adds the rest as records. Nothing here is a real person, place, make or model.
"""
