"""The long calibration: prints the table of DEVELOPERS.md.

    PYTHONPATH=tests python tests/benchmarks/calibration.py [CAREERS]

Every question is asked at 20, 60 and 150 sessions over that many simulated careers (100 unless told).
"""

from __future__ import annotations

import sys

from careers.calibration import calibrate

FIRST_SEED = 100_000


def main() -> None:
    """Prints one row per figure, one column per length of career."""
    n_careers = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    lengths = (20, 60, 150)
    found = {}
    for n_sessions in lengths:
        for figure in calibrate(n_sessions, range(FIRST_SEED, FIRST_SEED + n_careers)):
            found[figure.question, figure.figure, n_sessions] = figure
    print("| question | figure | " + " | ".join(f"{length} sessions" for length in lengths) + " |")
    print("|---|---|" + "---|" * len(lengths))
    for question, name in dict.fromkeys((question, figure) for question, figure, _ in found):
        cells = []
        for length in lengths:
            figure = found.get((question, name, length))
            cells.append("" if figure is None else f"{figure.value:.3f} ({figure.n})")
        print(f"| {question} | {name} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main()
