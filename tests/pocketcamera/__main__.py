"""`python -m pocketcamera FOLDER --photographs PICTURES --frames N --seed S` writes frames and frames.jsonl; resumes
where it stopped.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from degraded.sources import listed

from pocketcamera.series import make_frames
from pocketcamera.sources import LISTED


def main() -> None:
    """Read the command line and make the frames."""
    parser = argparse.ArgumentParser(prog="pocketcamera", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--photographs", type=Path, required=True)
    parser.add_argument("--frames", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    photographs = listed(arguments.photographs, LISTED)
    if not photographs:
        parser.error(f"None of the photographs that photographs.txt lists is in {arguments.photographs}.")
    make_frames(arguments.folder, photographs, arguments.frames, arguments.seed)


if __name__ == "__main__":
    main()
