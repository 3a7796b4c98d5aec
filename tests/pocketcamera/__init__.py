"""Frames with known faults, made from photographs as a photographer of rooms, evenings and nights would take them.

`stories` draws what a frame is to be and settings that such a frame has: a photographer with some body and lens
(`bodies`) chooses settings in some light (`photographer`), and `outcomes` keeps those that are likely to end in the
kind that is wanted. A sharp part of a photograph (`sources`) gets a subject (`subjects`) and becomes light (`tones`,
`layers`); focus, movement and hand happen in light (`blurs`, `rendering`); lens, sensor (`sensor`) and development
(`development`) follow. `making` puts a frame together, `series` keeps many of them.

This package measures nothing: it makes frames and says what is wrong with them.
"""
