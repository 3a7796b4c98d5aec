"""Photographs degraded by another camera than that of `degraded`: nothing here shares code, constants or photographs
with it, so that what was fitted on one can be tried on the other.

A source becomes scene-linear light (`sources`), gets a subject (`subjects`), is taken with settings that belong
together (`shots`) through a lens by an unsteady hand (`blurs`) onto a sensor and developed into a JPEG (`sensor`).
Which faults a frame has is read from what physics did to it (`frames`), and `scoring` counts how often they were found.
"""
