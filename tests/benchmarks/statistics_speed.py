"""How long the statistics take, and how much memory: CPU seconds of one run at each number of frames.

    PYTHONPATH=tests python tests/benchmarks/statistics_speed.py [FRAMES ...]

Frames are simulated (100,000 unless told); each question is asked twice and the quicker answer counts. Every question
runs on the frames table, so the collapse to cells is part of each figure. The last column is per million frames.
"""

from __future__ import annotations

import resource
import sys
import time

from careers import career

from analytics.statistics.advice_effect import advice_effect
from analytics.statistics.habits import habits
from analytics.statistics.limits import KINDS, limits
from analytics.statistics.progress import progress
from analytics.statistics.rates import keeper_rates

#: Frames of an average simulated session.
PER_SESSION = 90


def main() -> None:
    """Prints one row per question and size."""
    sizes = [int(argument.replace(",", "")) for argument in sys.argv[1:]] or [100_000]
    print("| frames | question | s | s per million |")
    print("|---|---|---|---|")
    for size in sizes:
        frames = career(1, size // PER_SESSION).frames
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        for name, ask in (
            ("rates by lens", lambda frames=frames: keeper_rates(frames, "lens")),
            ("limits, all three", lambda frames=frames: [limits(frames, kind) for kind in KINDS]),
            ("habits", lambda frames=frames: habits(frames)),
            ("progress", lambda frames=frames: progress(frames)),
            ("advice", lambda frames=frames: advice_effect(frames, 182.0, "slow_by_hand")),
        ):
            took = min(_timed(ask) for _ in range(2))
            print(f"| {len(frames):,} | {name} | {took:.2f} | {took / len(frames) * 1e6:.1f} |")
        after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(f"| {len(frames):,} | memory: {before // 1024} MiB with libraries, then | {after // 1024} MiB | |")


def _timed(ask: object) -> float:
    start = time.process_time()
    ask()  # type: ignore[operator]
    return time.process_time() - start


if __name__ == "__main__":
    main()
