"""How much memory a process has used at most."""

from __future__ import annotations

import resource
import sys
from pathlib import Path


def peak_mib() -> float:
    """Greatest resident memory of this process [MiB].

    Linux counts what the parent had before this program was started into `ru_maxrss`, so its own count is read there.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text(encoding="ascii").splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 2**20 if sys.platform == "darwin" else peak / 1024
