"""Frames with faults whose size is known: scene light, lens, hands, subject, electrons, mosaic, development, JPEG.

Blur happens in linear light, noise in electrons, everything else as a camera does it. The scenes are rendered, or
photographs from a folder that `THIRDSTOP_FRAMES` (or `../shared/frames` beside the checkout) names; nothing here
needs the photographs.
"""
