"""The routes of our pages, as a Datasette plugin. A view asks `analytics.pages` and fills a template; no rules here."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Any

from datasette import hookimpl
from datasette.utils.asgi import NotFound, Response

from analytics.dashboards.bundle import chart_bundle
from analytics.dataset import OpenJournal
from analytics.pages.notebook import first_page, session_page
from analytics.queries import PREVIEW
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Callable

STATIC = Path(__file__).parent / "static"
TEMPLATES = Path(__file__).parent / "templates"
#: Our static files by name; no other path of the disk can be asked for.
FILES = {"notebook.css": "text/css; charset=utf-8", "notebook.js": "text/javascript; charset=utf-8"}


class NotebookPlugin:
    """Our pages on one journal."""

    __name__ = "thirdstop-notebook"

    def __init__(self, path: Path, database: str) -> None:
        self.path = path
        self.database = database

    @hookimpl  # type: ignore[untyped-decorator]
    def register_routes(self) -> list[tuple[str, Any]]:
        """Our addresses; they come before Datasette's."""
        return [
            (r"^/$", _view(self.first)),
            (r"^/sessions/(?P<number>\d{1,12})$", _view(self.session)),
            (r"^/previews/(?P<number>\d{1,12})$", _view(self.preview)),
            (r"^/notebook/(?P<name>[a-z]+\.(?:css|js))$", _view(self.static)),
        ]

    @hookimpl  # type: ignore[untyped-decorator]
    def prepare_connection(self, conn: Any, database: str) -> None:
        """Connections to the journal know the optics and cannot write; Datasette's own memory is left alone."""
        from journal.optics.sql_functions import register

        if database != self.database:
            return
        conn.execute("pragma query_only = on")
        register(conn)

    async def first(self, datasette: Any, request: Any) -> Any:
        """The first page."""
        page = await asyncio.to_thread(self._ask, first_page)
        return await self._fill(datasette, request, "first.html", page)

    async def session(self, datasette: Any, request: Any) -> Any:
        """The page of a session."""
        number = int(request.url_vars["number"])
        try:
            page = await asyncio.to_thread(self._ask, lambda opened: session_page(opened, number))
        except JournalError as error:
            raise NotFound(error.problem) from error
        return await self._fill(datasette, request, "session.html", page)

    async def preview(self, datasette: Any, request: Any) -> Any:
        """One small picture."""
        where = {"frame_id": int(request.url_vars["number"])}
        rows = await asyncio.to_thread(self._ask, lambda opened: opened.rows(PREVIEW, where))
        if not rows:
            raise NotFound("This frame has no preview.")
        return Response(rows[0]["webp"], content_type="image/webp")

    async def static(self, datasette: Any, request: Any) -> Any:
        """A style or script of ours, or the chart library."""
        name = request.url_vars["name"]
        path = await asyncio.to_thread(chart_bundle) if name == "charts.js" else STATIC / name
        if name != "charts.js" and name not in FILES:
            raise NotFound("There is no such file.")
        text = await asyncio.to_thread(path.read_text, encoding="utf-8")
        return Response(text, content_type=FILES.get(name, "text/javascript; charset=utf-8"))

    def _ask(self, question: Callable[[OpenJournal], Any]) -> Any:
        opened = OpenJournal(self.path)
        try:
            return question(opened)
        finally:
            opened.close()

    async def _fill(self, datasette: Any, request: Any, template: str, page: Any) -> Any:
        context = {"page": page, "tables": datasette.urls.database(self.database)}
        return Response.html(await datasette.render_template(f"notebook/{template}", context, request=request))


def _view(method: Any) -> Any:
    """A plain function for the router, which newer Datasettes insist on."""

    async def view(datasette: Any, request: Any) -> Any:
        return await method(datasette, request)

    return view
