"""How long a publication takes to make and to open: 100 sessions, 20,000 frames; none, 400 and 2,000 pictures.

    PYTHONPATH=.:tests python tests/benchmarks/publishing.py

Wall clock and CPU time are those of the command itself, from its start to its end. Files are opened from the disk in
Chromium without a network, where there is one: until something is painted, and until the page can be used.
"""

from __future__ import annotations

import io
import itertools
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from journal.optics.derived import derive
from journal.store.opening import open_journal, writing
from journal.store.summaries import refresh_all

N_SESSIONS, N_FRAMES, BURST, N_PREVIEWS = 100, 20_000, 8, 2_000
#: Opens of the file in the browser.
N_OPENED = 5


def preview(chance: random.Random) -> bytes:
    """A picture that takes as many bytes, encoded anew, as a small photograph does: about 6 kB."""
    noise = Image.frombytes("RGB", (30, 20), chance.randbytes(30 * 20 * 3))
    stream = io.BytesIO()
    noise.resize((320, 214), Image.Resampling.BICUBIC).save(stream, format="WEBP", quality=75)
    return stream.getvalue()


def make_journal(path: Path) -> None:
    """Frames at every time from 1/1000 to 1/8; the slower, the more often a fault."""
    chance = random.Random(1)
    connection = open_journal(path)
    day = datetime(2025, 1, 4, 7, tzinfo=UTC)
    with writing(connection):
        connection.execute("insert into bodies (id, make, model, is_stabilised) values (1, 'Tidewell', 'M1', 0)")
        connection.execute("insert into lenses (id, model, is_stabilised) values (1, 'Tidewell 50 mm', 0)")
        for session in range(1, N_SESSIONS + 1):
            began = day + timedelta(days=3 * session)
            moments = [f"{moment:%Y-%m-%dT%H:%M:%SZ}" for moment in (began, began + timedelta(hours=2))]
            connection.execute(
                "insert into sessions (id, intent, priority, subject_pace, camera_support, light_ev100, started_at, "
                "ended_at, created_at, changed_at, is_simulated) "
                "values (?, 'eights at dawn', 'motion', 'walking', 'hand-held', 11, ?, ?, ?, ?, 1)",
                [session, *moments, *moments],
            )
            for number in range(N_FRAMES // N_SESSIONS):
                add_frame(connection, chance, session, began, number)
        for number in range(1, N_FRAMES + 1, N_FRAMES // N_PREVIEWS):
            connection.execute("insert into previews values (?, ?)", [number, preview(chance)])
        refresh_all(connection)
    connection.close()


def add_frame(connection, chance: random.Random, session: int, began: datetime, number: int) -> None:  # type: ignore[no-untyped-def]
    frame = (session - 1) * (N_FRAMES // N_SESSIONS) + number + 1
    burst = (frame - 1) // BURST + 1
    at = f"{began + timedelta(seconds=20 * number):%Y-%m-%dT%H:%M:%SZ}"
    if (frame - 1) % BURST == 0:
        connection.execute("insert into bursts (id, session_id, started_at) values (?, ?, ?)", [burst, session, at])
    stops = random.Random(burst).randrange(8)
    time_s, iso, f_number = 0.001 * 2**stops, 100 * 2 ** chance.randrange(5), chance.choice((2.8, 4.0, 5.6, 8.0))
    derived = derive(time_s, f_number, iso, 50.0)
    is_kept = chance.random() > 0.1 + 0.1 * stops
    names = ("ev100", "stops_below_rule", "tv6", "av6", "sv6", "ev100_third", "stops_below_rule_third")
    connection.execute(
        "insert into frames (id, frame_key, session_id, burst_id, position_in_burst, body_id, lens_id, file_name, "
        "taken_at, exposure_time_s, exposure_time_source, f_number, f_number_source, iso, iso_source, focal_length_mm, "
        f"focal_length_35mm, verdict, is_simulated, {', '.join(names)}) "
        f"values (?, ?, ?, ?, ?, 1, 1, ?, ?, ?, 'exif', ?, 'exif', ?, 'exif', 50, 50, ?, 1, {', '.join('?' * 7)})",
        [
            *(frame, str(frame), session, burst, (frame - 1) % BURST, f"T{frame:05d}.jpg", at, time_s, f_number, iso),
            "keeper" if is_kept else "reject",
            *(getattr(derived, name) for name in names),
        ],
    )
    if not is_kept:
        connection.execute("insert into frame_faults values (?, ?)", [frame, chance.choice(("camera shake", "noise"))])


def opens_in(file: Path) -> list[dict[str, float]]:
    """First paint and all scripts run [ms], for several opens without a network."""
    with sync_playwright() as playwright:
        options = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=options)
        found = []
        for _ in range(N_OPENED):
            page = browser.new_context(offline=True).new_page()
            page.goto(file.as_uri())
            page.wait_for_selector("html[data-ready]")
            found.append(
                page.evaluate(
                    "() => ({ paint: performance.getEntriesByName('first-contentful-paint')[0].startTime,"
                    " ready: performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd })"
                )
            )
            page.context.close()
        browser.close()
    return found


def published(journal: Path, target: Path, n_pictures: int, *options: str) -> tuple[float, float]:
    """Wall clock and CPU time of `thirdstop publish` [s], from its start to its end."""
    command = [sys.executable, "-c", "from journal.cli import main; main()", "publish", str(target)]
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [*command, "--journal", str(journal), "--pictures", str(n_pictures), *options],
        check=True,
        stdout=subprocess.DEVNULL,
        cwd=Path(__file__).parents[2],
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.perf_counter() - began, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Prints the figures."""
    print("| pictures | written as | wall [s] | CPU [s] | MB | first paint, median and slowest [ms] | ready [ms] |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_journal(folder / "a.journal")
        for n_pictures, way in itertools.product((0, 400, N_PREVIEWS), ("folder", "one file")):
            target = folder / (f"{n_pictures}" if way == "folder" else f"{n_pictures}.html")
            took, used = published(folder / "a.journal", target, n_pictures, *(["--one-file"] * (way == "one file")))
            files = [file for file in target.rglob("*") if file.is_file()] if way == "folder" else [target]
            n_bytes = sum(file.stat().st_size for file in files)
            shown = ["–", "–"]
            if shutil.which("chromium"):
                opens = opens_in(target / "index.html" if way == "folder" else target)
                ordered = [sorted(opened[what] for opened in opens) for what in ("paint", "ready")]
                shown = [f"{times[len(times) // 2]:.0f}, {times[-1]:.0f}" for times in ordered]
            row = f"| {n_pictures:,} | {way} | {took:.1f} | {used:.1f} | {n_bytes / 1e6:.2f} | {' | '.join(shown)} |"
            print(row, flush=True)


if __name__ == "__main__":
    main()
