"""Sessions on the shelf: saved with their plan, found by name or by day, planned anew as they run."""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from uuid import UUID

from fastapi import Request

from noonframe.api.bench_fill import filled
from noonframe.api.bench_shelf import Visit, page_end, retired_of, saved_head
from noonframe.api.inputs import TargetFields
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.routes.common import now_of, settings_of, weather_of
from noonframe.api.session_answers import SessionAnswer, SessionItem, SessionPlanAnswer
from noonframe.api.session_ask import Desk
from noonframe.api.session_bodies import (
    ReplanBody,
    SessionChange,
    SessionSaveBody,
    SessionsQuery,
)
from noonframe.api.session_desk import pinned, plan_again, plan_new
from noonframe.api.session_under_way import event_text
from noonframe.errors import OutOfDomain

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.sessions import SessionFields
    from noonframe.store.versioned import Saved, Shelf

_MOST_NUMBERS = 100


def session_shelf() -> "Shelf[SessionFields]":
    """The shelf, imported when it is first needed."""
    from noonframe.store.sessions import SESSIONS

    return SESSIONS


def desk_for(request: Request) -> Desk:
    """What plans are made with for a request."""

    def fill(fields: TargetFields, spot: SpotBody | None) -> tuple[TargetFields, SpotBody | None]:
        return filled(request, fields, spot)

    return Desk(settings_of(request), now_of(request), fill, weather_of(request))


def make_session(visit: Visit, body: SessionSaveBody) -> "Callable[[Connection], SessionFields]":
    """A session to be saved; it is planned before the records are touched."""
    from noonframe.store.sessions import SessionFields

    plan = plan_new(body, desk_for(visit.request))
    asked = pinned(body, plan).model_dump(mode="json", exclude_unset=True, exclude={"name"})

    def make(db: "Connection") -> SessionFields:
        return SessionFields(
            name=body.name or _free_name(db, plan),
            starts_s=_seconds(plan.start),
            ends_s=_seconds(plan.end),
            asked=asked,
            plan=plan.model_dump(mode="json"),
        )

    return make


def _free_name(db: "Connection", plan: SessionPlanAnswer) -> str:
    """The day, and a number where the day has a session already."""
    day = plan.start[:10]
    for number in range(1, _MOST_NUMBERS):
        name = f"session {day}" if number == 1 else f"session {day}, {number}"
        if session_shelf().find(db, name) is None:
            return name
    raise OutOfDomain("name", None, f"given: {_MOST_NUMBERS} sessions of {day} are saved already")


def alter_session(
    _visit: Visit, body: SessionChange
) -> "Callable[[Connection, Saved[SessionFields]], SessionFields]":
    """A session under another name."""
    if body.name is None and "name" in body.model_fields_set:
        raise OutOfDomain("name", None, "given: it cannot be empty")

    def alter(_db: "Connection", saved: "Saved[SessionFields]") -> "SessionFields":
        return saved.fields if body.name is None else replace(saved.fields, name=body.name)

    return alter


def replanned(
    visit: Visit, session_id: UUID, body: ReplanBody
) -> "Callable[[Connection, Saved[SessionFields]], SessionFields]":
    """The rest of a session planned anew; the plan is made before the records are locked.

    A change that came between is noticed by its version, so a plan never lands on a session it was not made
    for.
    """
    with visit.desk.records.open().read() as db:
        before = session_shelf().get(db, session_id)
    fields = before.fields
    plan, events = plan_again(fields.asked, fields.plan, fields.happened, body, desk_for(visit.request))

    def alter(_db: "Connection", saved: "Saved[SessionFields]") -> "SessionFields":
        from noonframe.store.errors import Conflict

        if saved.version != before.version:
            raise Conflict("version", before.version, f"the session is at {saved.version} by now")
        kept = tuple(event_text(event) for event in events)
        return replace(saved.fields, plan=plan.model_dump(mode="json"), happened=kept)

    return alter


def shape_session(saved: "Saved[SessionFields]") -> SessionAnswer:
    """A saved session as it is told."""
    fields = saved.fields
    return SessionAnswer(
        **saved_head(saved),
        asked=dict(fields.asked),
        events=[dict(each) for each in fields.happened],
        plan=SessionPlanAnswer.model_validate(plain(fields.plan)),
    )


def shape_item(saved: "Saved[SessionFields]") -> SessionItem:
    """A saved session in a list."""
    plan = saved.fields.plan
    told = {name: plan[name] for name in ("start", "end", "summary", "sheets_planned", "sheets_left_out")}
    return SessionItem(**saved_head(saved), **told, events_told=len(saved.fields.happened))


def plain(value: Any) -> Any:
    """JSON values as plain dicts and lists."""
    if isinstance(value, str | int | float | bool) or value is None:
        return value
    if hasattr(value, "items"):
        return {name: plain(each) for name, each in value.items()}
    return [plain(each) for each in value]


def find_sessions(db: "Connection", query: SessionsQuery) -> "tuple[Saved[SessionFields], ...]":
    """A page of sessions."""
    from noonframe.store.sessions import search

    if query.name is not None:
        found = session_shelf().find(db, query.name)
        return () if found is None or query.retired == "yes" else (found,)
    return search(
        db,
        from_s=None if query.start is None else query.start.timestamp(),
        to_s=None if query.end is None else query.end.timestamp(),
        retired=retired_of(query.retired),
        before=None if query.before is None else page_end(db, session_shelf(), query.before),
        limit=query.limit,
    )


def _seconds(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()
