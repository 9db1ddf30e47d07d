"""What a year of starts costs: 8760 hours, each with its length, against the light of one day afresh.

Run it as a script, or take `rows()` into another table.  Every take begins with nothing kept: sky, curves and
views of the sky are worked out in each, as for a place and a room never asked about before.
"""

import asyncio
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor for both sides
sys.path.insert(0, str(Path(__file__).parent))

import datetime as dt

import httpx
from run import (
    FULL,
    PANE,
    SHEET,
    TILT,
    TINY,
    YEAR,
    Row,
    Size,
    best_of,
    forget,
    inside,
    milliseconds,
    minutes_from,
    scene,
    table,
)

from noonframe.api.app import create_app
from noonframe.dose.scene import Scene
from noonframe.dose.year import find_starts, months_of
from noonframe.dose.year_days import CivilDays
from noonframe.settings import Settings
from noonframe.spot.plane import OpenSpot
from noonframe.spot.skyline import Skyline
from noonframe.stack.materials import parse_stack

TARGET_J_M2 = 24000.0
MOST_MS = 2000.0  # promised for a year of hours, all in, on one core
MOST_RATIO = 365.0  # a year must not cost more than its days one by one
AROUND = ((0, 35), (45, 40), (90, 35), (135, 15), (170, 4), (225, 3), (280, 4), (315, 25))
QUESTION = {
    "latitude_deg": "41.15",
    "longitude_deg": "-8.61",
    "elevation_m": "80",
    "target_j_m2": "24000",
    "stack": SHEET,
    "year": str(YEAR),
}


def rows(size: Size) -> list[Row]:
    """Each spot in milliseconds, and as a ratio to a day of light on open ground."""
    zone = ZoneInfo("Europe/Lisbon")
    level = replace(scene(), stack=parse_stack(SHEET))
    yard = replace(level, spot=OpenSpot(TILT, Skyline.from_pairs(AROUND)))
    day_s = minutes_from(dt.date(YEAR, 6, 21), 1)

    def day() -> object:
        forget()
        return replace(level).light(day_s)

    def year_of(sheet: Scene) -> Callable[[], object]:
        def run() -> object:
            forget()
            starts = find_starts(replace(sheet), CivilDays.of_year(YEAR, zone), TARGET_J_M2)
            if starts.length_s.size != 365 * 24:
                raise RuntimeError(starts.length_s.size)
            return months_of(starts)

        return run

    transport = httpx.ASGITransport(create_app(Settings()))

    def ask(path: str) -> Callable[[], object]:
        async def talk() -> bytes:
            async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
                answer = await client.get(path, params=QUESTION)
            if answer.status_code != 200:
                raise RuntimeError(answer.text)
            return answer.content

        def run() -> object:
            forget()
            return asyncio.run(talk())

        return run

    names = (
        "a year of 8760 starts, level",
        "the same in a yard, tilted, with a skyline",
        "the same inside an open window",
        "the same behind a pane",
        "/v1/year, all in",
        "/v1/year.pdf, all in",
    )
    tasks = (
        year_of(level),
        year_of(yard),
        year_of(inside()),
        year_of(inside(pane=PANE)),
        ask("/v1/year"),
        ask("/v1/year.pdf"),
    )
    base_s, *taken_s = best_of(max(size.takes // 3, 1), day, *tasks)
    found = []
    for name, seconds in zip(names, taken_s, strict=True):
        one = f"{milliseconds(base_s)} (a day of light, open ground)"
        found += [
            Row(name, milliseconds(seconds), "-", 1e3 * seconds, MOST_MS, False, "ms"),
            Row("as a ratio", milliseconds(seconds), one, seconds / base_s, MOST_RATIO, False),
        ]
    return found


if __name__ == "__main__":
    found = rows(TINY if "--tiny" in sys.argv[1:] else FULL)
    print(table(found))
    sys.exit(0 if all(row.met for row in found) else 1)
