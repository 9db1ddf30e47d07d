"""What a forecast costs: exposures under sampled skies against the same under one sky.

Run it as a script, or take `rows()` into another table.  The figures are the best of several takes that
alternate, so that a busy machine disturbs both sides alike.
"""

import asyncio
import datetime as dt
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor for both sides
sys.path.insert(0, str(Path(__file__).parent))

from fastapi import FastAPI
from run import FULL, QUERY, TINY, YEAR, Row, Size, best_of, call, milliseconds, table

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe.weather.rehearsal import RehearsalServer
from noonframe.weather.rehearsal_sky import quayside_sky

NOON = dt.datetime(YEAR, 6, 21, 12, 40, tzinfo=dt.UTC)
CALLS = 24
CHANGEABLE_S = 20 * 60.0  # when cloud begins to pass in the sky of the rehearsal, in seconds after noon
SHORT_J_M2, LONG_J_M2 = 24000, 100000
MOST_MS = 25.0
MOST_RATIO = 8.0


def queries(target_j_m2: int, sky: str = "") -> list[str]:
    """Questions that all differ in their start, over an hour of changeable sky."""
    starts = (NOON + dt.timedelta(seconds=CHANGEABLE_S + 150.0 * k) for k in range(CALLS))
    question = QUERY.replace("target_j_m2=24000", f"target_j_m2={target_j_m2}")
    return [question + start.isoformat().replace("+00:00", "Z") + sky for start in starts]


@contextmanager
def forecast_app() -> Iterator[FastAPI]:
    """The service, warm, with the rehearsal's forecast for the afternoon."""

    def clock() -> float:
        return NOON.timestamp()

    with (
        tempfile.TemporaryDirectory() as folder,
        RehearsalServer(quayside_sky(NOON.timestamp()), clock) as provider,
    ):
        settings = Settings(
            state_dir=Path(folder),
            weather_providers=("open-meteo",),
            weather_open_meteo_url=provider.url,
        )
        app = create_app(settings, clock=clock)
        answer = asyncio.run(call(app, queries(SHORT_J_M2)[0]))
        if b'"freshness":"fresh"' not in answer:
            raise RuntimeError(answer)
        try:
            yield app
        finally:
            app.state.weather.close()
            app.state.records.close()


def rows(size: Size) -> list[Row]:
    """A forecast's exposure in milliseconds, and as a ratio to one under a sky that is given."""

    def runner(app: FastAPI, asked: list[str]) -> Callable[[], object]:
        async def run() -> None:
            for query in asked:
                await call(app, query)

        return lambda: asyncio.run(run())

    found = []
    with forecast_app() as app:
        for words, target_j_m2 in (("a quarter of an hour", SHORT_J_M2), ("an hour", LONG_J_M2)):
            asked = queries(target_j_m2), queries(target_j_m2, "&sky=broken")
            sampled, single = best_of(size.takes, *(runner(app, questions) for questions in asked))
            mine, theirs = sampled / CALLS, single / CALLS
            name = f"/v1/exposure of {words}, 300 skies"
            one = f"{milliseconds(theirs)} (one sky)"
            found += [
                Row(name, milliseconds(mine), "-", 1e3 * mine, MOST_MS, False, "ms"),
                Row("the same", milliseconds(mine), one, mine / theirs, MOST_RATIO, False),
            ]
    return found


if __name__ == "__main__":
    found = rows(TINY if "--tiny" in sys.argv[1:] else FULL)
    print(table(found))
    sys.exit(0 if all(row.met for row in found) else 1)
