"""The text of a page for whoever asks: the photographer, or a mentor, who sees less.

A text is written in the thread that read what it tells of. Two threads of one interpreter that both have work to do
only wait for each other: with texts written in the server's own thread, a page took twice as long when many asked.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.dashboards.templating import environment
from analytics.pages.mentor import for_mentor
from journal.errors import JournalError
from journal.schema.ddl import FAULTS

if TYPE_CHECKING:
    from analytics.dashboards.kept import Kept
    from analytics.dashboards.visitors import Visitor


#: Where Datasette shows the tables.
TABLES = "journal"


@dataclass(frozen=True, slots=True)
class Written:
    """A page's text and its HTTP status."""

    text: str
    status: int = 200


class Writer:
    """Writes the pages of one journal; from any thread."""

    def __init__(self, assets: dict[str, str], front_port: int | None) -> None:
        """
        Args:
            assets: the paths of our files by name.
            front_port: of the page that shows this journal beside others, where there is one.
        """
        self.assets, self.front_port = assets, front_port
        #: Ours need nothing of Datasette's, whose own rendering awaits every value and takes twice as long.
        self._templates = environment(auto_reload=False)

    def __reduce__(self) -> tuple[type[Writer], tuple[dict[str, str], int | None]]:
        """Another process has templates of its own."""
        return Writer, (self.assets, self.front_port)

    def written(self, template: str, visitor: Visitor, context: dict[str, Any], status: int = 200) -> Written:
        """A page by the name of its template, `page` or `error` in its context being what it shows."""
        shared = {"visitor": visitor, "assets": self.assets, "tables_url": f"/{TABLES}", "faults": FAULTS}
        shared["is_side_by_side"] = self.front_port is not None
        if visitor.mentor is not None:  # the one place where a page becomes a mentor's
            name = "page" if "page" in context else "error"
            shared |= {"tables_url": None, "form_key": secrets.token_hex(16)}
            try:
                context = {**context, name: for_mentor(context[name])}
            except JournalError as error:
                template, context, status = "problem", {"error": error}, 403
        return Written(self._templates.get_template(f"thirdstop_{template}.html").render({**context, **shared}), status)

    def kept(self, template: str, visitor: Visitor, kept: Kept[Any], context: dict[str, Any]) -> Written:
        """A page that is written once; all that differs between its visitors is named where its texts are kept."""
        if visitor.mentor is not None:  # what is kept is the photographer's
            return self.written(template, visitor, context)
        seen_by = visitor.is_signed_in, context.get("is_old", False)
        if seen_by not in kept.texts:
            kept.texts[seen_by] = self.written(template, visitor, context).text
        return Written(kept.texts[seen_by])
