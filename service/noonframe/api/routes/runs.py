"""/v1/runs: exposures that are under way."""

import asyncio
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated
from uuid import UUID

from fastapi import APIRouter, Depends, Request, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from noonframe.api.bench_fill import with_spot
from noonframe.api.examples import RUN, SEEN
from noonframe.api.idempotent import once
from noonframe.api.inputs_runs import EventBody, EventsQuery, RunBody, RunsQuery
from noonframe.api.outputs_runs import EventsAnswer, RunAnswer, RunsAnswer, ToldAnswer
from noonframe.api.problems import PROBLEM_RESPONSES
from noonframe.api.reading import body_of, json_body, no_query, query_parameters, read_query
from noonframe.api.routes.common import now_of
from noonframe.api.runs import RunDesk
from noonframe.api.runs_told import ENDED
from noonframe.api.streams import Watcher
from noonframe.errors import Malformed, OutOfDomain
from noonframe.store.errors import StoreError

if TYPE_CHECKING:
    from sqlalchemy import Connection

router = APIRouter(tags=["runs"])
STATE_EVERY_S = 5.0
_KINDS = ("*/*", "text/*", "text/event-stream")  # by how closely they name a stream of events


def desk_of(request: Request) -> RunDesk:
    """The app's desk for running exposures."""
    desk: RunDesk = request.app.state.runs
    return desk


@router.post(
    "/v1/runs",
    operation_id="start_run",
    status_code=201,
    response_model=RunAnswer,
    openapi_extra=json_body(RunBody, RUN),
)
def start_run(request: Request, body: Annotated[RunBody, Depends(body_of(RunBody))]) -> Response:
    """Put a sheet into the light; with an `Idempotency-Key` a repetition starts nothing new."""
    desk, now_s = desk_of(request), now_of(request)
    content = body.model_dump(mode="json", exclude_unset=True)
    answer = once(
        request,
        desk.records,
        content,
        lambda: desk.starting(with_spot(request, body), now_s),
        status_code=201,
    )
    answer.background = BackgroundTask(desk.tidy)
    return answer


@router.get("/v1/runs", operation_id="runs", openapi_extra=query_parameters(RunsQuery, {"limit": 10}))
def list_runs(request: Request) -> RunsAnswer:
    """Exposures under way and ended, newest first."""
    from noonframe.store import exposures
    from noonframe.store.exposures import ExposureStatus

    query, desk = read_query(RunsQuery, request), desk_of(request)
    statuses = tuple(ExposureStatus) if query.status is None else (ExposureStatus(query.status),)
    with desk.records.open().read() as db:
        rows = exposures.newest(db, statuses=statuses, limit=query.limit)
    return RunsAnswer(runs=desk.items(rows))


@router.get("/v1/runs/{run_id}", operation_id="run")
def get_run(request: Request, run_id: UUID) -> RunAnswer:
    """The exposure now: dose so far, expected end, what to do."""
    no_query(request)
    return desk_of(request).state(run_id, now_of(request))


@router.post(
    "/v1/runs/{run_id}/events",
    operation_id="tell_run",
    status_code=201,
    response_model=ToldAnswer,
    openapi_extra=json_body(EventBody, SEEN),
)
def tell_run(
    request: Request, run_id: UUID, body: Annotated[EventBody, Depends(body_of(EventBody))]
) -> Response:
    """Tell what happened, with its own time; it is kept before this answers."""
    desk, now_s = desk_of(request), now_of(request)

    def prepare() -> "Callable[[Connection], ToldAnswer]":
        tell = desk.telling(run_id, body, now_s)

        def work(db: "Connection") -> ToldAnswer:
            event, run = tell(db)
            return ToldAnswer(event=event, run=run)

        return work

    content = body.model_dump(mode="json", exclude_unset=True)
    answer = once(request, desk.records, content, prepare, status_code=201)
    request.app.state.watcher.hurry()
    return answer


@router.get(
    "/v1/runs/{run_id}/events",
    operation_id="run_events",
    openapi_extra=query_parameters(EventsQuery, {"after": 0}),
)
def list_events(request: Request, run_id: UUID) -> EventsAnswer:
    """What was told of the exposure, in the order of telling."""
    query = read_query(EventsQuery, request)
    return EventsAnswer(events=desk_of(request).events(run_id, query.after))


@dataclass(frozen=True)
class _Opened:
    """A stream about to begin: the exposure, and the last event that its reader knows."""

    run_id: UUID
    state: RunAnswer
    known: int


def open_stream(request: Request, run_id: UUID) -> _Opened:
    """Everything that can be refused, before the answer has begun and could no longer be a problem."""
    no_query(request)
    if not _takes_events(request.headers.get("accept", "*/*")):
        raise HTTPException(406, "A stream is text/event-stream; the Accept header must allow that")
    known = _last_known(request)
    state = desk_of(request).state(run_id, now_of(request))
    if known > state.last_sequence:
        raise OutOfDomain("Last-Event-ID", known, f"at most {state.last_sequence}, the newest event's number")
    return _Opened(run_id, state, known)


@router.get(
    "/v1/runs/{run_id}/stream",
    operation_id="run_stream",
    response_class=EventSourceResponse,
    responses={406: {**PROBLEM_RESPONSES[422], "description": "The Accept header allows no stream."}},
)
async def stream_run(
    request: Request, opened: Annotated[_Opened, Depends(open_stream)]
) -> AsyncIterator[ServerSentEvent]:
    """The exposure as server-sent events: `told` for each event, `state` every five seconds and after it.

    The id of a message is the sequence number of the last event; a reader that comes back with
    `Last-Event-ID` is told what it missed.  The stream ends when the exposure has.
    """
    desk: RunDesk = request.app.state.runs
    watcher: Watcher = request.app.state.watcher
    run_id, state, known = opened.run_id, opened.state, opened.known
    watcher.watch(run_id, state.version)
    try:
        while True:
            try:
                if state.last_sequence > known:
                    for event in await run_in_threadpool(desk.events, run_id, known):
                        known = event.sequence
                        yield ServerSentEvent(data=event, event="told", id=str(known))
                yield ServerSentEvent(data=state, event="state", id=str(known))
                if state.status in ENDED:
                    return
                await watcher.wait(run_id, state.version, STATE_EVERY_S)
                if watcher.stopping:
                    return
                version = watcher.version(run_id)
                state = await run_in_threadpool(desk.followed_state, run_id, version, now_of(request))
            except StoreError:
                await asyncio.sleep(STATE_EVERY_S)  # the reader keeps what it has until they can be read
    finally:
        watcher.leave(run_id)


def _takes_events(accept: str) -> bool:
    """Whether an Accept header allows a stream of events (RFC 9110, 12.5.1)."""
    best, allowed = -1, False
    for item in accept.lower().split(","):
        kind, *parameters = (part.strip() for part in item.split(";"))
        rank = _KINDS.index(kind) if kind in _KINDS else -1
        if rank > best:
            weight = next((one[2:] for one in parameters if one.startswith("q=")), "1")
            best, allowed = rank, weight.strip("0.") != ""
    return allowed


def _last_known(request: Request) -> int:
    given = request.headers.get("last-event-id", "").strip()
    if not given:
        return 0
    if not (given.isascii() and given.isdecimal() and len(given) <= 12):
        raise Malformed("Last-Event-ID", given[:40], "a sequence number, as a message's id was")
    return int(given)
