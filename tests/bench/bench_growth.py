"""How cost grows: with the span of light, the grid of a sheet, sampled skies, and places at once.

Every row compares a large case with a small one of the same run; the target is at most what a cost in
proportion to the case would come to, with a little to spare.
"""

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor for both sides
sys.path.insert(0, str(Path(__file__).parent))

import datetime as dt

from bench_kit import Row, milliseconds, processor_s, table
from bench_places import exposures_of, globe, light_of

from noonframe.dose.skies import expose_under_skies
from noonframe.dose.skies_paths import Sampling
from noonframe.sky.evidence import steady_course
from noonframe.sky.words import CloudPart
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import OpenSpot
from noonframe.spot.skyline import Skyline
from noonframe.stack.materials import parse_stack

AROUND = ((0, 35), (45, 40), (90, 35), (135, 15), (170, 4), (225, 3), (280, 4), (315, 25))
ROOM_TO_SPARE = 1.5
"""Caches and memory make large cases a little dearer than in proportion."""


def growth(what: str, unit: str, cases: Sequence[tuple[int, Callable[[], object]]], takes: int) -> list[Row]:
    """Each case against the first one."""
    measured = [(size, processor_s(task, takes)) for size, task in cases]
    (first, base_s), *others = measured
    found = []
    for size, seconds in others:
        name = f"{what}: {size} {unit} for {first}"
        most = ROOM_TO_SPARE * size / first
        baseline = f"{milliseconds(base_s)} ({first} {unit})"
        found.append(Row(name, milliseconds(seconds), baseline, seconds / base_s, most))
    return found


def rows(takes: int, *, tiny: bool = False) -> list[Row]:
    """All the growth that a user can cause."""
    from run import INSIDE, SHEET, TILT, YEAR, inside, minutes_from, scene

    level = replace(scene(), stack=parse_stack(SHEET))
    yard = replace(level, spot=OpenSpot(TILT, Skyline.from_pairs(AROUND)))
    begin = dt.date(YEAR, 1, 1)
    days = (1, 10) if tiny else (1, 30, 365)
    found = []
    for words, sheet in (("level", level), ("tilted, skyline", yard)):
        spans = [(count, lambda s=sheet, c=count: s.rate(minutes_from(begin, c))) for count in days]
        found += growth(f"light by the minute, {words}", "days", spans, takes)
    time_s = minutes_from(dt.date(YEAR, 6, 21), 1)
    grids = []
    for side in (3, 5) if tiny else (3, 6, 12):
        spot = WindowSpot(INSIDE.window, INSIDE.frame, grid=(side, side))
        room = inside(spot)
        grids.append((side * side, lambda room=room: room.point_rates(time_s)))
    found += growth("a day at every point of a sheet inside a window", "points", grids, takes)
    broken = (CloudPart(0.5, 0.0), CloudPart(0.5, 10.0))
    course = steady_course(broken, float(time_s[0]), float(time_s[-1]), 0.2, "sky seen")
    noon_s = float(time_s[750])
    skies = [
        (
            paths,
            lambda p=paths: expose_under_skies(level, course, noon_s, 24000.0, sampling=Sampling(paths=p)),
        )
        for paths in ((100, 300) if tiny else (100, 300, 2000))
    ]
    found += growth("an exposure under sampled skies", "skies", skies, takes)
    for words, task in (("light", light_of), ("exposures", exposures_of)):
        places = [
            (count, task(globe(count))) for count in ((100, 1000) if tiny else (1000, 100_000, 1_000_000))
        ]
        found += growth(f"{words} at many places", "places", places, takes)
    return found


if __name__ == "__main__":
    print(table(rows(1, tiny=True) if "--tiny" in sys.argv[1:] else rows(3)))
