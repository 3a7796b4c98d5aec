"""Frozen records that travel between the floors; they hold facts and do nothing."""
