"""The print room of the phone's guide: a fixed noon, a saved spot and recipe, two prints in the light."""

import asyncio
import datetime as dt
import re
import uuid
from pathlib import Path

import httpx

from noonframe.api.app import create_app
from noonframe.api.calendar_examples import PLAN
from noonframe.settings import Settings
from noonframe.store.sessions import SESSIONS, SessionFields

GUIDE = Path(__file__).resolve().parents[2] / "clients" / "shortcut" / "README.md"
NOON = dt.datetime(2026, 6, 21, 13, 0, tzinfo=dt.timezone(dt.timedelta(hours=1)))
RECIPE = {
    "name": "kelp on cotton",
    "sensitizer": "citrate-classic",
    "stack": ["float-glass-4mm", "polyester-film"],
    "prior": {"median_j_m2": 24000, "spread_stops": 0.25, "source": "a strip"},
}
SPOT = {"name": "yard bench", "place": "quayside-yard", "spot": {"kind": "open"}}
PRINTS = (("kelp fronds", 4), ("ferry ticket", 1))
HOST = "192.0.2.7:8765"
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


class PrintRoom:
    """An app at a fixed noon; `busy` puts two prints into the light, `planned` saves a session."""

    def __init__(self, folder, *, busy=False, planned=False):
        self.app = create_app(Settings(state_dir=folder), clock=NOON.timestamp)
        self.posted("/v1/recipes", RECIPE)
        self.posted("/v1/spots", SPOT)
        for name, minutes in PRINTS if busy else ():
            start = (NOON - dt.timedelta(minutes=minutes)).isoformat()
            asked = {"saved_spot": SPOT["name"], "recipe": RECIPE["name"], "sky": "clear"}
            self.posted("/v1/runs", {**asked, "name": name, "start": start})
        if planned:
            begins_s = NOON.timestamp()
            with self.app.state.records.open().write() as db:
                fields = SessionFields("Kelp day", begins_s, begins_s + 36000.0, {}, PLAN)
                SESSIONS.create(db, uuid.uuid4(), fields, now_s=begins_s - 3600.0)

    def posted(self, path, body):
        response = self.ask("POST", path, json=body)
        assert response.status_code == 201, response.text
        return response

    def ask(self, method, target, **how):
        async def talk():
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
                return await client.request(method, target, **how)

        return asyncio.run(talk())

    def close(self):
        self.app.state.records.close()


def blocks():
    """The fenced blocks of the guide, as (kind, text)."""
    return [(found[1], found[2].strip("\n")) for found in _BLOCK.finditer(GUIDE.read_text(encoding="utf-8"))]


def exchanges():
    """Each request of the guide (method, target, headers, body) with the block that shows its reply."""
    found = blocks()
    for number, (kind, text) in enumerate(found):
        if kind == "http":
            head, _, body = text.partition("\n\n")
            line, *headers = head.splitlines()
            method, target = line.split(" ", 1)
            told = dict(header.split(": ", 1) for header in headers)
            yield (method, target, told, body), found[number + 1]
