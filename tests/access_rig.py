"""An installation with studios and keys, asked as its callers would ask it."""

import asyncio
from pathlib import Path
from typing import Any

import httpx

from noonframe.api.app import create_app
from noonframe.settings import Settings

NOON_S = 1_782_046_800.0  # 2026-06-21, 13:00 UTC
RUN = {"place": "quayside-yard", "target_j_m2": 24000, "name": "kelp fronds"}


class Clock:
    """Unix seconds that stand still until a test moves them."""

    def __init__(self, now_s: float = NOON_S) -> None:
        self.now_s = now_s

    def __call__(self) -> float:
        return self.now_s


class Installation:
    """One set of records with an app for its owner and one that is served."""

    def __init__(self, folder: Path, clock: Clock | None = None, **settings: Any) -> None:
        self.settings = Settings(state_dir=folder, **settings)
        self.clock = clock or Clock()
        self.owner = create_app(self.settings, clock=self.clock, operator=True)
        self.app = create_app(self.settings, clock=self.clock)

    def another_worker(self, **settings: Any) -> Any:
        """One more app over the same records."""
        return create_app(self.settings.model_copy(update=settings), clock=self.clock)

    def key(self, scope: str = "manage", studio: str | None = None, **more: Any) -> str:
        """A new key."""
        body = {"name": f"{scope} {studio or 'house'}", "scope": scope, **more}
        if studio is not None:
            body["studio"] = studio
        made = self.by_owner("POST", "/v1/keys", json=body)
        assert made.status_code == 201, made.text
        self.app.state.door.forget()
        return str(made.json()["key"])

    def studio(self, name: str) -> None:
        """A new studio."""
        made = self.by_owner("POST", "/v1/studios", json={"name": name})
        assert made.status_code == 201, made.text

    def by_owner(self, method: str, path: str, **how: Any) -> httpx.Response:
        """Ask as the command line does."""
        return ask(self.owner, method, path, **how)

    def ask(self, key: str | None, method: str, path: str, **how: Any) -> httpx.Response:
        """Ask the served app with a key, or without."""
        return ask(self.app, method, path, key=key, **how)

    def close(self) -> None:
        """Let go of the records."""
        for app in (self.owner, self.app):
            app.state.records.close()


def ask(app: Any, method: str, path: str, *, key: str | None = None, **how: Any) -> httpx.Response:
    """One request in a loop of its own."""
    headers = {**how.pop("headers", {})} | ({} if key is None else {"Authorization": f"Bearer {key}"})

    async def once() -> httpx.Response:
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            return await client.request(method, path, headers=headers, **how)

    return asyncio.run(once())


def kind_of(response: httpx.Response) -> str:
    """The last word of a problem's type."""
    assert response.headers["content-type"] == "application/problem+json", response.text
    return str(response.json()["type"]).rpartition(":")[2]
