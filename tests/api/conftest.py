"""The service in process, asked as a client would ask it."""

import asyncio
import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from noonframe.api.app import create_app
from noonframe.settings import Settings

NOW = dt.datetime(2026, 6, 21, 9, 0, tzinfo=dt.UTC).timestamp()  # ten in the morning in Porto


class Caller:
    """One request after another to an app, each in its own loop; a failing app answers as a server would."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app

    def request(self, method: str, path: str, **how: Any) -> httpx.Response:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
                return await client.request(method, path, **how)

        return asyncio.run(ask())

    def raw(self, path: str, query: bytes) -> tuple[int, bytes]:
        """Status and body of a GET whose query no client library would send as it stands."""
        sent: list[Any] = []
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "GET",
            "scheme": "http",
            "path": path,
            "raw_path": path.encode(),
            "query_string": query,
            "root_path": "",
            "headers": [(b"host", b"localhost")],
            "client": ("127.0.0.1", 50000),
            "server": ("127.0.0.1", 80),
        }

        async def receive() -> Any:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Any) -> None:
            sent.append(message)

        asyncio.run(self.app(scope, receive, send))  # type: ignore[arg-type]
        return sent[0]["status"], b"".join(message.get("body", b"") for message in sent[1:])

    def get(self, path: str, fields: Mapping[str, object] | str | None = None, **how: Any) -> httpx.Response:
        """GET with `fields` as the query, or with a query string sent as it stands."""
        if isinstance(fields, str):
            return self.request("GET", f"{path}?{fields}", **how)
        query = {name: str(value) for name, value in (fields or {}).items()}
        return self.request("GET", path, params=query, **how)

    def post(self, path: str, body: object, **how: Any) -> httpx.Response:
        """POST with `body` as JSON, or with bytes sent as they stand but said to be JSON."""
        if isinstance(body, bytes):
            headers = {"Content-Type": "application/json", **how.pop("headers", {})}
            return self.request("POST", path, content=body, headers=headers, **how)
        return self.request("POST", path, json=body, **how)

    def answer(self, path: str, fields: Mapping[str, object]) -> Any:
        """The JSON of a GET that must succeed."""
        response = self.get(path, fields)
        assert response.status_code == 200, response.text
        return response.json()


@pytest.fixture(scope="session")
def app(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    return create_app(Settings(state_dir=tmp_path_factory.mktemp("state")), clock=lambda: NOW)


@pytest.fixture(scope="session")
def caller(app: FastAPI) -> Caller:
    return Caller(app)


@pytest.fixture(scope="session")
def caller_with() -> Callable[..., Caller]:
    """A caller of an app with other settings or another clock."""

    def make(now_s: float = NOW, **settings: Any) -> Caller:
        return Caller(create_app(Settings(**settings), clock=lambda: now_s))

    return make
