"""Our pages as a plugin of an embedded Datasette. Every line that depends on its version (0.65) is in this module."""

from __future__ import annotations

import json
import secrets
import sqlite3
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs

from datasette import hookimpl
from datasette.app import Datasette
from datasette.database import Database
from datasette.plugins import pm
from datasette.utils.asgi import Response

from analytics.dashboards.reckoning import FORMS
from analytics.dashboards.templating import TEMPLATES, environment
from analytics.pages.keepers_page import KeepersPage
from analytics.pages.limit_words import HEADINGS, WHICH_FRAMES
from analytics.pages.mentor import for_mentor
from analytics.pages.waiting import CountingError
from journal.errors import JournalError
from journal.optics.sql_functions import register
from journal.records.mentors import Place
from journal.schema.ddl import FAULTS, PACES, PRIORITIES, SUPPORTS
from journal.schema.reading import connect_read_only

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.dashboards.again import Again
    from analytics.dashboards.counted import Counted
    from analytics.dashboards.desk import Desk
    from analytics.dashboards.estimates import Estimates
    from analytics.dashboards.kept import Kept
    from analytics.dashboards.reading import Reader

#: Where Datasette shows the tables.
NAME = "journal"
SETTINGS = {"allow_download": False, "suggest_facets": False, "sql_time_limit_ms": 3000, "default_page_size": 50}
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

    def __init__(self, path: Path, sources: Sources, assets: dict[str, str]) -> None:
        self.__name__ = f"thirdstop-pages-{id(self)}"
        self.reader, self.estimates, self.desk, self.assets = sources.reader, sources.estimates, sources.desk, assets
        self.again, self.counted = sources.again, sources.counted
        #: The port of the page that shows this journal beside others.
        self.front_port: int | None = None
        self._written: OrderedDict[tuple[str, str, bool], tuple[object, int, str]] = OrderedDict()
        #: Ours need nothing of Datasette's, whose own rendering awaits every value and takes twice as long.
        self._templates = environment(auto_reload=False)
        metadata = {"title": "The tables", "source": self.reader.simulated or "this journal"}
        self.datasette = Datasette([], settings=SETTINGS, template_dir=str(TEMPLATES), metadata=metadata)
        self.datasette.add_database(JournalDatabase(self.datasette, path=str(path), is_mutable=True), name=NAME)
        pm.register(self, name=self.__name__)

    def close(self) -> None:
        """Takes the plugin out of the registry and closes the file."""
        pm.unregister(self)
        self.datasette.get_database(NAME).close()

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
            page = await self.reader.comments(request.scope["visitor"].mentor)
            return await self._render("thirdstop_comments.html", request, {"page": page})

        async def keepers(request: Any) -> Any:
            return await self._keepers(request)

        async def keepers_json(request: Any) -> Any:
            return await self._keepers_json(request)

        async def chosen_frames(request: Any) -> Any:
            return await self._chosen_frames(request)

        async def side_by_side(request: Any) -> Any:
            if self.front_port is None:
                return await nothing(request)
            return Response.redirect(f"http://{request.host.partition(':')[0]}:{self.front_port}/")

        async def nothing(request: Any) -> Any:
            error = JournalError("There is no page at this address.", "Go on from the links above.")
            return await self._render("thirdstop_problem.html", request, {"error": error}, 404)

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
        if datasette is self.datasette and database == NAME:
            register(conn)
            conn.execute("pragma query_only = 1")
            conn.execute("pragma busy_timeout = 10000")

    @hookimpl  # type: ignore[untyped-decorator]
    def extra_css_urls(self, datasette: Any) -> list[str]:
        """The tables too are dark where the system is dark."""
        return [self.assets["tables_style"]] if datasette is self.datasette else []

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
        page, mentor = int(asked) if asked.isdecimal() and len(asked) < 9 else 0, request.scope["visitor"].mentor
        try:
            kept, talk = await self.reader.session(number, page, mentor)
        except JournalError as error:
            return await self._render("thirdstop_problem.html", request, {"error": error}, 404)
        return await self._kept("thirdstop_session.html", request, kept, {"page": kept.page, "talk": talk})

    async def _estimate(self, request: Any) -> Any:
        name = request.url_vars["name"]
        return await self._counted(name, "habit" if "/" in name else name, request)

    async def _counted(self, name: str, template: str, request: Any, place: Place | None = None) -> Any:
        """A page of numbers; one that was shown before is not written again."""
        try:
            shown = await self.estimates.page(name, parse_qs(request.query_string, keep_blank_values=True))
        except JournalError as error:
            return await self._not_there(request, error)
        visitor, one = request.scope["visitor"], getattr(shown.page, "one", None)
        place = Place("habit", habit=one.line.key) if one is not None else place
        limit_words = {"headings": HEADINGS, "which_frames": WHICH_FRAMES}
        words = {**limit_words, "supports": SUPPORTS, "paces": PACES, "priorities": PRIORITIES}
        context = {"page": shown.page, "is_old": shown.is_old, "here": request.full_path, **words}
        if visitor.mentor is not None:  # what is kept is the photographer's
            return await self._render(f"thirdstop_{template}.html", request, context, place=place)
        where = name, request.query_string if name in FORMS else "", visitor.is_signed_in
        kept = self._written.get(where)
        if kept is None or kept[0] is not shown.page or kept[1] != shown.version:
            response = await self._render(f"thirdstop_{template}.html", request, context, place=place)
            kept = self._written[where] = shown.page, shown.version, response.body
        self._written.move_to_end(where)
        while len(self._written) > MOST_WRITTEN:
            self._written.popitem(last=False)
        return Response.html(kept[2])

    async def _frame(self, request: Any) -> Any:
        number, other = int(request.url_vars["number"]), request.url_vars.get("other")
        mentor = request.scope["visitor"].mentor
        try:
            shown = await self.estimates.frame(number, None if other is None else int(other), mentor)
        except JournalError as error:
            return await self._not_there(request, error)
        found = shown.kept.page
        context = {"page": found.page, "looks": found.looks, "is_old": shown.is_old, "here": request.path}
        return await self._kept("thirdstop_frame.html", request, shown.kept, {**context, "talk": shown.talk})

    async def _not_there(self, request: Any, error: JournalError) -> Any:
        """Why there is no such page, or that it is not there yet and looks again by itself."""
        if isinstance(error, CountingError):
            return await self._render("thirdstop_counting.html", request, {"error": error}, 503)
        return await self._render("thirdstop_problem.html", request, {"error": error}, 404)

    async def _keepers(self, request: Any) -> Any:
        try:
            kept = await self.counted.keepers(request.query_string)
        except JournalError as error:
            return await self._refused(request, error)
        return await self._kept("thirdstop_keepers.html", request, kept, {"page": kept.page})

    async def _keepers_json(self, request: Any) -> Any:
        headers = {"cache-control": "no-store"}
        try:
            if request.scope["visitor"].mentor is not None:  # what is kept is the photographer's
                shown = for_mentor((await self.counted.keepers(request.query_string)).page)
                text = json.dumps(shown.as_json()) if isinstance(shown, KeepersPage) else ""
            else:
                text = await self.counted.keepers_json(request.query_string)
        except JournalError as error:
            told = json.dumps({"problem": error.problem, "next_step": error.next_step})
            return Response(told, status=400, headers=headers, content_type="application/json; charset=utf-8")
        return Response(text, headers=headers, content_type="application/json; charset=utf-8")

    async def _chosen_frames(self, request: Any) -> Any:
        try:
            kept = await self.counted.frames(request.query_string)
        except JournalError as error:
            return await self._refused(request, error)
        return await self._kept("thirdstop_chosen_frames.html", request, kept, {"page": kept.page})

    async def _refused(self, request: Any, error: JournalError) -> Any:
        context = {"error": error, "title": "Not to be counted", "back": "/keepers", "back_to": "keepers"}
        return await self._render("thirdstop_problem.html", request, context, 400)

    async def _kept(self, template: str, request: Any, kept: Kept[Any], context: dict[str, Any]) -> Any:
        """A page that is written once; all that differs between its visitors is named where its texts are kept."""
        visitor = request.scope["visitor"]
        if visitor.mentor is not None:  # what is kept is the photographer's
            return await self._render(template, request, context)
        seen_by = visitor.is_signed_in, context.get("is_old", False)
        if seen_by not in kept.texts:
            kept.texts[seen_by] = (await self._render(template, request, context)).body
        return Response.html(kept.texts[seen_by])

    async def _judging(self, request: Any) -> Any:
        number = request.url_vars.get("number")
        if number is None:
            listed = {"page": await self.desk.sessions(), "again": await self.again.note()}
            return await self._render("thirdstop_to_judge.html", request, listed)
        try:
            page = await self.desk.page(int(number))
        except JournalError as error:
            return await self._render("thirdstop_problem.html", request, {"error": error}, 404)
        context = {"page": page, "journal_id": self.desk.journal_id, "judges_all": request.args.get("all") == "1"}
        return await self._render("thirdstop_judge.html", request, context)

    async def _again(self, request: Any) -> Any:
        page = await self.again.page()
        template = "again" if page.state.kind == "open" else "judged_again"
        context = {"page": page, "journal_id": self.again.journal_id}
        return await self._render(f"thirdstop_{template}.html", request, context)

    async def _render(
        self, template: str, request: Any, context: dict[str, Any], status: int = 200, place: Place | None = None
    ) -> Any:
        visitor = request.scope["visitor"]
        shared = {"visitor": visitor, "assets": self.assets, "tables_url": f"/{NAME}", "faults": FAULTS}
        shared["is_side_by_side"] = self.front_port is not None
        if place is not None:
            shared["talk"] = await self.reader.talk(place, visitor.mentor)
        if visitor.mentor is not None:  # the one place where a page becomes a mentor's
            name = "page" if "page" in context else "error"
            shared |= {"tables_url": None, "form_key": secrets.token_hex(16)}
            try:
                context = {**context, name: for_mentor(context[name])}
            except JournalError as error:
                template, context, status = "thirdstop_problem.html", {"error": error}, 403
        html = self._templates.get_template(template).render({**context, **shared})
        return Response.html(html, status=status)
