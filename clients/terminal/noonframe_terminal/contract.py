"""The HTTP contract: over the network when a server is named, else the application in this process."""

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

import httpx

from noonframe_terminal.hosts import is_loopback
from noonframe_terminal.trouble import Failed, from_problem, refusal

_T = TypeVar("_T")
_PATIENCE = httpx.Timeout(60.0, connect=5.0)


@dataclass(frozen=True)
class Answer:
    """A good answer: its text as it came, and what it says."""

    text: str
    says: dict[str, Any]


class Service:
    """Something that speaks the contract."""

    def __init__(self, client: httpx.AsyncClient, called: str) -> None:
        self._client = client
        self._called = called

    async def get(self, path: str, fields: Mapping[str, str], names: Mapping[str, str]) -> Answer:
        """What `path` answers; `names` gives the option behind each field, for when it is refused."""
        try:
            response = await self._client.get(path, params=dict(fields))
        except (httpx.TransportError, httpx.DecodingError) as problem:
            reason = str(problem) or type(problem).__name__
            raise Failed(f"no answer from {self._called}: {reason}") from None
        try:
            says = json.loads(response.text)
        except ValueError:
            says = None
        if not isinstance(says, dict):
            raise Failed(f"{self._called} answers, but not as noonframe does (status {response.status_code})")
        if response.status_code != 200:
            raise from_problem(response.status_code, says, names)
        return Answer(response.text, says)


def converse(server: str | None, named: str, talk: Callable[[Service], Awaitable[_T]]) -> _T:
    """Run `talk` with a service: the one at `server` (as `named` gave it), or the application itself."""

    async def whole() -> _T:
        async with _service(server, named) as service:
            return await talk(service)

    return asyncio.run(whole())


@asynccontextmanager
async def _service(server: str | None, named: str) -> AsyncIterator[Service]:
    accept = {"Accept": "application/json"}
    if server is not None:
        url = _server_url(server, named)
        # credentials that an address may hold stay out of what is printed
        called = f"{url.scheme}://{url.netloc.decode('ascii')}"
        # a proxy meant for the internet has no business between this machine and itself
        by_environment = not is_loopback(url.host)
        async with httpx.AsyncClient(
            base_url=url, headers=accept, timeout=_PATIENCE, trust_env=by_environment
        ) as client:
            yield Service(client, called)
        return
    app = _application()
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    async with AsyncExitStack() as stack:
        try:
            await stack.enter_async_context(app.router.lifespan_context(app))
        except Exception as problem:
            if not hasattr(problem, "field"):  # what the service raises on purpose says what is at fault
                raise
            raise Failed(str(problem)) from None
        client = httpx.AsyncClient(transport=transport, base_url="http://in-process", headers=accept)
        yield Service(await stack.enter_async_context(client), "noonframe")


def _server_url(server: str, named: str) -> httpx.URL:
    limit = "an address such as http://127.0.0.1:8765"
    try:
        url = httpx.URL(server.strip())
    except httpx.InvalidURL:
        raise refusal(named, None, limit) from None
    if url.scheme not in ("http", "https") or not url.host or url.query or url.fragment:
        raise refusal(named, None if url.userinfo else server, limit)
    return url


def _application() -> Any:
    from noonframe.api.app import create_app
    from noonframe_terminal.serve import settings_or_refuse

    return create_app(settings_or_refuse())
