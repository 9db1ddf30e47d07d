"""What every table of the benchmarks is made of: rows, takes that take turns, the machine's name."""

import os
import platform
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

IN_A_ROW = 3


@dataclass(frozen=True)
class Row:
    """One line of a table; `ratio` is what the target is about.  Without a target it only informs."""

    name: str
    ours: str
    baseline: str
    ratio: float
    target: float | None = None
    more_is_better: bool = False
    unit: str = "x"

    @property
    def met(self) -> bool:
        """Whether the target is met, or there is none."""
        if self.target is None:
            return True
        return self.ratio >= self.target if self.more_is_better else self.ratio <= self.target

    @property
    def cells(self) -> tuple[str, str, str, str, str, str]:
        """The line as texts."""
        aim, word = "-", ""
        if self.target is not None:
            aim = f"{'>=' if self.more_is_better else '<='} {self.target:g} {self.unit}"
            word = "met" if self.met else "MISSED"
        return (self.name, self.ours, self.baseline, f"{self.ratio:.3g} {self.unit}", aim, word)


HEADING = ("what", "here", "baseline", "ratio", "target", "")


def table(rows: Iterable[Row]) -> str:
    """The rows under one heading."""
    lines = [HEADING, *(row.cells for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(6)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )


def markdown(rows: Iterable[Row]) -> str:
    """The same for a page in Markdown."""
    lines = [HEADING, ("---",) * 6, *(row.cells for row in rows)]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines)


def machine() -> str:
    """Processor, cores, Python and NumPy, in one line."""
    import numpy as np

    model = platform.processor() or platform.machine()
    described = Path("/proc/cpuinfo")
    if described.exists():
        for line in described.read_text(encoding="utf-8", errors="replace").splitlines():
            if line.startswith("model name"):
                model = line.partition(":")[2].strip()
                break
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return (
        f"{model}, {cores} cores, {platform.system()}, "
        f"Python {platform.python_version()}, NumPy {np.__version__}; one thread for arrays"
    )


def best_of(takes: int, *tasks: Callable[[], object], in_a_row: int = IN_A_ROW) -> list[float]:
    """Shortest seconds of each task; they take turns, and each turn begins with an unmeasured warm-up."""
    best = [float("inf")] * len(tasks)
    for _ in range(takes):
        for index, task in enumerate(tasks):
            task()
            for _ in range(in_a_row):
                began = time.perf_counter()
                task()
                best[index] = min(best[index], time.perf_counter() - began)
    return best


def processor_s(task: Callable[[], object], takes: int) -> float:
    """Shortest processor time of a task of this very process, in seconds; others' work does not count."""
    task()
    best = float("inf")
    for _ in range(takes):
        began = time.process_time()
        task()
        best = min(best, time.process_time() - began)
    return best


def milliseconds(seconds: float) -> str:
    """Seconds as text."""
    return f"{seconds:.2f} s" if seconds >= 1.0 else f"{seconds * 1e3:.3g} ms"
