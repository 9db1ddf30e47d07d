"""What ten thousand prints on file cost: listing, searching, logging, and a recipe's target.

Run it as a script, or take `rows()` into another table.  The prints are made once for all rows, in a SQLite
file; every figure is the best of several takes.
"""

import asyncio
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import UUID

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor, as for the other rows
sys.path.insert(0, str(Path(__file__).parent))

import httpx
from fastapi import FastAPI
from run import FULL, TINY, Row, Size, best_of, milliseconds, table

from noonframe.api.app import create_app
from noonframe.bench.judgement import Judgement
from noonframe.settings import Settings
from noonframe.store.prints import PRINTS, PrintFields
from noonframe.store.recipes import RECIPES, RecipeFields

PRINTS_ON_FILE = 10_000
EVIDENCE_ON_FILE = 40
NOW_S = 1_782_039_600.0  # noon in Porto at midsummer 2026
MOST_MS = 100.0
NAMES = ("kelp fronds", "tide table", "ferry ticket", "harbour chart", "gull feather")
TAGS = ("seaweed", "paper", "metal", "glass")
RECIPE = UUID(int=7)
LIGHT = {
    "start": "2026-06-21T12:00:00+01:00",
    "basis": {"sky": {"says": "a clear sky"}, "notes": ["x" * 400]},
}


def fill(app: FastAPI, count: int) -> None:
    """Put a recipe and `count` prints on file, an hour apart."""
    with app.state.records.open().write() as db:
        RECIPES.create(db, RECIPE, RecipeFields("kelp on cotton", "citrate-classic"), now_s=NOW_S)
        for number in range(count):
            fields = PrintFields(
                name=f"{NAMES[number % len(NAMES)]} {number}",
                recipe_id=RECIPE,
                recipe_version=1,
                made_at_s=NOW_S - 3600.0 * number,
                dose_j_m2=20_000.0 + number,
                dose_spread_stops=0.2,
                light=LIGHT,
                judgement=list(Judgement)[number % len(Judgement)],
                notes=f"sheet {number % 97} of the box, washed for {number % 13} minutes",
                tags=(TAGS[number % len(TAGS)],),
            )
            PRINTS.create(db, UUID(int=1000 + number), fields, now_s=NOW_S)


@contextmanager
def bench_app(count: int) -> Iterator[FastAPI]:
    """The service with so many prints on file."""
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Settings(state_dir=Path(folder)), clock=lambda: NOW_S)
        fill(app, count)
        try:
            yield app
        finally:
            app.state.records.close()


class Asker:
    """Requests straight through ASGI, all in one loop."""

    def __init__(self, app: FastAPI) -> None:
        self._loop = asyncio.new_event_loop()
        transport = httpx.ASGITransport(app=app)
        self._client = httpx.AsyncClient(transport=transport, base_url="http://localhost")

    def ask(self, method: str, path: str, body: object = None) -> Any:
        """The answer's JSON; raises when there is none."""
        sent = {} if body is None else {"json": body}
        response = self._loop.run_until_complete(self._client.request(method, path, **sent))
        if response.status_code not in (200, 201):
            raise RuntimeError(response.text)
        return response.json()

    def close(self) -> None:
        """Let go of the loop."""
        self._loop.run_until_complete(self._client.aclose())
        self._loop.close()


def rows(size: Size = FULL) -> Iterator[Row]:
    """Listing and searching the log, logging a judged print, and asking for a learned target."""
    count = PRINTS_ON_FILE if size is not TINY else 200
    with bench_app(count) as app:
        asker = Asker(app)
        try:
            yield from _rows(asker, size, count)
        finally:
            asker.close()


def _rows(asker: Asker, size: Size, count: int) -> Iterator[Row]:
    last = UUID(int=1000 + count // 2)
    questions = {
        f"the newest 50 of {count} prints": "/v1/prints?limit=50",
        "fifty from the middle of them": f"/v1/prints?limit=50&before={last}",
        "the prints with two words, by search": "/v1/prints?limit=50&text=ticket%20glass",
        "a word that is nowhere, by search": "/v1/prints?limit=50&text=elephant",
        "the prints judged right, of one recipe": f"/v1/prints?limit=50&judgement=right&recipe={RECIPE}",
    }

    def question(path: str) -> Callable[[], object]:
        return lambda: asker.ask("GET", path)

    takes = max(size.takes // 3, 1)
    for name, seconds in zip(questions, best_of(takes, *map(question, questions.values())), strict=True):
        yield Row(name, milliseconds(seconds), "-", 1e3 * seconds, MOST_MS, False, "ms")
    told = {"kind": "print", "dose_j_m2": 20000, "judgement": "right", "relative_humidity_percent": 50}
    for number in range(EVIDENCE_ON_FILE):
        humid = {"relative_humidity_percent": 30 + number, "coat_age_h": number}
        asker.ask("POST", f"/v1/recipes/{RECIPE}/evidence", told | humid)
    target = f"/v1/recipes/{RECIPE}/target"
    asker.ask("GET", target)
    (seconds,) = best_of(takes, question(target))
    name = f"a target from {EVIDENCE_ON_FILE} exposures, again"
    yield Row(name, milliseconds(seconds), "-", 1e3 * seconds, MOST_MS, False, "ms")
    began = time.perf_counter()
    asker.ask("POST", f"/v1/recipes/{RECIPE}/evidence", told)
    seconds = time.perf_counter() - began
    # two slopes are fitted on 625 nodes
    name = "one more of them told, and the target worked out"
    yield Row(name, milliseconds(seconds), "-", 1e3 * seconds, 1000.0, False, "ms")


if __name__ == "__main__":
    found = list(rows(TINY if "--tiny" in sys.argv else FULL))
    print(table(found))
    sys.exit(0 if all(row.met for row in found) else 1)
