"""How long pages take as a journal grows: every page, alone and with many visitors at once, warm and after a write.

    PYTHONPATH=.:tests python tests/benchmarks/pages.py [FRAMES ...] [--clients 20] [--folder FOLDER] [--after]
        [--only PAGE]

`thirdstop serve` itself is started on journals of so many frames (10,000, 100,000 and 1,000,000 unless told). A visitor
asks for a page, waits for the answer and asks again; visitors of one page ask for different sessions, frames and
filters where there are any. Times are wall clock at the visitor, in ms. The floor is a static file of the same server,
asked for before and after each page: what no page can be faster than here and now, with the cost of the visitors
themselves. The last column is the CPU time of the server for one answer, which a busy machine does not make longer.

Then, after one verdict was given, each page is asked for once more: what comes first, whether it says that it is being
counted anew, and when the new numbers are there; meanwhile a preview and bursts to judge are asked for all the time.
With --folder the journals are kept and used again; with --after only this second part is measured. With --only PAGE,
which can be said again, those pages alone are measured, and no verdict is given.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

import httpx
from journals.big import big_journal

from journal.records.verdicts import Verdict
from journal.store.judging import set_verdict
from journal.store.opening import open_journal, writing

SERVE = [sys.executable, "-c", "from journal.cli import main; main()", "serve", "--no-browser"]
#: Requests of one visitor alone, and of each of many.
ALONE, EACH = 30, 12
#: Addresses of a page that are asked for until they show numbers of now, before anything is measured.
WARMED = 3
#: A page that says this shows numbers from before the last change.
ANEW = b"counted anew"
#: No page is waited for longer [s].
LONGEST = 240.0
#: Visitors stop asking for a page after so long [s], however few answers they have.
LONG_ENOUGH = 10.0


@dataclass(frozen=True)
class Page:
    """A page and its addresses: visitor after visitor takes the next one."""

    name: str
    address: Callable[[int], str]


@dataclass(frozen=True)
class Content:
    """What the addresses need to know of the journal."""

    frames: int
    sessions: int
    unjudged: int
    asset: str


def pages(content: Content) -> list[Page]:
    """Every page of ours, and Datasette's table of frames with filters as our own pages link it."""
    judged = "verdict__not=unjudged&burst_id__notnull=1&session_id__notnull=1"
    session, frame = content.sessions, content.frames
    at_time = "tv6__gte={0}&tv6__lte={0}"
    of_session = "/journal/frames?verdict=reject&session_id="
    rejects = "/frames?verdict=reject&iso={0}&from=1998-0{1}-01"
    by_hand = "/keepers?by=iso&camera-support=hand-held&stops-below-rule="
    read = f"/series?limit=hand-held:1&sessions={session // 2}&sessions="
    return [
        Page("static file (floor)", lambda _: content.asset),
        Page("journal", lambda _: "/"),
        Page("where you stand", lambda _: "/standing"),
        Page("sessions to judge", lambda _: "/judge"),
        Page("judging page", lambda i: f"/judge/{session - i % content.unjudged}"),
        Page("bursts to judge (JSON)", lambda i: f"/judge/{session - i % content.unjudged}/bursts"),
        Page("session", lambda i: f"/sessions/{1 + i * 7919 % session}"),
        Page("session again", lambda _: "/sessions/1"),
        Page("frame", lambda i: f"/frames/{1 + i * 7919 % frame}"),
        Page("two frames compared", lambda i: f"/frames/{1 + i * 7919 % frame}/{1 + i * 6007 % frame}"),
        Page("limits", lambda _: "/limits"),
        Page("habits", lambda _: "/habits"),
        Page("one habit", lambda i: f"/habits/{('slow_by_hand', 'thin_focus', 'needlessly_fast')[i % 3]}"),
        Page("progress", lambda _: "/progress"),
        Page("advice", lambda _: "/advice"),
        Page("plan", lambda i: f"/plan?ev100={i % 14}&pace=walking&focal_length={50 + i}"),
        Page("test series", lambda _: "/series"),
        Page("a series read", lambda i: f"{read}{1 + i % session}"),
        Page("keepers", lambda i: f"/keepers?by={('exposure-time', 'iso', 'f-number')[i % 3]}"),
        Page("keepers of chosen frames", lambda i: f"{by_hand}{i % 12 - 6}"),
        Page("frames with filters", lambda i: rejects.format(100 * 2 ** (i % 6), 1 + i % 9)),
        Page("preview", lambda i: f"/previews/{frame - i % 1500}.webp"),
        Page("frames with filters (table)", lambda i: f"/journal/frames?{at_time.format(-2 * (i % 24))}&{judged}"),
        Page("frames of one session (table)", lambda i: f"{of_session}{1 + i * 7919 % session}"),
    ]  # fmt: skip


