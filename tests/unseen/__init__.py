"""Photographs degraded by a camera of its own: nothing here shares code, constants or sources with the pictures that
the product's model was fitted on.

A source becomes scene-linear light (`sources`), gets a subject (`subjects`), is taken with settings that belong
together (`shots`) through a lens by an unsteady hand (`blurs`) onto a sensor and developed into a JPEG (`sensor`).
Which faults a frame has is read from what physics did to it (`frames`), and `scoring` counts how often they were found.
"""
