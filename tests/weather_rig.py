"""The service with forecasts from a stub provider: every request, also between the two, over a real socket.

A test asks for a rig of its own with `from weather_rig import rig`; a module shares one through `rigged`.
"""

import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI
from weather.stub_server import StubServer

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

NOON_S = datetime(2026, 6, 21, 12, 40, tzinfo=UTC).timestamp()  # the sun's highest in Porto, by the minute
YARD = {"latitude_deg": "41.15", "longitude_deg": "-8.61", "elevation_m": "80"}
SHEET = {**YARD, "target_j_m2": "24000"}
CONTACT = "printer@quayside.example"
CLEAR = ScriptedSky((Spell(NOON_S),), elevation_m=80.0)


class StillClock:
    """Unix seconds that move only when told."""

    def __init__(self, now_s: float) -> None:
        self.now_s = now_s

    def __call__(self) -> float:
        return self.now_s


class Asker:
    """Asks one app as a client would."""

    def __init__(self, app: FastAPI, client: httpx.Client) -> None:
        self.app = app
        self.client = client

    def get(self, path: str, **fields: object) -> Any:
        """The JSON of a GET that must succeed; `fields` over those of the sheet in the yard."""
        response = self.client.get(path, params=_query(fields), headers={"Accept": "application/json"})
        assert response.status_code == 200, response.text
        return response.json()

    def post(self, path: str, **fields: object) -> Any:
        """The JSON of a POST that must succeed."""
        body = {name: float(value) for name, value in SHEET.items()} | fields
        response = self.client.post(path, json=body)
        assert response.status_code == 200, response.text
        return response.json()

    def status(self, path: str, **fields: object) -> int:
        """The status of a GET."""
        return self.client.get(path, params=_query(fields)).status_code


def _query(fields: dict[str, object]) -> dict[str, str]:
    return {name: str(value) for name, value in {**SHEET, **fields}.items() if value is not None}


@contextmanager
def served(app: FastAPI) -> Iterator[str]:
    """The base address of `app`, served from a thread over the loopback interface."""
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error", access_log=False, ws="none")
    server = uvicorn.Server(config)
    ready = threading.Event()

    async def startup(sockets: Any = None, begin: Any = server.startup) -> None:
        await begin(sockets)
        ready.set()

    server.startup = startup  # type: ignore[method-assign]
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    assert ready.wait(30), "the service did not start"
    try:
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(30)


class Rig:
    """Apps that share a stub, a clock and a folder."""

    def __init__(self, stub: StubServer, clock: StillClock, folder: Path) -> None:
        self.stub, self.clock, self.folder = stub, clock, folder
        self._open = ExitStack()

    def settings(self, *providers: str, **given: Any) -> Settings:
        """Settings whose providers are all the stub."""
        return Settings(
            **{
                "state_dir": self.folder,
                "weather_providers": providers,
                "weather_contact": CONTACT,
                "weather_open_meteo_url": self.stub.url,
                "weather_ensemble_url": self.stub.url,
                "weather_met_norway_url": self.stub.met_norway_url,
                **given,
            }
        )

    @contextmanager
    def asking(self, *providers: str, **given: Any) -> Iterator[Asker]:
        """Somebody who asks an app with these settings, until the block is left and the app is stopped."""
        app = create_app(self.settings(*providers, **given), clock=self.clock)
        with served(app) as url, httpx.Client(base_url=url, trust_env=False, timeout=60) as client:
            yield Asker(app, client)

    def ask(self, *providers: str, **given: Any) -> Asker:
        """The same until the rig is taken down."""
        return self._open.enter_context(self.asking(*providers, **given))

    def close(self) -> None:
        """Let go of whatever the stub holds back, and stop every app."""
        self.stub.release.set()
        self._open.close()


@contextmanager
def rigged(folder: Path, sky: ScriptedSky = CLEAR, now_s: float = NOON_S) -> Iterator[Rig]:
    """A rig under a sky by script, at midsummer noon in Porto unless told otherwise."""
    clock = StillClock(now_s)
    with StubServer(sky, clock) as stub:
        made = Rig(stub, clock, folder)
        try:
            yield made
        finally:
            made.close()


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    """A rig of the test's own."""
    with rigged(tmp_path) as made:
        yield made