@contextmanager
def served(path: Path) -> Iterator[tuple[str, int]]:
    """The link of the journal that `thirdstop serve` of this checkout serves, and the number of its process."""
    command = [*SERVE, "--journal", str(path)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2])
    assert process.stdout is not None
    link = ""
    while "?key=" not in link:
        link = process.stdout.readline()
    try:
        yield link.split()[-1], process.pid
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=LONGEST)


def content_of(path: Path, home: str) -> Content:
    connection = sqlite3.connect(path)
    frames, sessions = (
        connection.execute(f"select max(id) from {table}").fetchone()[0] for table in ("frames", "sessions")
    )
    unjudged = connection.execute("select count(*) from session_summaries where n_judged < n_frames").fetchone()[0]
    connection.close()
    return Content(frames, sessions, unjudged, home)


class Visitor:
    """A browser's connection and nothing of its weight: a library that does more would be most of what is measured."""

    def __init__(self, home: str, cookie: str) -> None:
        self.place, self.cookie = urlsplit(home), cookie
        self.streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def get(self, address: str) -> tuple[float, int, bytes]:
        """Time [ms], status and body of an address; a connection that was closed meanwhile is opened again."""
        began = time.perf_counter()
        try:
            status, body = await asyncio.wait_for(self._ask(address), LONGEST)
        except (asyncio.IncompleteReadError, ConnectionError):
            self.streams = None
            status, body = await asyncio.wait_for(self._ask(address), LONGEST)
        return 1000 * (time.perf_counter() - began), status, body

    async def _ask(self, address: str) -> tuple[int, bytes]:
        if self.streams is None:
            self.streams = await asyncio.open_connection(self.place.hostname, self.place.port, limit=2**20)
        reader, writer = self.streams
        writer.write(f"GET {address} HTTP/1.1\r\nHost: {self.place.netloc}\r\nCookie: {self.cookie}\r\n\r\n".encode())
        head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").lower().split("\r\n")
        headers = dict(line.split(": ", 1) for line in head[1:] if line)
        if "content-length" in headers:
            return int(head[0].split()[1]), await reader.readexactly(int(headers["content-length"]))
        parts = []
        while size := int(await reader.readuntil(b"\r\n"), 16):
            parts.append(await reader.readexactly(size))
            await reader.readexactly(2)
        await reader.readexactly(2)
        return int(head[0].split()[1]), b"".join(parts)

    def leave(self) -> None:
        """Closes the connection."""
        if self.streams is not None:
            self.streams[1].close()


async def measured(crowd: list[Visitor], page: Page, each: int) -> list[float]:
    """Times of visitors that ask `each` times, one request after the other."""
    places = itertools.count()
    times = []

    began = time.perf_counter()

    async def visits(visitor: Visitor) -> None:
        for _ in range(each):
            if time.perf_counter() - began > LONG_ENOUGH:
                return
            address = page.address(next(places))
            spent, status, body = await visitor.get(address)
            if status != 200 and ANEW not in body:
                raise RuntimeError(f"{address}: {status} {body[:300]!r}")
            times.append(spent)

    await asyncio.gather(*map(visits, crowd))
    return times


