"""Frames with known faults, made from real photographs by a physical model of camera, lens and hand.

A good photograph is taken back to scene radiance (`radiance`). A photographer takes it with some camera
(`photographer`); what the lens, the hand and the subject do to the picture happens in linear light (`lens`,
`rendering`), what the sensor and the camera's processing do follows (`sensor`, `development`). `planning` draws frames
until one has the fault that is wanted, so the settings belong to the fault by physics and not by a label. `making` puts
the frame together.

This package judges nothing and measures nothing: it only makes frames and says what is wrong with them.
"""
