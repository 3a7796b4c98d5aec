"""`thirdstop serve`: the journal in the browser, for the photographer and for mentors who were given a link."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analytics.dashboards import DEFAULT_PORT
from journal.cli.options import JournalOption, data_folder, journal_path
from journal.cli.output import say
from journal.errors import JournalError

if TYPE_CHECKING:
    import socket
    from collections.abc import Sequence

    from analytics.dashboards.answering import Application
    from analytics.dashboards.reach import Beyond
    from journal.records.mentors import MentorLink

#: How long a mentor's link lasts unless something else is asked for.
DAYS = 14


def add(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(serve)


def serve(
    context: typer.Context,
    journals: Annotated[
        list[Path] | None,
        typer.Argument(help="Journals to show side by side; one alone is like --journal.", show_default=False),
    ] = None,
    journal: JournalOption = None,
    port: Annotated[int, typer.Option(min=1024, max=65535, help="Port to try first; any free one if taken.")] = (
        DEFAULT_PORT
    ),
    mentor: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Print a link for a mentor, who may read and comment; may be given again."),
    ] = None,
    days: Annotated[
        int | None, typer.Option(min=1, max=366, help=f"How long a new mentor's link lasts.  [default: {DAYS}]")
    ] = None,
    address: Annotated[
        str | None, typer.Option(help="Serve at this address of this machine too; whoever comes there must sign in.")
    ] = None,
    reached_at: Annotated[
        str | None,
        typer.Option(
            metavar="URL", help="What a proxy in front is called, like https://journal.example; one signs in there."
        ),
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the link; open no browser.")] = False,
) -> None:
    """Show the journal in the browser, and judge there.

    On this machine only, unless an address is given: keeper rates, limits, habits, progress, frames, every table.
    """
    from journal.store.opening import open_read_only

    paths = _journals(context, journals or [], journal)
    for each in paths:
        open_read_only(each).close()  # brings an older journal up to date, and refuses what is none
    if len(paths) == 1:
        serve_one(paths[0], port, no_browser, Invited(tuple(mentor or ()), days, address, reached_at))
        return
    if mentor or address or reached_at:
        raise JournalError(
            "A mentor's link and an address are for one journal.", "Serve that one alone: thirdstop serve FILE"
        )
    _show_side_by_side(paths, port, no_browser)


@dataclass(frozen=True, slots=True)
class Invited:
    """Who else may come: mentors and for how long their links last, and where from beyond this machine."""

    mentors: tuple[str, ...] = ()
    days: int | None = None
    address: str | None = None
    reached_at: str | None = None


NOBODY = Invited()


def serve_one(path: Path, port: int = DEFAULT_PORT, no_browser: bool = False, invited: Invited = NOBODY) -> None:
    """Serves one journal until it is interrupted."""
    from analytics.dashboards.estimates import Patience
    from analytics.dashboards.guard import Keys
    from analytics.dashboards.reach import Reach
    from analytics.dashboards.secret_files import signing_secret
    from analytics.dashboards.serving import application, listen

    kept, bound = _passphrase_and_address(invited.address, invited.reached_at)
    secret = signing_secret(data_folder())
    links = links_for(path, invited.mentors, invited.days)
    listeners = [listen(port)]
    found, keys = listeners[0].getsockname()[1], Keys()
    beyond = _beyond(kept, bound, invited.reached_at, found, listeners)
    link = f"http://127.0.0.1:{found}/?key={keys.link}"
    with application(path, Reach(found, beyond), keys, secret, Patience()) as pages:
        if found != port:
            say(f"Port {port} is taken, so port {found} is used.")
        say(f"The journal is open at {link}")
        say("Whoever has this link can read the journal and judge its frames while this runs. End it with Ctrl-C.")
        _say_beyond(beyond)
        _say_links(links, secret, beyond.origin if beyond else f"http://127.0.0.1:{found}")
        _run(pages, listeners, link, no_browser)
    say("The journal is closed.")


def _run(pages: Application, listeners: list[socket.socket], link: str, no_browser: bool) -> None:
    from contextlib import suppress

    from analytics.dashboards.serving import opener
    from analytics.dashboards.serving import serve as run

    with opener(link) as private_file:
        if not no_browser:
            import webbrowser

            webbrowser.open(private_file)
        with suppress(KeyboardInterrupt):
            run(pages, listeners)


def _journals(context: typer.Context, named: list[Path], option: Path | None) -> list[Path]:
    """The journals that are meant: those that are named, else the one of the option or of the data folder."""
    if not named:
        return [journal_path(option)]
    source = context.get_parameter_source("journal")
    if source is not None and source.name == "COMMANDLINE":
        raise JournalError("Journals are named in two ways.", "Name all of them without --journal.")
    return [path.expanduser() for path in named]


def _show_side_by_side(paths: list[Path], port: int, no_browser: bool) -> None:
    from analytics.dashboards.estimates import Patience
    from analytics.dashboards.guard import Keys
    from analytics.dashboards.serving import listen, side_by_side
    from analytics.dashboards.side_by_side import names_of

    journals = dict(zip(names_of(paths), paths, strict=True))
    listeners = [listen(port + place) for place in range(len(journals) + 1)]
    ports, keys = [listener.getsockname()[1] for listener in listeners], Keys()
    link = f"http://127.0.0.1:{ports[0]}/?key={keys.link}"
    with side_by_side(journals, ports, keys, Patience()) as pages:
        say(f"{len(journals)} journals are open side by side at {link}")
        for name, each in zip(journals, ports[1:], strict=True):
            say(f"{name} has port {each}.")
        say("Whoever has this link can read the journals and judge their frames while this runs. End it with Ctrl-C.")
        _run(pages, listeners, link, no_browser)
    say("The journals are closed.")


def _passphrase_and_address(address: str | None, reached_at: str | None) -> tuple[str, str | None]:
    """What is kept of the passphrase, and the address to serve at; nothing may be served beyond without the former."""
    from analytics.dashboards.reach import bound_address, name_of_url
    from analytics.dashboards.sign_in import kept_passphrase

    bound = None if address is None else bound_address(address)
    if reached_at is not None:
        name_of_url(reached_at)
    return (kept_passphrase(data_folder()) if bound or reached_at else ""), bound


def _beyond(
    kept: str, bound: str | None, reached_at: str | None, port: int, listeners: list[socket.socket]
) -> Beyond | None:
    """The name beyond this machine; another listener where there is another address."""
    from analytics.dashboards.reach import Beyond, host_of_address, name_of_url
    from analytics.dashboards.serving import listen_beyond
    from analytics.dashboards.sign_in import SignIn

    if bound is not None:
        listeners.append(listen_beyond(bound, port))
    if reached_at is not None:
        return Beyond(*name_of_url(reached_at), SignIn(kept))
    if bound is not None:
        host = host_of_address(bound, port)
        return Beyond(host, f"http://{host}", SignIn(kept))
    return None


def _say_beyond(beyond: Beyond | None) -> None:
    if beyond is None:
        return
    say(f"Beyond this machine it is at {beyond.origin}: there you sign in with your passphrase.")
    if not beyond.is_encrypted:
        say("That is not encrypted: others on the network can read along, your passphrase included. Safer are a tunnel")
        say("(ssh), or a reverse proxy with TLS in front, named with --reached-at https://...")


def links_for(path: Path, mentors: Sequence[str], days: int | None) -> list[MentorLink]:
    """A link for each mentor: the open one that they have, unless another number of days is asked for."""
    if not mentors:
        return []
    from datetime import UTC, datetime

    from journal.cli.opened import open_journal
    from journal.store.mentors import add_link, newest_open_link

    connection, now = open_journal(path, must_exist=True), datetime.now(UTC)
    known = {name: newest_open_link(connection, name, now) if days is None else None for name in mentors}
    return [link or add_link(connection, name, days or DAYS, now) for name, link in known.items()]


def _say_links(links: list[MentorLink], secret: bytes, home: str) -> None:
    from analytics.dashboards.visitors import LINK, Signatures

    for link in links:
        address = f"{home}/?mentor={Signatures(secret).signed(LINK, link.key)}"
        say(f"For {link.mentor}, until {link.expires_at[:10]}: {address}")
    if links:
        say("Whoever has such a link can read the pages, without intents, notes, places, positions and file names, and")
        say(f"comment, while this runs. To take one back: thirdstop review withdraw {links[-1].number}")
