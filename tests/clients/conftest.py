"""The command line as a pipe would see it, and the application it asks."""

import asyncio
from typing import NamedTuple

import httpx
import pytest

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe_terminal.main import main


class Said(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture
def call(capsys, monkeypatch):
    """Run the command line as a pipe would see it, 80 columns wide."""
    for name in ("NO_COLOR", "FORCE_COLOR", "TTY_COMPATIBLE", "GITHUB_ACTIONS", "PY_COLORS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "80")

    def run(*arguments):
        code = main(arguments)
        heard = capsys.readouterr()
        return Said(code, heard.out, heard.err)

    return run


@pytest.fixture(scope="session")
def app(tmp_path_factory):
    return create_app(Settings(state_dir=tmp_path_factory.mktemp("state")))


@pytest.fixture
def api(app):
    """Ask the application itself, past the command line; a `json` is posted."""

    async def ask(path, fields, body):
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://in-process") as client:
            if body is not None:
                return await client.post(path, json=body)
            return await client.get(path, params=fields, headers={"Accept": "application/json"})

    return lambda path, json=None, **fields: asyncio.run(ask(path, fields, json))
