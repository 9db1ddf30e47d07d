"""/v1/runs: exposures that are under way."""

from collections.abc import AsyncIterator
from typing import TYPE_CHECKING, Annotated
from uuid import UUID

from fastapi import APIRouter, Depends, Request, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent
from starlette.concurrency import run_in_threadpool

from noonframe.api.examples import RUN, SEEN
from noonframe.api.idempotent import once
from noonframe.api.inputs_runs import EventBody, EventsQuery, RunBody, RunsQuery
from noonframe.api.outputs_runs import EventItem, EventsAnswer, RunAnswer, RunsAnswer, ToldAnswer
from noonframe.api.reading import body_of, json_body, no_query, query_parameters, read_query
from noonframe.api.routes.common import now_of
from noonframe.api.runs import RunDesk, event_item, run_item
from noonframe.api.streams import Watcher
from noonframe.errors import Malformed

if TYPE_CHECKING:
    from sqlalchemy import Connection

router = APIRouter(tags=["runs"])
STATE_EVERY_S = 5.0


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
    return once(request, desk.records, content, lambda db: desk.start(db, body, now_s), status_code=201)


@router.get("/v1/runs", operation_id="runs", openapi_extra=query_parameters(RunsQuery, {"limit": 10}))
def list_runs(request: Request) -> RunsAnswer:
    """Exposures under way and ended, newest first."""
    from noonframe.store import exposures
    from noonframe.store.exposures import ExposureStatus

    query, desk = read_query(RunsQuery, request), desk_of(request)
    statuses = tuple(ExposureStatus) if query.status is None else (ExposureStatus(query.status),)
    with desk.records.open().read() as db:
        rows = exposures.newest(db, statuses=statuses, limit=query.limit)
    return RunsAnswer(runs=[run_item(row, desk.zone_of(row.id, row)) for row in rows])


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

    def work(db: "Connection") -> ToldAnswer:
        event, run = desk.tell(db, run_id, body, now_s)
        return ToldAnswer(event=event, run=run)

    content = body.model_dump(mode="json", exclude_unset=True)
    return once(request, desk.records, content, work, status_code=201)


@router.get(
    "/v1/runs/{run_id}/events",
    operation_id="run_events",
    openapi_extra=query_parameters(EventsQuery, {"after": 0}),
)
def list_events(request: Request, run_id: UUID) -> EventsAnswer:
    """What was told of the exposure, in the order of telling."""
    query = read_query(EventsQuery, request)
    return EventsAnswer(events=_events_after(desk_of(request), run_id, query.after))


def _events_after(desk: RunDesk, run_id: UUID, sequence: int) -> list[EventItem]:
    from noonframe.store import exposures

    with desk.records.open().read() as db:
        row = exposures.get(db, run_id)
        rows = exposures.events_after(db, run_id, sequence)
    zone = desk.zone_of(run_id, row)
    return [event_item(one, zone) for one in rows]


@router.get("/v1/runs/{run_id}/stream", operation_id="run_stream", response_class=EventSourceResponse)
async def stream_run(request: Request, run_id: UUID) -> AsyncIterator[ServerSentEvent]:
    """The exposure as server-sent events: `told` for each event, `state` every five seconds and after it.

    The id of a message is the sequence number of the last event; a reader that comes back with
    `Last-Event-ID` is told what it missed.
    """
    no_query(request)
    known = _last_known(request)
    desk: RunDesk = request.app.state.runs
    watcher: Watcher = request.app.state.watcher
    state = await run_in_threadpool(desk.state, run_id, now_of(request))
    watcher.watch(run_id, state.version)
    try:
        while True:
            if state.last_sequence > known:
                for event in await run_in_threadpool(_events_after, desk, run_id, known):
                    known = event.sequence
                    yield ServerSentEvent(data=event, event="told", id=str(known))
            yield ServerSentEvent(data=state, event="state", id=str(known))
            if state.status in ("finished", "discarded") or watcher.stopping:
                return
            await watcher.wait(run_id, state.version, STATE_EVERY_S)
            if watcher.stopping:
                return
            version = watcher.version(run_id)
            state = await run_in_threadpool(desk.followed_state, run_id, version, now_of(request))
    finally:
        watcher.leave(run_id)


def _last_known(request: Request) -> int:
    given = request.headers.get("last-event-id", "").strip()
    if not given:
        return 0
    if not (given.isascii() and given.isdecimal() and len(given) <= 12):
        raise Malformed("Last-Event-ID", given[:40], "a sequence number, as a message's id was")
    return int(given)
