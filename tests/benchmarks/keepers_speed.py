"""How quickly keepers are counted and chosen frames listed: milliseconds of one core, at each number of frames.

    PYTHONPATH=.:tests python tests/benchmarks/keepers_speed.py [FRAMES ...]

A journal of that many frames is written by the store (100,000 unless told; a million takes about two minutes and half a
gigabyte). Each question is asked of other days every time, so that nothing that was kept helps; the median is told.
"""

from __future__ import annotations

import json
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from analytics.dataset import OpenJournal
from analytics.pages.chosen_frames import frames_page, read_frames_asked
from analytics.pages.counting import Counting
from analytics.pages.keepers_page import keepers_page, read_asked
from journal.optics.derived import derive
from journal.store.opening import open_journal, writing
from journal.store.summaries import refresh, refresh_all

PER_SESSION, MOST_IN_BURST, N_ASKED = 100, 14, 15
TIMES = [2 ** (-step / 3) for step in range(6, 36)]
APERTURES = (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0)
DERIVED = ("ev100", "stops_below_rule", "tv6", "av6", "sv6", "ev100_third", "stops_below_rule_third")
COLUMNS = (
    "id", "frame_key", "session_id", "burst_id", "position_in_burst", "body_id", "lens_id", "file_name", "taken_at",
    "taken_at_local", "exposure_time_s", "f_number", "iso", "focal_length_mm", "focal_length_35mm", "verdict", *DERIVED,
)  # fmt: skip


def make_journal(path: Path, n_frames: int) -> None:
    """Sessions of a hundred frames with two bodies and four lenses, a tenth of the frames unjudged."""
    chance, connection, day = random.Random(1), open_journal(path), datetime(2015, 1, 1, 7, tzinfo=UTC)
    with writing(connection):
        connection.executemany("insert into bodies (make, model) values ('Tidewell', ?)", [("M1",), ("S2",)])
        connection.executemany(
            "insert into lenses (model) values (?)", [(f"Tidewell {mm} mm",) for mm in (24, 50, 85, 300)]
        )
        frame = burst = 0
        for session in range(1, n_frames // PER_SESSION + 1):
            began = day + timedelta(hours=9 * session)
            stated = (
                chance.choice(("depth", "motion")),
                chance.choice(("still", "fast")),
                chance.choice(("hand-held", "tripod")),
            )
            written = [f"{began:%Y-%m-%dT%H:%M:%SZ}"] * 4
            connection.execute(
                "insert into sessions (id, priority, subject_pace, camera_support, light, started_at, ended_at, "
                "created_at, changed_at, is_simulated) values (?, ?, ?, ?, ?, ?, ?, ?, ?, 1)",
                [session, *stated, chance.choice(("fresh snow", "hazy sun", "")), *written],
            )
            rows, left = [], PER_SESSION
            while left:
                burst, size = burst + 1, min(left, chance.randint(1, MOST_IN_BURST))
                left -= size
                connection.execute(
                    "insert into bursts (id, session_id, n_frames) values (?, ?, ?)", [burst, session, size]
                )
                lens, time_s, f_number = chance.randrange(4), chance.choice(TIMES), chance.choice(APERTURES)
                iso = 100 * 2 ** chance.randrange(8)
                for place in range(size):
                    frame += 1
                    focal_mm = (24.0, 50.0, 85.0, 300.0)[lens]
                    derived = derive(time_s, f_number, iso, focal_mm)
                    at = began + timedelta(seconds=30 * (PER_SESSION - left) + place)
                    verdict = "unjudged" if chance.random() < 0.1 else "keeper" if chance.random() < 0.5 else "reject"
                    numbers = (frame, str(frame), session, burst, place, 1 + burst % 2, 1 + lens, f"T{frame:07d}.jpg")
                    moments = (f"{at:%Y-%m-%dT%H:%M:%SZ}", f"{at:%Y-%m-%dT%H:%M:%S}")
                    chosen = (time_s, f_number, iso, focal_mm, focal_mm, verdict)
                    rows.append((*numbers, *moments, *chosen, *(getattr(derived, name) for name in DERIVED)))
            marks = ", ".join("?" * len(COLUMNS))
            connection.executemany(f"insert into frames ({', '.join(COLUMNS)}) values ({marks})", rows)
        refresh_all(connection)
    connection.close()


def taken(ask: Callable[[int], object], n_asked: int = N_ASKED) -> float:
    """The median of how long it takes [ms of this process's cores]."""
    times = []
    for number in range(n_asked):
        start = time.process_time()
        ask(number)
        times.append(1000 * (time.process_time() - start))
    return statistics.median(times)


def main() -> None:
    """Prints one row per question and size."""
    print("| frames | question | ms |")
    print("|---|---|---|")
    for n_frames in [int(argument.replace(",", "")) for argument in sys.argv[1:]] or [100_000]:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "big.journal"
            make_journal(path, n_frames)
            for question, ms in questions(path).items():
                print(f"| {n_frames:,} | {question} | {ms:.0f} |")


def questions(path: Path) -> dict[str, float]:
    """Every question with its time."""
    with OpenJournal(path) as journal:
        found = {"reading all choices, once": taken(lambda number: journal.choices(), 1)}
        counting, totals = Counting(journal.choices()), journal.totals()

        def page(*pairs: tuple[str, str]) -> Callable[[int], object]:
            def ask(number: int) -> object:
                since = ("from", f"2015-01-{1 + number % 28:02d}")
                return json.dumps(keepers_page(counting, read_asked([*pairs, since]), totals, None).as_json())

            return ask

        def frames(number: int) -> object:
            asked = [("iso-from", "400"), ("from", f"2015-01-{1 + number % 28:02d}"), ("page", "9")]
            return frames_page(journal, counting, read_frames_asked(asked))

        found["five charts, all frames"] = taken(page(("by", "lens")))
        found["five charts, one lens, 1/60 and slower"] = taken(
            page(("by", "lens"), ("lens", "Tidewell 85 mm"), ("exposure-time-from", "1/60"))
        )
        found["two settings crossed and four charts, all frames"] = taken(page(("by", "iso"), ("by2", "f-number")))
        found["sixty frames of a filter"] = taken(frames)
        writer = open_journal(path)

        def after_a_verdict(number: int) -> object:
            return journal.choices()

        times = []
        for number in range(5):
            refresh(writer, [1 + number])
            times.append(taken(after_a_verdict, 1))
        writer.close()
        found["reading choices again after a verdict"] = statistics.median(times)
    return found


if __name__ == "__main__":
    main()
