"""Our pages as a plugin of an embedded Datasette. Every line that depends on its version (0.65) is in this module."""

from __future__ import annotations

import json
import sqlite3
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast
from urllib.parse import parse_qs

from datasette import hookimpl
from datasette.app import Datasette
from datasette.database import Database
from datasette.plugins import pm
from datasette.utils.asgi import Response

from analytics.dashboards.counted import data_of
from analytics.dashboards.reckoning import FORMS
from analytics.dashboards.scribe import CommentsAsked, CountedLimits, FrameAsked, NumbersAsked, SessionAsked
from analytics.dashboards.templating import TEMPLATES
from analytics.dashboards.writing import TABLES
from analytics.pages.keepers_page import KeepersPage
from analytics.pages.mentor import for_mentor
from analytics.pages.waiting import CountingError
from journal.errors import JournalError
from journal.optics.sql_functions import register
from journal.records.mentors import Place
from journal.schema.reading import connect_read_only

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from analytics.dashboards.again import Again
    from analytics.dashboards.counted import Counted
    from analytics.dashboards.desk import Desk
    from analytics.dashboards.estimates import Estimates
    from analytics.dashboards.kept import Kept
    from analytics.dashboards.reading import Reader
    from analytics.dashboards.scribe import Asked
    from analytics.dashboards.writing import Writer, Written
    from analytics.explaining import Limits
    from analytics.pages.chosen_frames import FramesPage
    from analytics.pages.judge import JudgePage

SETTINGS = {"allow_download": False, "suggest_facets": False, "sql_time_limit_ms": 3000, "default_page_size": 50}
OK = 200
#: What is asked for is not there yet, and is being made; a browser takes an error of the server for a fault.
ACCEPTED = 202
#: Pages of estimates, and answers to forms, whose texts are kept.
MOST_WRITTEN = 60
#: A table's page is shown without its count of rows where counting takes longer than this [ms].
COUNT_MS = 100

# Its handler prints every local variable of a failed request, cookies included, when rich is installed. The module is
# taken from the registry: imported before `datasette.plugins`, it would be registered half made and answer no error.
pm.get_plugin("datasette.handle_exception").rich = None


class JournalDatabase(Database):  # type: ignore[misc]
    """The journal's file, opened read-only under any name, a question mark in it included."""

    def connect(self, write: bool = False) -> sqlite3.Connection:
        if write:
            raise JournalError("The journal cannot be changed here.", "Use the commands of thirdstop.")
        connection = connect_read_only(self.path, check_same_thread=False)
        self._all_file_connections.append(connection)
        return connection

    async def execute(self, sql: str, *arguments: Any, **options: Any) -> Any:
        """Runs a query; one that only counts the rows of a page is given up early, for the page does without."""
        if sql.startswith("select count(*) "):
            options["custom_time_limit"] = min(options.get("custom_time_limit") or COUNT_MS, COUNT_MS)
        return await super().execute(sql, *arguments, **options)


@dataclass(frozen=True, slots=True)
class Sources:
    """Where the pages come from."""

    reader: Reader
    estimates: Estimates
    desk: Desk
    again: Again
    counted: Counted


