"""The templates of our pages, and what is done to the tables of all of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader

from analytics.charts.stacking import stacking
from analytics.dashboards.small_pictures import small_pictures
from analytics.pages.commands import command, told
from analytics.pages.limit_words import COUNTED_BY, HEADINGS, REFERENCE, WHICH_FRAMES
from journal.notation import with_minus
from journal.schema.ddl import PACES, PRIORITIES, SUPPORTS

TEMPLATES = Path(__file__).parent / "templates"


class Templates(Environment):
    """Jinja's, which looks for `row.name` of a dictionary among its methods first: slow where rows are many."""

    def getattr(self, obj: Any, attribute: str) -> Any:
        """`obj.attribute` in a template."""
        if type(obj) is dict and attribute in obj:
            return obj[attribute]
        return super().getattr(obj, attribute)


def environment(**options: Any) -> Templates:
    """Our templates."""
    made = Templates(loader=FileSystemLoader(TEMPLATES), autoescape=True, **options)
    made.filters.update(stacking=stacking, command=command, told=told, signed=with_minus)
    made.globals.update(small_pictures=small_pictures, headings=HEADINGS, which_frames=WHICH_FRAMES)
    made.globals.update(reference=REFERENCE, counted_by=COUNTED_BY)
    made.globals.update(supports=SUPPORTS, paces=PACES, priorities=PRIORITIES)
    return made
