"""The HTTP contract: over the network when a server is named, else the application in this process."""

import asyncio
import json
import math
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any, TypeVar
from uuid import uuid4

import httpx

from noonframe_terminal.event_stream import messages
from noonframe_terminal.hosts import is_loopback
from noonframe_terminal.keyed import key_header
from noonframe_terminal.trouble import Failed, from_problem, refusal

_T = TypeVar("_T")
Part = tuple[str, tuple[str | None, bytes, str]]
"""A part of a body that is sent in parts: its field; its file name if it is a file, bytes and media type."""

_SVG = "image/svg+xml"
_EVENTS = "text/event-stream"
_PATIENCE = httpx.Timeout(60.0, connect=5.0)
_SILENCE = httpx.Timeout(
    60.0, connect=5.0, read=40.0
)  # a stream says something every fifteen seconds at least
_AGAIN_AFTER_S = (0.3, 1.0, 2.0)
_BUSY = "in-progress"


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
        return json.dumps(self.as_object() | {"spot": self.spot})

    def as_object(self) -> dict[str, Any]:
        """The question as a JSON object; a spot only where there is one."""
        fields = {name: in_json(name, text) for name, text in self.fields.items()}
        return fields if self.spot is None else {**fields, "spot": self.spot}


@dataclass(frozen=True)
class Message:
    """One message of a stream: its kind, the id to come back with, its text and what that says."""

    kind: str
    id: str
    text: str
    says: dict[str, Any]


