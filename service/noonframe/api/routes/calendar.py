"""Calendars: downloads, and feeds at private addresses that can be revoked."""

import datetime as dt
import hashlib
from email.utils import format_datetime
from typing import Annotated, Any
from uuid import UUID

from fastapi import APIRouter, Depends, Request, Response

from noonframe.api.bench_fill import bench_of
from noonframe.api.calendar_entries import CalendarSheet
from noonframe.api.calendar_examples import CALENDAR_SLOTS, FEED
from noonframe.api.calendar_feeds import (
    feed_calendar,
    feed_item,
    find_feed,
    make_feed,
    path_of,
    session_calendar,
    slots_calendar,
)
from noonframe.api.calendar_ics import CONTENT_TYPE, MEDIA_TYPE, write_ics
from noonframe.api.calendar_inputs import CalendarQuery, FeedBody, FeedsQuery
from noonframe.api.calendar_outputs import FeedItem, FeedMadeAnswer, FeedsAnswer
from noonframe.api.problems import problem_response
from noonframe.api.reading import body_of, json_body, no_query, query_parameters, read_query
from noonframe.api.routes.common import now_of
from noonframe.api.say_address import own_address
from noonframe.errors import UnknownName

router = APIRouter(tags=["calendar"])
_CALENDAR: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {MEDIA_TYPE: {"schema": {"type": "string"}}},
        "description": "A calendar (RFC 5545)",
        "headers": {
            "ETag": {"schema": {"type": "string"}, "description": "of these bytes"},
            "Last-Modified": {
                "schema": {"type": "string"},
                "description": "when its sources last changed",
            },
        },
    },
    304: {"description": "What If-None-Match names is still the newest."},
}
_IF_NONE_MATCH: dict[str, Any] = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "schema": {"type": "string"},
    "description": "ETag of the calendar that is known already",
}
# A calendar that is asked for again must be asked for here: whoever was shut out is to notice at once.
_KEPT = "private, no-cache"
_REVOKED = {"no": False, "yes": True, "both": None}


@router.get(
    "/v1/slots/calendar.ics",
    operation_id="slots_calendar",
    response_class=Response,
    responses=_CALENDAR,
    openapi_extra={
        "parameters": [*query_parameters(CalendarQuery, CALENDAR_SLOTS)["parameters"], _IF_NONE_MATCH]
    },
)
def get_slots_calendar(request: Request) -> Response:
    """The best slots of the next days as a calendar to be taken in once."""
    query = read_query(CalendarQuery, request)
    return _calendar(request, slots_calendar(request, query), file_name="noonframe-slots.ics")


@router.get(
    "/v1/sessions/{session}/calendar.ics",
    operation_id="session_calendar",
    response_class=Response,
    responses=_CALENDAR,
    openapi_extra={"parameters": [_IF_NONE_MATCH]},
)
def get_session_calendar(request: Request, session: str) -> Response:
    """The plan of a saved session, by name or id, as a calendar to be taken in once."""
    no_query(request)
    return _calendar(request, session_calendar(request, session), file_name="noonframe-session.ics")


@router.post(
    "/v1/feeds",
    operation_id="make_feed",
    status_code=201,
    openapi_extra=json_body(FeedBody, FEED),
)
def post_feed(request: Request, body: Annotated[FeedBody, Depends(body_of(FeedBody))]) -> FeedMadeAnswer:
    """A calendar at a private address, shown this once: whoever has it can read the feed until it is revoked.

    An Idempotency-Key is of no effect, because the answer to be repeated would have to be kept.
    """
    own = own_address(request)
    feed, token = make_feed(request, body)
    path = path_of(token)
    minding = (
        "Keep it to yourself: whoever has it can read this calendar, until you revoke the feed."
        " Calendars fetch it every few hours at best, and many leave out its alarms."
    )
    reach = f" {own.summary}" if own.loopback else ""
    return FeedMadeAnswer(
        **feed_item(feed).model_dump(),
        path=path,
        address=f"{own.base}{path}",
        webcal_address=own.webcal(path),
        summary=f"Subscribe to the address in your calendar now: it is not shown again. {minding}{reach}",
    )


@router.get("/v1/feeds", operation_id="feeds", openapi_extra=query_parameters(FeedsQuery, {"limit": 10}))
def list_feeds(request: Request) -> FeedsAnswer:
    """Feeds, newest first; never their addresses."""
    from noonframe.store import feeds

    query = read_query(FeedsQuery, request)
    with bench_of(request).records.open().read() as db:
        try:
            before = None if query.before is None else feeds.get(db, query.before)
        except UnknownName as problem:
            raise UnknownName("before", problem.value, problem.limit) from None
        found = feeds.newest(db, revoked=_REVOKED[query.revoked], before=before, limit=query.limit)
    return FeedsAnswer(feeds=[feed_item(feed) for feed in found])


@router.post("/v1/feeds/{feed_id}/revoke", operation_id="revoke_feed")
def revoke_feed(request: Request, feed_id: UUID) -> FeedItem:
    """Let nobody read a feed any more, for good; again changes nothing."""
    from noonframe.store import feeds

    no_query(request)
    with bench_of(request).records.open().write() as db:
        return feed_item(feeds.revoke(db, feed_id, now_s=now_of(request)))


@router.head("/v1/calendars/{token}.ics", include_in_schema=False)
@router.get(
    "/v1/calendars/{token}.ics",
    operation_id="calendar",
    response_class=Response,
    responses=_CALENDAR,
    openapi_extra={"parameters": [_IF_NONE_MATCH]},
)
def get_calendar(request: Request, token: str) -> Response:
    """A feed, for calendars that subscribe; what is unknown or revoked is not there."""
    no_query(request)
    feed = find_feed(request, token)
    if feed is None:
        return problem_response(
            request,
            status=404,
            kind="not-found",
            title="There is nothing at this address",
            detail="There is no such calendar, or its feed was revoked",
            errors=[{"field": "token", "value": None, "limit": "that of a feed that is not revoked"}],
        )
    source = f"{own_address(request).base}{path_of(token)}"
    return _calendar(request, feed_calendar(request, feed, source))


def _calendar(request: Request, sheet: CalendarSheet, file_name: str | None = None) -> Response:
    """A calendar with its tag; 304 to whoever has it already (RFC 9110, 13.1.2)."""
    body = write_ics(sheet)
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    changed_s = int(min(sheet.revised_s, now_of(request)))  # never later than the answer itself
    headers = {
        "ETag": tag,
        "Last-Modified": format_datetime(dt.datetime.fromtimestamp(changed_s, dt.UTC), usegmt=True),
        "Cache-Control": _KEPT,
    }
    if _names(request.headers.getlist("if-none-match"), tag):
        return Response(status_code=304, headers=headers)
    if file_name is not None:
        headers["Content-Disposition"] = f'attachment; filename="{file_name}"'
    return Response(body, media_type=CONTENT_TYPE, headers=headers)


def _names(headers: list[str], tag: str) -> bool:
    """Whether If-None-Match names a tag; it compares weakly, so `W/` before it does not matter."""
    given = [one.strip() for header in headers for one in header.split(",")]
    return "*" in given or any(one.removeprefix("W/") == tag for one in given)
