"""Pictures that are sent: read as they come, bounded, kept in memory only.

Nothing is written to a disk, so nothing can be left behind there.  A process takes few uploads at a time and
makes one page at a time, so its memory is bounded: `MOST_AT_ONCE` uploads of 64 MB, and one page being made
(`noonframe.negative.build` says what that takes).
"""

import asyncio
import threading
from collections.abc import AsyncGenerator, Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.responses import Response

from noonframe.api.problems import problem_response
from noonframe.api.reading import no_query
from noonframe.api.routes.common import settings_of
from noonframe.errors import OutOfDomain
from noonframe.negative.build import MOST_NEGATIVES
from noonframe.negative.kinds import MOST_BYTES, Source

MOST_UPLOAD_BYTES = MOST_BYTES + 262_144
"""All pictures of a request together, and the little that stands around them."""

MOST_AT_ONCE = 3
LONGEST_UPLOAD_S = 120.0
LONGEST_QUEUE_S = 45.0
PICTURE, SETTINGS = "picture", "settings"
_LONGEST_NAME = 80
_Made = TypeVar("_Made")


class Busy(Exception):
    """Too much is under way already."""


@dataclass(frozen=True)
class Sent:
    """The parts of an upload: pictures with the names they were sent under, and the settings' JSON."""

    pictures: tuple[Source, ...]
    names: tuple[str, ...]
    settings: bytes | None


class Gate:
    """How much may be under way in one process: uploads held in memory, and pages being made."""

    def __init__(self, at_once: int = MOST_AT_ONCE, queue_s: float = LONGEST_QUEUE_S) -> None:
        self._uploads = threading.BoundedSemaphore(at_once)
        self._work = threading.BoundedSemaphore(1)
        self._queue_s = queue_s

    @contextmanager
    def upload(self) -> Iterator[None]:
        """Hold a place for an upload; raises `Busy` at once when there is none."""
        if not self._uploads.acquire(blocking=False):
            raise Busy
        try:
            yield
        finally:
            self._uploads.release()

    def work(self, make: Callable[[], _Made]) -> _Made:
        """Make something when it is its turn; raises `Busy` when that takes too long."""
        if not self._work.acquire(timeout=self._queue_s):
            raise Busy
        try:
            return make()
        finally:
            self._work.release()


def gate_of(request: Request) -> Gate:
    """The gate of this app."""
    state = request.app.state
    if not hasattr(state, "negative_gate"):
        state.negative_gate = Gate()
    gate: Gate = state.negative_gate
    return gate


async def with_upload(request: Request, answer: Callable[[Sent], Response]) -> Response:
    """Read an upload and answer it in a thread of its own; a full service and a slow sender are told so."""
    no_query(request)
    gate = gate_of(request)
    try:
        with gate.upload():
            try:
                async with asyncio.timeout(LONGEST_UPLOAD_S):
                    sent = await read_upload(request)
            except TimeoutError:
                return _told(request, 408, "too-slow", f"sent within {LONGEST_UPLOAD_S:.0f} s")
            return await run_in_threadpool(lambda: gate.work(lambda: answer(sent)))
    except Busy:
        return busy(request)


async def in_turn(request: Request, answer: Callable[[], Response]) -> Response:
    """Answer in a thread when it is this request's turn to make a page."""
    try:
        return await run_in_threadpool(lambda: gate_of(request).work(answer))
    except Busy:
        return busy(request)


def busy(request: Request) -> Response:
    """That the request may be made again in a moment."""
    return _told(request, 503, "busy", "sent again in a moment: other pictures are being worked on")


def _told(request: Request, status: int, kind: str, limit: str) -> Response:
    titles = {408: "The upload took too long", 503: "The service is busy with other pictures"}
    return problem_response(
        request,
        status=status,
        kind=kind,
        title=titles[status],
        detail=f"the request must be {limit}",
        errors=[{"field": "body", "value": None, "limit": limit}],
        headers={"Retry-After": "5"} if status == 503 else {"Connection": "close"},
    )


async def read_upload(request: Request) -> Sent:
    """The parts of a multipart body: `picture`, once for each picture, and at most one `settings`."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "multipart/form-data":
        raise HTTPException(415, "The body must be sent as Content-Type: multipart/form-data")
    stated = request.headers.get("content-length", "")
    if stated.isdecimal() and int(stated) > MOST_UPLOAD_BYTES:
        raise _too_large()
    most_text = settings_of(request).max_body_bytes
    parser = _InMemory(
        request.headers,
        _bounded(request),
        max_files=MOST_NEGATIVES + 1,
        max_fields=1,
        max_part_size=most_text,
    )
    try:
        form = await parser.parse()
        return _parts(form.multi_items(), most_text)
    except MultiPartException as problem:
        raise HTTPException(400, f"The body cannot be read as multipart: {problem.message}") from None
    except (KeyError, ValueError, UnicodeDecodeError):
        raise HTTPException(400, "The body cannot be read as multipart") from None
    finally:
        parser.forget()


class _InMemory(MultiPartParser):
    """A reader whose files never leave memory: they cannot be longer than the whole body may be."""

    spool_max_size = MOST_UPLOAD_BYTES + 1

    def forget(self) -> None:
        """Let go of every file begun, those of a body that broke off too."""
        for file in self._files_to_close_on_error:
            file.close()


async def _bounded(request: Request) -> AsyncGenerator[bytes, None]:
    read = 0
    async for chunk in request.stream():
        read += len(chunk)
        if read > MOST_UPLOAD_BYTES:
            raise _too_large()
        yield chunk


def _too_large() -> HTTPException:
    return HTTPException(413, f"The pictures are too large; {MOST_BYTES} bytes are the most, all together")


def _parts(items: list[tuple[str, Any]], most_text: int) -> Sent:
    pictures: list[Source] = []
    names: list[str] = []
    settings: list[bytes] = []
    for field, part in items:
        data = _bytes(part)
        if field == SETTINGS:
            settings.append(data)
            if len(data) > most_text:
                raise OutOfDomain(SETTINGS, len(data), f"at most {most_text} bytes long")
            if len(settings) > 1:
                raise OutOfDomain(SETTINGS, None, "given once")
        elif field == PICTURE and isinstance(part, UploadFile):
            number = len(pictures) + 1
            pictures.append(Source(data, f"{PICTURE}.{number}"))
            names.append(_name(part.filename, number))
        elif field == PICTURE:
            raise OutOfDomain(PICTURE, None, "sent as a file, with a file name")
        else:
            raise OutOfDomain(field, None, f"left out: the parts are {PICTURE} and {SETTINGS}")
    if not pictures:
        raise OutOfDomain(PICTURE, None, "given: a file in a part of this name")
    if len(pictures) > MOST_NEGATIVES:
        raise OutOfDomain(PICTURE, len(pictures), f"at most {MOST_NEGATIVES}")
    return Sent(tuple(pictures), tuple(names), settings[0] if settings else None)


def _bytes(part: Any) -> bytes:
    if not isinstance(part, UploadFile):
        return str(part).encode("utf-8", "replace")
    part.file.seek(0)
    return part.file.read()


def _name(filename: str | None, number: int) -> str:
    """The last part of a name, as plain text; it is told back and never used as a path."""
    last = (filename or "").replace("\\", "/").rpartition("/")[2]
    plain = "".join(letter for letter in last if letter.isprintable())[:_LONGEST_NAME].strip()
    return plain or f"picture {number}"