# the fields that are no numbers and no switches
_WORDS = frozenset(
    {
        "name",
        "saved_place",
        "saved_spot",
        "lamp",
        "objects",
        "recipe",
        "target_source",
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


def in_json(name: str, text: str) -> object:
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
    """Something that speaks the contract; `streams` where a stream can be read from it as it comes."""

    def __init__(self, client: httpx.AsyncClient, called: str, *, streams: bool = True) -> None:
        self._client = client
        self._called = called
        self.streams = streams

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

    async def file(self, path: str, question: Question, kind: str) -> bytes:
        """The file of media type `kind` that `path` answers with, byte by byte."""
        response = await self._send(path, question, f"{kind}, application/problem+json")
        if response.status_code != 200:
            raise from_problem(response.status_code, self._object(response), question.names)
        if response.headers.get("content-type", "").partition(";")[0].strip().lower() != kind:
            raise self._strange(response)
        return response.content

    async def send(
        self, path: str, parts: Sequence[Part], kind: str, names: Mapping[str, str]
    ) -> tuple[bytes, Mapping[str, str]]:
        """What `path` answers to files and fields: bytes of media type `kind`, and headers."""
        headers = {"Accept": f"{kind}, application/problem+json"}
        try:
            response = await self._client.post(path, files=list(parts), headers=headers)
        except (httpx.TransportError, httpx.DecodingError) as problem:
            raise self._no_answer(problem) from None
        if response.status_code != 200:
            raise from_problem(response.status_code, self._object(response), names)
        if response.headers.get("content-type", "").partition(";")[0].strip().lower() != kind:
            raise self._strange(response)
        return response.content, response.headers

    async def drawing(self, path: str, body: Mapping[str, Any], names: Mapping[str, str]) -> str:
        """The drawing that `path` answers a body with, as SVG."""
        headers = {"Accept": f"{_SVG}, application/problem+json"}
        try:
            response = await self._client.post(path, json=body, headers=headers)
        except (httpx.TransportError, httpx.DecodingError) as problem:
            raise self._no_answer(problem) from None
        if response.status_code != 200:
            raise from_problem(response.status_code, self._object(response), names)
        if response.headers.get("content-type", "").partition(";")[0].strip().lower() != _SVG:
            raise self._strange(response)
        return response.text

    async def text(self, path: str, fields: Mapping[str, str], names: Mapping[str, str], kind: str) -> str:
        """The document of media type `kind` that `path` answers with, as it came."""
        response = await self._send(path, Question(fields, names), f"{kind}, application/problem+json")
        if response.status_code != 200:
            raise from_problem(response.status_code, self._object(response), names)
        if response.headers.get("content-type", "").partition(";")[0].strip().lower() != kind:
            raise self._strange(response)
        return response.text

    async def post(self, path: str, body: Mapping[str, Any] | bytes, names: Mapping[str, str]) -> Answer:
        """What `path` answers to a body that may be sent as often as one likes."""
        headers = {"Accept": "application/json", "Content-Type": "application/json"}
        content = body if isinstance(body, bytes) else json.dumps(body).encode()
        try:
            response = await self._client.post(path, content=content, headers=headers)
        except (httpx.TransportError, httpx.DecodingError) as problem:
            raise self._no_answer(problem) from None
        says = self._object(response)
        if response.status_code not in (200, 201):
            raise from_problem(response.status_code, says, names)
        return Answer(response.text, says)

    async def change(
        self,
        path: str,
        body: Mapping[str, Any],
        names: Mapping[str, str],
        *,
        method: str = "POST",
        version: int | None = None,
        look: str = "noonframe run list",
    ) -> Answer:
        """What `path` answers to a change, which takes effect once however often it has to be sent.

        `version` is the one that the change was made from; `look` is the command that shows what was kept.
        """
        headers = {
            "Accept": "application/json",
            "Content-Type": "application/json",
            "Idempotency-Key": f'"{uuid4()}"',
        }
        if version is not None:
            headers["If-Match"] = f'"{version}"'
        content = json.dumps(body)
        for again_after_s in (*_AGAIN_AFTER_S, None):
            try:
                response = await self._client.request(method, path, content=content, headers=headers)
            except (httpx.TransportError, httpx.DecodingError) as problem:
                if again_after_s is None:
                    raise Failed(
                        *self._no_answer(problem).lines,
                        f"it may have been kept all the same: {look}",
                    ) from None
            else:
                says = self._object(response)
                busy = response.status_code == 503 or str(says.get("type", "")).endswith(_BUSY)
                if not busy or again_after_s is None:
                    break
            await asyncio.sleep(again_after_s)
        if response.status_code not in (200, 201):
            raise from_problem(response.status_code, says, names)
        return Answer(response.text, says)

    async def stream(self, path: str, last_id: str) -> AsyncIterator[Message]:
        """The messages of `path` after the one with `last_id`, until the other side ends them."""
        headers = {"Accept": f"{_EVENTS}, application/problem+json", "Cache-Control": "no-store"}
        if last_id:
            headers["Last-Event-ID"] = last_id
        try:
            async with self._client.stream("GET", path, headers=headers, timeout=_SILENCE) as response:
                if response.status_code != 200:
                    await response.aread()
                    raise from_problem(response.status_code, self._object(response), {})
                if response.headers.get("content-type", "").partition(";")[0].strip().lower() != _EVENTS:
                    raise self._strange(response)
                async for kind, message_id, text in messages(response.aiter_bytes()):
                    yield Message(kind, message_id, text, self._read(text, response))
        except (httpx.TransportError, httpx.DecodingError) as problem:
            raise self._no_answer(problem) from None

    def _no_answer(self, problem: Exception) -> Failed:
        return Failed(f"no answer from {self._called}: {str(problem) or type(problem).__name__}")

    async def _send(self, path: str, question: Question, accept: str) -> httpx.Response:
        headers = {"Accept": accept}
        try:
            if question.spot is None:
                return await self._client.get(path, params=dict(question.fields), headers=headers)
            headers["Content-Type"] = "application/json"
            return await self._client.post(path, content=question.body(), headers=headers)
        except (httpx.TransportError, httpx.DecodingError) as problem:
            raise self._no_answer(problem) from None

    def _object(self, response: httpx.Response) -> dict[str, Any]:
        return self._read(response.text, response)

    def _read(self, text: str, response: httpx.Response) -> dict[str, Any]:
        try:
            says = json.loads(text)
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


def converse_with(app: Any, talk: Callable[[Service], Awaitable[_T]]) -> _T:
    """Run `talk` with an application in this process."""

    async def whole() -> _T:
        async with _in_process(app) as service:
            return await talk(service)

    return asyncio.run(whole())


@asynccontextmanager
async def _service(server: str | None, named: str) -> AsyncIterator[Service]:
    if server is None:
        async with _in_process(_application()) as service:
            yield service
        return
    url = _server_url(server, named)
    # credentials that an address may hold stay out of what is printed
    called = f"{url.scheme}://{url.netloc.decode('ascii')}"
    # a proxy meant for the internet has no business between this machine and itself
    by_environment = not is_loopback(url.host)
    async with httpx.AsyncClient(
        base_url=url, headers=key_header(server), timeout=_PATIENCE, trust_env=by_environment
    ) as client:
        yield Service(client, called, streams=True)


@asynccontextmanager
async def _in_process(app: Any) -> AsyncIterator[Service]:
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    async with AsyncExitStack() as stack:
        try:
            await stack.enter_async_context(app.router.lifespan_context(app))
        except Exception as problem:
            if not hasattr(problem, "field"):  # what the service raises on purpose says what is at fault
                raise
            raise Failed(str(problem)) from None
        client = httpx.AsyncClient(transport=transport, base_url="http://in-process")
        # this transport hands a response over when it is whole, which a stream never is
        yield Service(await stack.enter_async_context(client), "noonframe", streams=False)


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

    return create_app(settings_or_refuse(), operator=True)
