"""Plans of sessions for requests: a new one, and the rest of one that has begun."""

import datetime as dt
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from noonframe.api.session_answers import SessionPlanAnswer
from noonframe.api.session_ask import Desk, understand_session
from noonframe.api.session_bodies import MOST_EVENTS, ReplanBody, SessionBody, SessionEvent
from noonframe.api.session_make import check_frames, make
from noonframe.api.session_shape import Shaper
from noonframe.api.session_under_way import (
    UnderWay,
    added_sheets,
    as_followed,
    read_events,
    told_skies,
    under_way,
)
from noonframe.errors import Malformed, OutOfDomain

_MINUTE_S = 60.0


def plan_new(body: SessionBody, desk: Desk) -> SessionPlanAnswer:
    """Plan a whole session as it is asked for, also one of another day."""
    understood = understand_session(body, desk)
    check_frames(understood)
    breaks = tuple((begins_s, ends_s) for begins_s, ends_s, _ in understood.breaks)
    made = make(understood, understood.start_s, {}, breaks=breaks)
    return Shaper(made, UnderWay(), desk.now_s).answer()


def plan_again(
    asked: Mapping[str, Any],
    plan: Mapping[str, Any],
    happened: Sequence[Mapping[str, Any]],
    body: ReplanBody,
    desk: Desk,
) -> tuple[SessionPlanAnswer, list[SessionEvent]]:
    """Plan the rest of a session from now on, with all events that are known then."""
    known, now_s = read_events(happened), desk.now_s
    session, before = _read(asked, plan)
    events = [*known, *body.events]
    if body.followed:
        events += as_followed(before, events, now_s, _seconds)
    if len(events) > MOST_EVENTS:
        raise OutOfDomain("events", len(events), f"at most {MOST_EVENTS} in all")
    starts_s = [event.at.timestamp() for event in events if event.kind == "started"]
    understood = understand_session(
        session,
        desk,
        added=added_sheets(events),
        told=told_skies(events),
        light_from_s=min(starts_s, default=None),
    )
    state = under_way(understood, events, before, now_s, len(known))
    from_s = max(understood.start_s, _MINUTE_S * math.ceil(now_s / _MINUTE_S))
    made = make(
        understood,
        from_s,
        state.states,
        running=state.running,
        washing=state.washing,
        breaks=tuple((begins_s, ends_s) for begins_s, ends_s, _ in state.breaks),
    )
    return Shaper(made, state, now_s).answer(), events


def pinned(body: SessionBody, plan: SessionPlanAnswer) -> SessionBody:
    """A request with the session's start and end as they were understood, so that they stay."""
    times = {name: dt.datetime.fromisoformat(getattr(plan, name)) for name in ("start", "end")}
    return body.model_copy(update={**times, "date": None})


def _read(asked: Mapping[str, Any], plan: Mapping[str, Any]) -> tuple[SessionBody, SessionPlanAnswer]:
    try:
        return (
            SessionBody.model_validate_json(json.dumps(dict(asked))),
            SessionPlanAnswer.model_validate_json(json.dumps(dict(plan))),
        )
    except ValidationError as problem:
        fault = problem.errors(include_url=False)[0]
        where = ".".join(str(part) for part in fault["loc"])
        raise Malformed("session_id", where, f"a session that can be read ({fault['msg']})") from None


def _seconds(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()
