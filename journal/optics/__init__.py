"""Exposure, depth of field, hand-holding and motion blur: pure arithmetic, one name, one unit, one source each."""
