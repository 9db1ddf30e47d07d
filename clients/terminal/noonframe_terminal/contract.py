"""The HTTP contract: over the network when a server is named, else the application in this process."""

import asyncio
import json
import math
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import httpx

from noonframe_terminal.hosts import is_loopback
from noonframe_terminal.trouble import Failed, from_problem, refusal

_T = TypeVar("_T")
_SVG = "image/svg+xml"
_PATIENCE = httpx.Timeout(60.0, connect=5.0)


@dataclass(frozen=True)
class Answer:
    """A good answer: its text as it came, and what it says."""

    text: str
    says: dict[str, Any]


@dataclass(frozen=True)
class Question:
    """What is asked: the contract's fields as text, the option behind each, and a spot that needs JSON."""

    fields: Mapping[str, str]
    names: Mapping[str, str]
    spot: Mapping[str, Any] | None = None

    def plus(self, more: Mapping[str, str]) -> "Question":
        """The same with more fields."""
        return replace(self, fields={**self.fields, **more})

    def less(self, *groups: Mapping[str, str]) -> "Question":
        """The same without the fields of `groups`."""
        without = set().union(*groups)
        return replace(self, fields={name: text for name, text in self.fields.items() if name not in without})

    def body(self) -> str:
        """The question as JSON."""
        fields = {name: _in_json(name, text) for name, text in self.fields.items()}
        return json.dumps({**fields, "spot": self.spot})


# the fields that are no numbers and no switches
_WORDS = frozenset(
    {
        "place",
        "time_zone",
        "sky",
        "sensitizer",
        "stack",
        "skyline",
        "window_pane",
        "aims",
        "start",
        "end",
        "date",
    }
)


def _in_json(name: str, text: str) -> object:
    """A field as JSON has it; what is no number stays text, for the service to refuse by its name."""
    if name in _WORDS:
        return text
    if text == "true":
        return True
    for kind in (int, float):
        try:
            number = kind(text)
        except ValueError:
            continue
        return number if math.isfinite(number) else text  # JSON has no word for the others
    return text


class Service:
    """Something that speaks the contract."""

    def __init__(self, client: httpx.AsyncClient, called: str) -> None:
        self._client = client
        self._called = called

    async def get(self, path: str, fields: Mapping[str, str], names: Mapping[str, str]) -> Answer:
        """What `path` answers; `names` gives the option behind each field, for when it is refused."""
        return await self.ask(path, Question(fields, names))

    async def ask(self, path: str, question: Question) -> Answer:
        """What `path` answers to `question`, which is posted when it has a spot."""
        response = await self._send(path, question, "application/json")
        says = self._object(response)
        if response.status_code != 200:
            raise from_problem(response.status_code, says, question.names)
        return Answer(response.text, says)

    async def picture(self, path: str, question: Question) -> str:
        """The drawing that `path` answers with, as SVG."""
        response = await self._send(path, question, f"{_SVG}, application/problem+json")
        if response.status_code != 200:
            raise from_problem(response.status_code, self._object(response), question.names)
        if response.headers.get("content-type", "").partition(";")[0].strip().lower() != _SVG:
            raise self._strange(response)
        return response.text

    async def _send(self, path: str, question: Question, accept: str) -> httpx.Response:
        headers = {"Accept": accept}
        try:
            if question.spot is None:
                return await self._client.get(path, params=dict(question.fields), headers=headers)
            headers["Content-Type"] = "application/json"
            return await self._client.post(path, content=question.body(), headers=headers)
        except (httpx.TransportError, httpx.DecodingError) as problem:
            reason = str(problem) or type(problem).__name__
            raise Failed(f"no answer from {self._called}: {reason}") from None

    def _object(self, response: httpx.Response) -> dict[str, Any]:
        try:
            says = json.loads(response.text)
        except ValueError:
            says = None
        if not isinstance(says, dict):
            raise self._strange(response)
        return says

    def _strange(self, response: httpx.Response) -> Failed:
        status = response.status_code
        return Failed(f"{self._called} answers, but not as noonframe does (status {status})")


def converse(server: str | None, named: str, talk: Callable[[Service], Awaitable[_T]]) -> _T:
    """Run `talk` with a service: the one at `server` (as `named` gave it), or the application itself."""

    async def whole() -> _T:
        async with _service(server, named) as service:
            return await talk(service)

    return asyncio.run(whole())


@asynccontextmanager
async def _service(server: str | None, named: str) -> AsyncIterator[Service]:
    if server is not None:
        url = _server_url(server, named)
        # credentials that an address may hold stay out of what is printed
        called = f"{url.scheme}://{url.netloc.decode('ascii')}"
        # a proxy meant for the internet has no business between this machine and itself
        by_environment = not is_loopback(url.host)
        async with httpx.AsyncClient(base_url=url, timeout=_PATIENCE, trust_env=by_environment) as client:
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
        client = httpx.AsyncClient(transport=transport, base_url="http://in-process")
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
