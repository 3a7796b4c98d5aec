"""Several journals in one server: one page for all of them, and each behind a port and a cookie of its own.

Each journal has the whole application that it has alone; only its port tells them apart, so no path of one leads to
another, and no verdict can go astray. The link of the run opens all of them at once.
"""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING

from analytics.dashboards.answering import header, respond
from analytics.dashboards.entrance import HTML, NOT_KEPT, Entrance
from analytics.dashboards.templating import environment
from analytics.pages.learners import MOST_LEARNERS, Learner, learners_page
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from analytics.dashboards.answering import Application, Message, Receive, Send
    from analytics.dashboards.guard import Asset, Guard, Keys
    from analytics.dashboards.reach import Reach

    Assets = tuple[dict[str, Asset], dict[str, str]]

KEPT = b"private, max-age=86400, immutable"
#: All learners are shown together, so the page waits for the last of them [s].
AS_LONG_AS_IT_TAKES = 3600.0


def names_of(paths: Sequence[Path]) -> list[str]:
    """What each journal is called: by its file, and by its folder too where two files are called the same.

    Raises:
        JournalError: one is named twice, or there are too many.
    """
    if len({path.resolve() for path in paths}) < len(paths):
        raise JournalError("A journal is named twice.", "Name each once: thirdstop serve a.journal b.journal")
    if len(paths) > MOST_LEARNERS:
        raise JournalError(f"{len(paths)} journals are too many.", f"Show at most {MOST_LEARNERS} side by side.")
    stems = [path.stem for path in paths]
    return [
        stem if stems.count(stem) == 1 else f"{path.resolve().parent.name}/{stem}"
        for stem, path in zip(stems, paths, strict=True)
    ]


class Front:
    """The page for all journals; everything else is on their own ports."""

    def __init__(self, guards: Mapping[str, Guard], reach: Reach, keys: Keys, assets: Assets) -> None:
        self.guards, self.reach, self.files, self.paths = guards, reach, assets[0], assets[1]
        self.entrance = Entrance(reach, keys, None, self.paths["style"])
        self.entrance.also_given = [
            f"{guard.entrance.own_cookie}={guard.entrance.keys.cookie}" for guard in guards.values()
        ]
        #: What was shown last under each of our own names, and what it was made of.
        self._kept: dict[str, tuple[list[object], str]] = {}
        self._page = environment().get_template("thirdstop_learners.html")

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        path, host = scope["path"], header(scope, b"host")
        scope = {**scope, "origin": self.reach.origin(host)}
        if scope["origin"] is None:
            await respond(send, 421, "This server answers only to its own name.\n")
        elif scope["method"] not in ("GET", "HEAD"):
            await respond(send, 405, "The journals can only be read here.\n", [(b"allow", b"GET, HEAD")])
        elif await self.entrance.answer(scope, receive, send):
            return
        elif isinstance(visitor := await self.entrance.visitor(scope), str):
            await respond(send, 403, visitor)
        elif path in self.files:
            asset = self.files[path]
            await respond(send, 200, asset.content, [(b"content-type", asset.kind), (b"cache-control", KEPT)])
        elif path == "/":
            await respond(send, 200, await self._rendered(host.partition(":")[0]), [HTML, NOT_KEPT])
        else:
            await respond(send, 404, self._nothing(host.partition(":")[0]), [HTML, NOT_KEPT])

    def _homes(self, host: str) -> dict[str, str]:
        return {name: f"http://{host}:{guard.reach.port}" for name, guard in self.guards.items()}

    def _nothing(self, host: str) -> str:
        """That there is no such page, with the ways back."""
        error = JournalError("There is no page at this address.", "Go on from the links above.")
        return self._page.render({"error": error, "page": None, "homes": self._homes(host), "assets": self.paths})

    async def _rendered(self, host: str) -> str:
        """All learners, each reckoned in a thread of its own."""
        asked = (guard.estimates.page("learner", none=AS_LONG_AS_IT_TAKES) for guard in self.guards.values())
        found: list[object] = [shown.page for shown in await asyncio.gather(*asked)]
        kept = self._kept.get(host)
        if kept is None or any(one is not other for one, other in zip(kept[0], found, strict=True)):
            learners = [(name, one) for name, one in zip(self.guards, found, strict=True) if isinstance(one, Learner)]
            words = {"page": learners_page(learners), "homes": self._homes(host), "assets": self.paths}
            kept = self._kept[host] = found, self._page.render(words)
        return kept[1]


class SideBySide:
    """Hands each request to the application of the port that it came to."""

    def __init__(self, applications: Mapping[int, Application]) -> None:
        self.applications = applications

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._live(receive, send)
            return
        application = self.applications.get(scope["server"][1])
        if application is None or scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        await application(scope, receive, send)

    async def _live(self, receive: Receive, send: Send) -> None:
        """Nothing begins or ends with the server: each application does at its first request, and where it was made."""
        while (await receive())["type"] == "lifespan.startup":
            await send({"type": "lifespan.startup.complete"})
        await send({"type": "lifespan.shutdown.complete"})
