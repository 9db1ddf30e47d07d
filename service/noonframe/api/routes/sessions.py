"""/v1/session and /v1/sessions: a day of printing planned, saved, and planned anew while it runs."""

from typing import Annotated, Any
from uuid import UUID

from fastapi import APIRouter, Depends, Request, Response

from noonframe.api.bench_bodies import VersionQuery
from noonframe.api.bench_match import CHANGE
from noonframe.api.bench_shelf import changed, visit_of
from noonframe.api.examples import SESSION, SESSION_CHANGE, SESSION_REPLAN, SESSION_SAVED
from noonframe.api.pictures.session_plan import draw_session
from noonframe.api.problems import CHANGE_RESPONSES
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.session_answers import (
    SessionAnswer,
    SessionPlanAnswer,
    SessionsAnswer,
    SessionVersionsAnswer,
)
from noonframe.api.session_bodies import (
    ReplanBody,
    SessionBody,
    SessionChange,
    SessionSaveBody,
    SessionsQuery,
)
from noonframe.api.session_desk import plan_new
from noonframe.api.session_shelf import (
    alter_session,
    desk_for,
    find_sessions,
    make_session,
    replanned,
    session_shelf,
    shape_item,
    shape_session,
)
from noonframe.api.shelf_routes import Kind, Said, add_shelf

router = APIRouter(tags=["sessions"])
_SVG = "image/svg+xml"
_PICTURE: dict[int | str, dict[str, Any]] = {
    200: {"content": {_SVG: {"schema": {"type": "string"}}}, "description": "A drawing of the plan"}
}

SESSION_KIND = Kind(
    what="session",
    path="/v1/sessions",
    shelf=session_shelf,
    body=SessionSaveBody,
    change=SessionChange,
    body_example=SESSION_SAVED,
    change_example=SESSION_CHANGE,
    answer=SessionAnswer,
    many=SessionVersionsAnswer,
    gather=lambda found: SessionVersionsAnswer(sessions=found),
    make=make_session,
    alter=alter_session,
    shape=shape_session,
    says={
        "create": Said("Plan a session and save it with its plan."),
        "change": Said("Give a session another name, with `If-Match`; see /replan for its plan."),
    },
)


@router.post("/v1/session", operation_id="plan_session", openapi_extra=json_body(SessionBody, SESSION))
def post_plan(
    request: Request, body: Annotated[SessionBody, Depends(body_of(SessionBody))]
) -> SessionPlanAnswer:
    """Plan a session: which sheet goes into which frame, when and where, with the printer's hands for it all.

    The plan gets the most done, counted by priority, then as soon as can be, in the steadiest light; it says
    how far from the best possible it can be, and why a sheet does not fit.
    """
    return plan_new(body, desk_for(request))


@router.post(
    "/v1/session/picture",
    operation_id="session_plan_picture",
    response_class=Response,
    responses=_PICTURE,
    openapi_extra=json_body(SessionBody, SESSION),
)
def post_picture(request: Request, body: Annotated[SessionBody, Depends(body_of(SessionBody))]) -> Response:
    """The same as a drawing: frames, hands and tray over the light of the day."""
    return Response(draw_session(plan_new(body, desk_for(request))), media_type=_SVG)


@router.get(
    "/v1/sessions", operation_id="sessions", openapi_extra=query_parameters(SessionsQuery, {"limit": 10})
)
def list_sessions(request: Request) -> SessionsAnswer:
    """Saved sessions, of some days or by name, the latest to begin first."""
    query, visit = read_query(SessionsQuery, request), visit_of(request)
    with visit.desk.records.open().read() as db:
        return SessionsAnswer(sessions=[shape_item(each) for each in find_sessions(db, query)])


@router.get(
    "/v1/sessions/{session_id}/picture",
    operation_id="session_picture",
    response_class=Response,
    responses=_PICTURE,
    openapi_extra=query_parameters(VersionQuery, {}),
)
def get_picture(request: Request, session_id: UUID) -> Response:
    """A saved session's plan as a drawing."""
    query, visit = read_query(VersionQuery, request), visit_of(request)
    with visit.desk.records.open().read() as db:
        saved = session_shelf().get(db, session_id, query.version)
    return Response(draw_session(shape_session(saved).plan, saved.fields.name), media_type=_SVG)


@router.post(
    "/v1/sessions/{session_id}/replan",
    operation_id="replan_session",
    response_model=SessionAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra={**json_body(ReplanBody, SESSION_REPLAN), **CHANGE},
)
def post_replan(
    request: Request, session_id: UUID, body: Annotated[ReplanBody, Depends(body_of(ReplanBody))]
) -> Response:
    """Tell what happened, and plan the rest anew from now on, with `If-Match`.

    The past is fixed, a sheet in the light stays there until its dose is there, and no sheet is lost.
    """
    visit = visit_of(request)
    return changed(
        visit,
        session_shelf(),
        session_id,
        body,
        prepare=lambda: replanned(visit, session_id, body),
        shape=SESSION_KIND.shape_change,
    )


add_shelf(router, SESSION_KIND, with_list=False)
