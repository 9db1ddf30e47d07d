"""What the tests of running exposures share: apps on real records, asked in process; holds no test itself."""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from api.conftest import Caller

from noonframe.api.app import create_app
from noonframe.settings import Settings

NOON_S = datetime(2026, 6, 21, 12, 0, tzinfo=UTC).timestamp()
YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
SHEET = {**YARD, "target_j_m2": 24000}
WINDOW = {
    "kind": "window",
    "window": {"outward_azimuth_deg": 180, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.5},
    "frame": {"distance_m": 0.5},
}
NOBODY = "/v1/runs/00000000-0000-4000-8000-000000000000"


class Clock:
    """Unix seconds that move only when told."""

    def __init__(self, now_s: float = NOON_S) -> None:
        self.now_s = now_s

    def __call__(self) -> float:
        return self.now_s


def when(after_s: float) -> str:
    """So long after noon, as requests say it."""
    return datetime.fromtimestamp(NOON_S + after_s, UTC).isoformat().replace("+00:00", "Z")


class Desk(Caller):
    """An app on a database with a clock of its own, asked as a client would ask it."""

    def __init__(self, database_url: str, clock: Clock, **settings: Any) -> None:
        self.clock = clock
        self.database_url = database_url
        super().__init__(create_app(Settings(database_url=database_url, **settings), clock=clock))

    def start(self, key: str | None = None, **fields: Any) -> Any:
        """An exposure that could be started."""
        response = self.post("/v1/runs", {**SHEET, **fields}, headers=keyed(key))
        assert response.status_code == 201, response.text
        return response.json()

    def tell(self, run: Any, kind: str, at: float | None = None, **fields: Any) -> Any:
        """The exposure after an event that was taken; `at` in seconds after noon."""
        response = self.told(run, kind, at, **fields)
        assert response.status_code == 201, response.text
        return response.json()["run"]

    def told(
        self, run: Any, kind: str, at: float | None = None, key: str | None = None, **fields: Any
    ) -> Any:
        """The response to an event."""
        body = {"kind": kind} | ({} if at is None else {"at": when(at)}) | fields
        return self.post(f"/v1/runs/{run['id']}/events", body, headers=keyed(key))

    def state(self, run: Any) -> Any:
        """The exposure now."""
        return self.answer(f"/v1/runs/{run['id']}", {})

    def events(self, run: Any, after: int = 0) -> Any:
        """Its events."""
        return self.answer(f"/v1/runs/{run['id']}/events", {"after": after})["events"]

    def close(self) -> None:
        """Let go of the records."""
        self.app.state.weather.close()
        self.app.state.records.close()


def keyed(key: str | None) -> dict[str, str]:
    return {} if key is None else {"Idempotency-Key": key}


def new_id() -> str:
    return str(uuid.uuid4())


@contextmanager
def desk_on(database_url: str, clock: Clock | None = None, **settings: Any) -> Iterator[Desk]:
    """A desk until the block is left."""
    desk = Desk(database_url, clock or Clock(), **settings)
    try:
        yield desk
    finally:
        desk.close()


def errors(response: Any, status: int) -> list[str]:
    """The fields that a refusal names, which must be a problem document of this status."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    body = response.json()
    assert body["status"] == status
    return [error["field"] for error in body["errors"]]
