"""/v1/say and what lies under it: one sentence each, or flat JSON."""

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse, PlainTextResponse
from pydantic import BaseModel

from noonframe.api.ask import find_where
from noonframe.api.bench_fill import bench_of, filled
from noonframe.api.calendar_feeds import session_named
from noonframe.api.calendar_session import read_plan
from noonframe.api.calendar_slots import days_from
from noonframe.api.examples import EXPOSURE
from noonframe.api.inputs import ExposureQuery, SlotsQuery
from noonframe.api.outputs import SayAnswer
from noonframe.api.reading import no_query, prefers_json, query_parameters, read_query
from noonframe.api.routes.common import now_of, settings_of, weather_of
from noonframe.api.routes.direct import DirectRoute
from noonframe.api.routes.exposure import answer_soon
from noonframe.api.routes.moves import SVG, planned
from noonframe.api.routes.slots import answer_slots
from noonframe.api.say import flat_answer, next_in_plan, tomorrow_answer
from noonframe.api.say_address import own_address
from noonframe.api.say_examples import NEXT_MOVE, TOMORROW
from noonframe.api.say_inputs import NextMoveQuery, RunningQuery, TomorrowQuery
from noonframe.api.say_outputs import AddressAnswer, SayNextMove, SayRunning, SayTomorrow
from noonframe.api.say_qr import draw_address
from noonframe.api.say_running import (
    next_of_runs,
    next_of_session,
    running_answer,
    runs_under_way,
    time_left_answer,
)
from noonframe.errors import Malformed, OutOfDomain

if TYPE_CHECKING:
    from noonframe.store.sessions import SessionFields
    from noonframe.store.versioned import Saved

router = APIRouter(tags=["say"], route_class=DirectRoute)
_ON_WITHIN_S = 86400.0  # a session that begins by then is the one that is on


def _spoken(model: type[BaseModel]) -> dict[int | str, dict[str, Any]]:
    return {200: {"model": model, "content": {"text/plain": {"schema": {"type": "string"}}}}}


def _said(request: Request, answer: BaseModel) -> Response:
    """The sentence of a flat answer, or the answer itself for whoever prefers JSON."""
    told = answer.model_dump()
    if prefers_json(request.headers.get("accept", "")):
        return JSONResponse(told, headers={"Vary": "Accept"})
    return PlainTextResponse(told["summary"], headers={"Vary": "Accept"})


@router.get(
    "/v1/say",
    operation_id="say",
    response_class=PlainTextResponse,
    responses=_spoken(SayAnswer),
    openapi_extra=query_parameters(ExposureQuery, EXPOSURE),
)
async def get_say(request: Request) -> Response:
    """The exposure as one sentence; flat JSON with `Accept: application/json`."""
    return _said(request, flat_answer(await answer_soon(request)))


@router.get(
    "/v1/say/tomorrow",
    operation_id="say_tomorrow",
    response_class=PlainTextResponse,
    responses=_spoken(SayTomorrow),
    openapi_extra=query_parameters(TomorrowQuery, TOMORROW),
)
def get_tomorrow(request: Request) -> Response:
    """The best slot of tomorrow as one sentence, or flat JSON."""
    return _said(request, tomorrow_of(request, read_query(TomorrowQuery, request)))


def tomorrow_of(request: Request, query: TomorrowQuery) -> SayTomorrow:
    """The best slot of the civil day after today, at the place asked about."""
    full, spot = filled(request, query)
    now_s = now_of(request)
    _, day = days_from(now_s, find_where(full).zone, 2)
    slots = SlotsQuery(**full.model_dump(exclude_unset=True), date=day, limit=1)
    return tomorrow_answer(answer_slots(slots, settings_of(request), now_s, spot, weather_of(request)), day)


@router.get(
    "/v1/say/next-move",
    operation_id="say_next_move",
    response_class=PlainTextResponse,
    responses=_spoken(SayNextMove),
    openapi_extra=query_parameters(NextMoveQuery, NEXT_MOVE),
)
def get_next_move(request: Request) -> Response:
    """The next thing to do with a frame as one sentence, or flat JSON.

    With a place: the next move in the plan for a print there, begun now or at `start`.  Without one: the next
    step of the session that is on, else the next print to be taken in.
    """
    query, now_s = read_query(NextMoveQuery, request), now_of(request)
    if query.model_fields_set - {"session"}:
        if query.session is not None:
            raise OutOfDomain("session", query.session, "left out when a place is given")
        full, spot = filled(request, query)
        plan = planned(full, settings_of(request), now_s, spot).answer()
        return _said(request, next_in_plan(plan, now_s))
    saved = _session(request, query.session, now_s)
    if saved is not None:
        try:
            return _said(request, next_of_session(saved, read_plan(saved.fields.plan), now_s))
        except Malformed:
            if query.session is not None:  # nobody asked for this one: what is in the light counts then
                raise
    return _said(request, next_of_runs(runs_under_way(request.app.state.runs, now_s), now_s))


def _session(request: Request, words: str | None, now_s: float) -> "Saved[SessionFields] | None":
    """The session that a request names; without a name the one that is on, or the next within a day."""
    from noonframe.store.sessions import search

    with bench_of(request).records.open().read() as db:
        if words is not None:
            return session_named(db, words)
        found = search(db, from_s=now_s, to_s=now_s + _ON_WITHIN_S, limit=50)
    return found[-1] if found else None


@router.get(
    "/v1/say/running",
    operation_id="say_running",
    response_class=PlainTextResponse,
    responses=_spoken(SayRunning),
    openapi_extra=query_parameters(RunningQuery, {}),
)
def get_running(request: Request) -> Response:
    """What is in the light as one sentence, or flat JSON: how many, and the next to finish."""
    query, now_s = read_query(RunningQuery, request), now_of(request)
    runs = runs_under_way(request.app.state.runs, now_s, query.name)
    return _said(request, running_answer(runs, now_s, query.name))


@router.get(
    "/v1/say/time-left",
    operation_id="say_time_left",
    response_class=PlainTextResponse,
    responses=_spoken(SayRunning),
    openapi_extra=query_parameters(RunningQuery, {}),
)
def get_time_left(request: Request) -> Response:
    """How much longer the next to finish takes as one sentence, or flat JSON."""
    query, now_s = read_query(RunningQuery, request), now_of(request)
    runs = runs_under_way(request.app.state.runs, now_s, query.name)
    return _said(request, time_left_answer(runs, now_s, query.name))


@router.get("/v1/address", operation_id="address")
def get_address(request: Request) -> AddressAnswer:
    """The address that this request came by, and whether a phone can use it."""
    no_query(request)
    own = own_address(request)
    return AddressAnswer(address=own.base, loopback=own.loopback, summary=own.summary)


@router.get(
    "/v1/address.svg",
    operation_id="address_picture",
    response_class=Response,
    responses={
        200: {"content": {SVG: {"schema": {"type": "string"}}}, "description": "The address as a QR code"}
    },
)
def get_address_picture(request: Request) -> Response:
    """The same as a QR code for a phone's camera."""
    no_query(request)
    return Response(draw_address(own_address(request)), media_type=SVG)