def cpu_ms(process: int) -> float:
    """CPU time of a process and its children so far [ms]; not-a-number where the system does not say."""
    total = 0.0
    for family in [str(process), *_children(process)]:
        try:
            fields = Path(f"/proc/{family}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        except OSError:
            return float("nan")
        total += 1000 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


def _children(process: int) -> list[str]:
    try:
        return Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii").split()
    except OSError:
        return []


def percentile(times: list[float], share: float) -> float:
    ordered = sorted(times)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def give_verdict(path: Path, frame: int) -> None:
    """What the judging page does when a key is pressed."""
    connection = open_journal(path)
    now = datetime.now(UTC)
    with writing(connection):
        found = connection.execute("select max(id) from verdicts where frame_id = ?", [frame]).fetchone()[0]
        set_verdict(
            connection, Verdict(frame, "keeper", ()), found, f"{frame:016x}.{now.microsecond}", "photographer", now
        )
    connection.close()


async def warmed(visitor: Visitor, page: Page) -> float:
    """Asks until the page shows numbers of now [s]."""
    began = time.perf_counter()
    for place in range(WARMED):
        while ANEW in (await visitor.get(page.address(place)))[2]:
            if time.perf_counter() - began > LONGEST:
                raise RuntimeError(f"{page.name} is still being counted after {LONGEST:.0f} s")
            await asyncio.sleep(0.25)
    return time.perf_counter() - began


async def warm_figures(crowd: list[Visitor], content: Content, process: int, only: list[str]) -> None:
    print("| page | first [s] | alone p50 | p95 | with all p50 | p95 | floor p95 | p95 / floor | server CPU each |")
    print("|---|---|---|---|---|---|---|---|---|")
    floor, *others = pages(content)
    for page in (page for page in others if not only or page.name in only):
        first = await warmed(crowd[0], page)
        before = await measured(crowd, floor, EACH)
        alone = await measured(crowd[:1], page, ALONE)
        used = cpu_ms(process)
        together = await measured(crowd, page, EACH)
        used = (cpu_ms(process) - used) / len(together)
        figures = [percentile(times, share) for times in (alone, together) for share in (0.5, 0.95)]
        figures.append(percentile(before + await measured(crowd, floor, EACH), 0.95))
        shown = " | ".join(f"{figure:.1f}" for figure in figures)
        print(f"| {page.name} | {first:.2f} | {shown} | {figures[3] / figures[4]:.1f} | {used:.1f} |", flush=True)


async def figures_after_a_write(crowd: list[Visitor], path: Path, content: Content) -> None:
    """Each page after a verdict of its own, while a preview and the bursts to judge are asked for all the time."""
    print("| page after a verdict | first answer [ms] | of before | now [s] | preview p95, most | bursts p95, most |")
    print("|---|---|---|---|---|---|")
    known = {page.name: page for page in pages(content)}
    watched = [known["preview"], known["bursts to judge (JSON)"]]
    for number, page in enumerate(known.values()):
        give_verdict(path, content.frames - number)
        began = time.perf_counter()
        stop = asyncio.Event()
        watch = [asyncio.create_task(_watch(crowd[1 + i], page, stop)) for i, page in enumerate(watched)]
        first, _, body = await crowd[0].get(page.address(0))
        if is_old := ANEW in body:
            await warmed(crowd[0], page)
        whole = time.perf_counter() - began
        stop.set()
        others = " | ".join(
            f"{percentile(times, 0.95):.0f}, {max(times):.0f}" for times in await asyncio.gather(*watch)
        )
        print(f"| {page.name} | {first:.0f} | {'yes' if is_old else 'no'} | {whole:.2f} | {others} |", flush=True)


async def _watch(visitor: Visitor, page: Page, stop: asyncio.Event) -> list[float]:
    times = []
    for place in itertools.count():
        times.append((await visitor.get(page.address(place)))[0])
        if stop.is_set():
            return times
        await asyncio.sleep(0.02)
    raise AssertionError("unreachable")


async def visit(path: Path, link: str, asked: argparse.Namespace, process: int) -> None:
    home = urlsplit(link)._replace(path="", query="").geturl()
    cookie = httpx.get(link).headers["set-cookie"].split(";")[0]
    crowd = [Visitor(home, cookie) for _ in range(max(asked.clients, 3))]
    text = (await crowd[0].get("/judge"))[2].decode()
    content = content_of(path, text.split('rel="stylesheet" href="')[1].split('"')[0])
    print(f"\n## {content.frames:,} frames, {content.sessions:,} sessions, {len(crowd)} visitors\n", flush=True)
    if not asked.after:
        await warm_figures(crowd, content, process, asked.only)
        print()
    if asked.only:
        for visitor in crowd:
            visitor.leave()
        return
    for page in pages(content):
        await warmed(crowd[0], page)
    await figures_after_a_write(crowd, path, content)
    for visitor in crowd:
        visitor.leave()


def main() -> None:
    """Prints the figures of each size."""
    parser = argparse.ArgumentParser(description="How long pages take.")
    parser.add_argument("frames", nargs="*", default=["10000", "100000", "1000000"])
    parser.add_argument("--clients", type=int, default=20)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--after", action="store_true")
    parser.add_argument("--only", action="append", default=[], metavar="PAGE")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.folder or Path(scratch)
        for size in (int(text.replace(",", "")) for text in asked.frames):
            path = folder / f"{size}.journal"
            if not path.exists():
                began = time.perf_counter()
                big_journal(path, size)
                print(f"journal of {size:,} frames: {time.perf_counter() - began:.0f} s", flush=True)
            with served(path) as (link, process):
                asyncio.run(visit(path, link, asked, process))


if __name__ == "__main__":
    main()
