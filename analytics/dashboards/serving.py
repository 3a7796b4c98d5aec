"""Runs the pages on loopback. Every line that knows Datasette's version is in `application`."""

from __future__ import annotations

import importlib
import secrets
import socket
from typing import TYPE_CHECKING, Any

from analytics.dashboards.access import guarded
from analytics.dashboards.plugin import TEMPLATES, NotebookPlugin
from journal.errors import JournalError

if TYPE_CHECKING:
    from pathlib import Path

HOST = "127.0.0.1"
#: Tried first; another one is taken where it is in use.
PORT = 8417


def free_socket(port: int | None) -> socket.socket:
    """A listening socket on loopback, at the port asked for, or at any free one.

    Raises:
        JournalError: the port that was asked for is in use.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.bind((HOST, PORT if port is None else port))
    except OSError as error:
        listening.close()
        if port is not None:
            raise JournalError(f"Port {port} is in use.", "Name another one, or leave out --port.") from error
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.bind((HOST, 0))
    return listening


def application(path: Path, entry: str, port: int) -> Any:
    """The pages of a journal as an ASGI application behind its door."""
    from datasette.app import Datasette
    from datasette.plugins import pm

    # Datasette would print a traceback with all locals, cookies among them, wherever rich is installed. Its plugins
    # must be loaded before: imported on its own, this module registers itself half made, and errors go unanswered.
    importlib.import_module("datasette.handle_exception").rich = None  # type: ignore[attr-defined]
    served = Datasette(
        [str(path)],
        settings={"allow_download": False, "suggest_facets": False, "sql_time_limit_ms": 3000},
        secret=secrets.token_hex(32),
        template_dir=str(TEMPLATES),
    )
    database = next(name for name in served.databases if not name.startswith("_"))
    name = f"thirdstop-notebook-{path}"
    if pm.has_plugin(name):
        pm.unregister(name=name)
    pm.register(NotebookPlugin(path, database), name=name)
    return guarded(served.app(), entry, port)


def serve(path: Path, listening: socket.socket, entry: str) -> None:
    """Answers until it is interrupted. The entry token is in a path, so no access log is kept."""
    import uvicorn

    port = listening.getsockname()[1]
    config = uvicorn.Config(application(path, entry, port), access_log=False, log_level="warning", lifespan="on")
    uvicorn.Server(config).run(sockets=[listening])
