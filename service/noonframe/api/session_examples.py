"""Example answers of the session routes, from the engine; no records are touched."""

from typing import Any
from uuid import UUID

from pydantic import BaseModel

from noonframe.api import examples
from noonframe.api.pictures.session_plan import draw_session
from noonframe.api.routes.sessions import SESSION_KIND
from noonframe.api.session_answers import SessionsAnswer
from noonframe.api.session_ask import Desk
from noonframe.api.session_bodies import ReplanBody, SessionBody
from noonframe.api.session_desk import plan_again, plan_new
from noonframe.api.session_shelf import shape_item
from noonframe.api.session_under_way import event_text
from noonframe.api.shelf_routes import shelf_examples
from noonframe.settings import Settings

SESSION_MODELS: tuple[type[BaseModel], ...] = (SessionBody, ReplanBody, *SESSION_KIND.models)
_ID = UUID(int=21)
_SVG = "image/svg+xml"
_LATER_S = 1320.0


def session_examples(settings: Settings) -> dict[tuple[str, str], dict[str, Any]]:
    """What to show in the OpenAPI document, by method and path."""
    from noonframe.store.sessions import SessionFields
    from noonframe.store.versioned import Saved

    body = SessionBody.model_validate_json(_json(examples.SESSION))
    assert body.start is not None
    assert body.end is not None
    now_s = body.start.timestamp()
    plan = plan_new(body, Desk(settings, now_s))
    told = plan.model_dump(mode="json")
    fields = SessionFields(
        name=str(examples.SESSION_SAVED["name"]),
        starts_s=now_s,
        ends_s=body.end.timestamp(),
        asked=body.model_dump(mode="json", exclude_unset=True),
        plan=told,
    )
    saved = Saved(_ID, 1, now_s, now_s, False, fields)
    answers = shelf_examples(SESSION_KIND, saved)
    change = ReplanBody.model_validate_json(_json(examples.SESSION_REPLAN))
    again, events = plan_again(fields.asked, told, (), change, Desk(settings, now_s + _LATER_S))
    picture = draw_session(plan)
    json_type = "application/json"
    answers["get", "/v1/sessions"] = {
        json_type: SessionsAnswer(sessions=[shape_item(saved)]).model_dump(mode="json")
    }
    answers["post", "/v1/session"] = {json_type: told}
    answers["post", "/v1/sessions/{session_id}/replan"] = {
        json_type: {
            **answers["get", "/v1/sessions/{session_id}"][json_type],
            "version": 2,
            "plan": again.model_dump(mode="json"),
            "events": [event_text(event) for event in events],
        }
    }
    answers["post", "/v1/session/picture"] = {_SVG: picture}
    answers["get", "/v1/sessions/{session_id}/picture"] = {_SVG: picture}
    return answers


def _json(value: object) -> str:
    import json

    return json.dumps(value)
