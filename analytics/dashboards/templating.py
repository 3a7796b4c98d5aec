"""The templates of our pages, and what is done to the tables of all of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader

from analytics.charts.stacking import stacking
from analytics.pages.commands import command, told

TEMPLATES = Path(__file__).parent / "templates"


def environment(**options: Any) -> Environment:
    """Our templates."""
    made = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, **options)
    made.filters.update(stacking=stacking, command=command, told=told)
    return made
