"""The most memory that a process has held itself."""

import resource
import sys
from pathlib import Path

_STATUS = Path("/proc/self/status")


def peak_mb() -> float:
    """Largest resident memory of this process [MiB]; not on Windows.

    Linux hands what `getrusage` tells down from the process that started this one, so a small child of a
    large process looks as large.  What /proc tells begins anew with each program.
    """
    if _STATUS.exists():
        line = next(line for line in _STATUS.read_text().splitlines() if line.startswith("VmHWM:"))
        return float(line.split()[1]) / 1024.0
    unit = 1024.0**2 if sys.platform == "darwin" else 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