class Pages:
    """The plugin of one journal; the registry is global, so it answers for its own Datasette only."""

    def __init__(self, path: Path, sources: Sources, writer: Writer) -> None:
        self.__name__ = f"thirdstop-pages-{id(self)}"
        self.reader, self.estimates, self.desk = sources.reader, sources.estimates, sources.desk
        self.again, self.counted, self.writer = sources.again, sources.counted, writer
        self._texts: OrderedDict[tuple[str, str, bool], tuple[object, int, Written]] = OrderedDict()
        metadata = {"title": "The tables", "source": self.reader.simulated or "this journal"}
        self.datasette = Datasette([], settings=SETTINGS, template_dir=str(TEMPLATES), metadata=metadata)
        self.datasette.add_database(JournalDatabase(self.datasette, path=str(path), is_mutable=True), name=TABLES)
        pm.register(self, name=self.__name__)

    def close(self) -> None:
        """Takes the plugin out of the registry and closes the file."""
        pm.unregister(self)
        self.datasette.get_database(TABLES).close()

    @hookimpl  # type: ignore[untyped-decorator]
    def register_routes(self, datasette: Any) -> list[tuple[str, Callable[..., Any]]]:
        """Our own pages, before Datasette's."""
        if datasette is not self.datasette:
            return []

        async def first(request: Any) -> Any:
            return await self._first(request)

        async def session(request: Any) -> Any:
            return await self._session(request)

        async def estimate(request: Any) -> Any:
            return await self._estimate(request)

        async def frame(request: Any) -> Any:
            return await self._frame(request)

        async def judging(request: Any) -> Any:
            return await self._judging(request)

        async def again(request: Any) -> Any:
            return await self._again(request)

        async def comments(request: Any) -> Any:
            return await self._written(CommentsAsked(request.scope["visitor"]), request)

        async def keepers(request: Any) -> Any:
            return await self._keepers(request)

        async def keepers_json(request: Any) -> Any:
            return await self._keepers_json(request)

        async def chosen_frames(request: Any) -> Any:
            return await self._chosen_frames(request)

        async def side_by_side(request: Any) -> Any:
            if self.writer.front_port is None:
                return await nothing(request)
            return Response.redirect(f"http://{request.host.partition(':')[0]}:{self.writer.front_port}/")

        async def nothing(request: Any) -> Any:
            error = JournalError("There is no page at this address.", "Go on from the links above.")
            return self._problem(request, error, 404)

        return [
            (r"^/$", first),
            (r"^/judge/again$", again),
            (r"^/judge(?:/(?P<number>\d{1,18}))?$", judging),
            (r"^/keepers$", keepers),
            (r"^/keepers\.json$", keepers_json),
            (r"^/frames$", chosen_frames),
            (r"^/sessions/(?P<number>\d{1,18})$", session),
            (r"^/frames/(?P<number>\d{1,18})(?:/(?P<other>\d{1,18}))?$", frame),
            (r"^/(?P<name>standing|limits|progress|advice|plan|series|habits(?:/[a-z_-]{1,40})?)$", estimate),
            (r"^/comments$", comments),
            (r"^/side-by-side$", side_by_side),
            (r"^/(?!journal(?:[/.]|$)|-/|favicon\.ico$).*$", nothing),
        ]

    @hookimpl  # type: ignore[untyped-decorator]
    def prepare_connection(self, conn: sqlite3.Connection, database: str, datasette: Any) -> None:
        """Nothing that is typed into the page may write, and a busy writer is waited for; SQL knows the optics."""
        if datasette is self.datasette and database == TABLES:
            register(conn)
            conn.execute("pragma query_only = 1")
            conn.execute("pragma busy_timeout = 10000")

    @hookimpl  # type: ignore[untyped-decorator]
    def extra_css_urls(self, datasette: Any) -> list[str]:
        """The tables too are dark where the system is dark."""
        return [self.writer.assets["tables_style"]] if datasette is self.datasette else []

    @hookimpl(tryfirst=True)  # type: ignore[untyped-decorator]
    def permission_allowed(self, datasette: Any, actor: Any) -> bool | None:
        """Only the photographer sees tables, should the guard ever be left out."""
        is_in = actor is not None and actor["id"] == "photographer"
        return False if datasette is self.datasette and not is_in else None

    @hookimpl  # type: ignore[untyped-decorator]
    def menu_links(self, datasette: Any) -> list[dict[str, str]]:
        """The way back from a table to the first page."""
        return [{"href": "/", "label": "Journal"}] if datasette is self.datasette else []

    async def _first(self, request: Any) -> Any:
        return await self._counted("journal", "dashboard", request, Place("whole"))

    async def _session(self, request: Any) -> Any:
        number, asked = int(request.url_vars["number"]), request.args.get("page") or "1"
        page, visitor = int(asked) if asked.isdecimal() and len(asked) < 9 else 0, request.scope["visitor"]
        return await self._written(SessionAsked(visitor, number, page), request)

    async def _estimate(self, request: Any) -> Any:
        name = request.url_vars["name"]
        return await self._counted(name, "habit" if "/" in name else name, request)

    async def _counted(self, name: str, template: str, request: Any, place: Place | None = None) -> Any:
        """A page of numbers; one that was shown before is not written again."""
        try:
            shown = await self.estimates.page(name, parse_qs(request.query_string, keep_blank_values=True))
        except JournalError as error:
            return self._not_there(request, error)
        visitor, one = request.scope["visitor"], getattr(shown.page, "one", None)
        place = Place("habit", habit=one.line.key) if one is not None else place
        context = {"page": shown.page, "is_old": shown.is_old, "here": request.full_path}
        asked = NumbersAsked(visitor, template, context, place)
        if visitor.mentor is not None:  # what is kept is the photographer's
            return await self._written(asked, request)
        where = name, request.query_string if name in FORMS else "", visitor.is_signed_in
        kept = self._texts.get(where)
        if kept is None or kept[0] is not shown.page or kept[1] != shown.version:
            try:
                written = await self.reader.written(asked)
            except JournalError as error:
                return self._problem(request, error, 503)
            if written.status != OK:
                return _answer(written)
            kept = self._texts[where] = shown.page, shown.version, written
        self._texts.move_to_end(where)
        while len(self._texts) > MOST_WRITTEN:
            self._texts.popitem(last=False)
        return _answer(kept[2])

    async def _frame(self, request: Any) -> Any:
        number, other = int(request.url_vars["number"]), request.url_vars.get("other")
        try:
            limits = await self.estimates.limits()
        except JournalError as error:
            return self._not_there(request, error)
        numbers = number, None if other is None else int(other)
        own = CountedLimits(cast("Limits", limits.page), limits.is_old)
        return await self._written(FrameAsked(request.scope["visitor"], *numbers, own, request.path), request)

    async def _written(self, asked: Asked, request: Any) -> Any:
        try:
            return _answer(await self.reader.written(asked))
        except JournalError as error:
            return self._problem(request, error, 503)

    async def _keepers(self, request: Any) -> Any:
        return await self._choosing("keepers", self.counted.keepers, request)

    async def _chosen_frames(self, request: Any) -> Any:
        return await self._choosing("chosen_frames", self.counted.frames, request)

    async def _choosing(self, template: str, found: Callable[..., Awaitable[Written]], request: Any) -> Any:
        def write(kept: Kept[KeepersPage | FramesPage]) -> Written:
            return self.writer.kept(template, request.scope["visitor"], kept, {"page": kept.page})

        try:
            return _answer(await found(request.query_string, write))
        except JournalError as error:
            context = {"error": error, "title": "Not to be counted", "back": "/keepers", "back_to": "keepers"}
            return _answer(self.writer.written("problem", request.scope["visitor"], context, 400))

    async def _keepers_json(self, request: Any) -> Any:
        headers = {"cache-control": "no-store"}

        def write(kept: Kept[KeepersPage | FramesPage]) -> str:
            if request.scope["visitor"].mentor is None:
                return data_of(kept)
            shown = for_mentor(kept.page)  # what is kept is the photographer's
            return json.dumps(shown.as_json()) if isinstance(shown, KeepersPage) else ""

        try:
            text = await self.counted.keepers(request.query_string, write)
        except JournalError as error:
            told = json.dumps({"problem": error.problem, "next_step": error.next_step})
            return Response(told, status=400, headers=headers, content_type="application/json; charset=utf-8")
        return Response(text, headers=headers, content_type="application/json; charset=utf-8")

    async def _judging(self, request: Any) -> Any:
        number, visitor = request.url_vars.get("number"), request.scope["visitor"]
        if number is None:
            listed = {"page": await self.desk.sessions(), "again": await self.again.note()}
            return _answer(self.writer.written("to_judge", visitor, listed))
        context = {"journal_id": self.desk.journal_id, "judges_all": request.args.get("all") == "1"}

        def write(page: JudgePage) -> Written:
            return self.writer.written("judge", visitor, {"page": page, **context})

        try:
            return _answer(await self.desk.page(int(number), write))
        except JournalError as error:
            return self._problem(request, error, 404)

    async def _again(self, request: Any) -> Any:
        page = await self.again.page()
        template = "again" if page.state.kind == "open" else "judged_again"
        context = {"page": page, "journal_id": self.again.journal_id}
        return _answer(self.writer.written(template, request.scope["visitor"], context))

    def _not_there(self, request: Any, error: JournalError) -> Any:
        """Why there is no such page, or that it is not there yet and looks again by itself."""
        if isinstance(error, CountingError):
            return _answer(self.writer.written("counting", request.scope["visitor"], {"error": error}, ACCEPTED))
        return self._problem(request, error, 404)

    def _problem(self, request: Any, error: JournalError, status: int) -> Any:
        return _answer(self.writer.written("problem", request.scope["visitor"], {"error": error}, status))


def _answer(written: Written) -> Any:
    return Response.html(written.text, status=written.status)
