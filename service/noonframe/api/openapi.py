"""The OpenAPI document: what FastAPI derives, plus what the service reads and answers by itself.

Example answers are worked out by the engine when the document is first asked for, so they cannot go stale.
"""

from collections.abc import Callable
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from noonframe.api import examples
from noonframe.api.inputs import (
    ExposureBody,
    ExposureQuery,
    LightBody,
    LightQuery,
    MovesBody,
    MovesQuery,
    PatchBody,
    PatchQuery,
    PlacesQuery,
    SlotsBody,
    SlotsQuery,
)
from noonframe.api.outputs import Health
from noonframe.api.problems import Problem
from noonframe.api.routes.catalogue import answer_materials, answer_places
from noonframe.api.routes.exposure import answer_exposure, flat_answer
from noonframe.api.routes.light import answer_light
from noonframe.api.routes.moves import planned
from noonframe.api.routes.patch import answer_patch
from noonframe.api.routes.slots import answer_slots
from noonframe.settings import Settings

_OWN_MODELS: tuple[type[BaseModel], ...] = (
    Problem,
    LightBody,
    ExposureBody,
    SlotsBody,
    MovesBody,
    PatchBody,
)


def document(app: FastAPI) -> Callable[[], dict[str, Any]]:
    """What `app.openapi` is replaced by."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _make(app)
        return app.openapi_schema

    return openapi


def _make(app: FastAPI) -> dict[str, Any]:
    schema = get_openapi(
        title=app.title,
        version=app.version,
        summary=app.summary,
        description=app.description,
        routes=app.routes,
    )
    template = "#/components/schemas/{model}"
    _, own = models_json_schema([(model, "validation") for model in _OWN_MODELS], ref_template=template)
    schema["components"]["schemas"].update(own["$defs"])
    for (method, path), answers in _example_answers(app.state.settings, app.version).items():
        content = schema["paths"][path][method]["responses"]["200"]["content"]
        for media_type, answer in answers.items():
            content.setdefault(media_type, {})["example"] = answer
    return schema


def _example_answers(settings: Settings, version: str) -> dict[tuple[str, str], dict[str, Any]]:
    """An answer to the example request of each operation, by media type."""
    spot = {"spot": examples.OPEN_SPOT}
    exposure_query = ExposureQuery.model_validate(examples.EXPOSURE)
    light_body = LightBody.model_validate({**examples.LIGHT, **spot})
    exposure_body = ExposureBody.model_validate({**examples.EXPOSURE, **spot})
    slots_body = SlotsBody.model_validate({**examples.SLOTS, **spot})
    moves_query = MovesQuery.model_validate(examples.MOVES)
    moves_body = MovesBody.model_validate({**examples.MOVES, "spot": examples.WINDOW_SPOT})
    patch_query = PatchQuery.model_validate(examples.PATCH)
    patch_body = PatchBody.model_validate(
        {"place": "quayside-yard", "date": "2026-06-21", "spot": examples.WINDOW_SPOT}
    )
    now_s = exposure_query.start.timestamp() if exposure_query.start else 0.0
    outdoors = planned(moves_query, settings, now_s, None)
    indoors = planned(moves_body, settings, now_s, moves_body.spot)
    exposure = answer_exposure(exposure_query, settings, now_s, None)
    catalogue = answer_materials(settings)
    for kinds in (catalogue.sensitizers, catalogue.stack):
        del kinds[1:]
    json_answers: dict[tuple[str, str], BaseModel] = {
        ("get", "/v1/light"): answer_light(LightQuery.model_validate(examples.LIGHT), settings, None),
        ("post", "/v1/light"): answer_light(light_body, settings, light_body.spot),
        ("get", "/v1/exposure"): exposure,
        ("post", "/v1/exposure"): answer_exposure(exposure_body, settings, now_s, exposure_body.spot),
        ("get", "/v1/slots"): answer_slots(SlotsQuery.model_validate(examples.SLOTS), settings, now_s, None),
        ("post", "/v1/slots"): answer_slots(slots_body, settings, now_s, slots_body.spot),
        ("get", "/v1/moves"): outdoors.answer(),
        ("post", "/v1/moves"): indoors.answer(),
        ("get", "/v1/patch"): answer_patch(patch_query, settings, now_s, None),
        ("post", "/v1/patch"): answer_patch(patch_body, settings, now_s, patch_body.spot),
        ("get", "/v1/say"): flat_answer(exposure),
        ("get", "/v1/materials"): catalogue,
        ("get", "/v1/places"): answer_places(PlacesQuery.model_validate(examples.PLACES)),
        ("get", "/healthz"): Health(status="alive", version=version),
        ("get", "/readyz"): Health(status="ready", version=version),
    }
    answers: dict[tuple[str, str], dict[str, Any]] = {
        operation: {"application/json": answer.model_dump(mode="json")}
        for operation, answer in json_answers.items()
    }
    answers["get", "/v1/moves/picture"] = {"image/svg+xml": outdoors.picture()}
    answers["post", "/v1/moves/picture"] = {"image/svg+xml": indoors.picture()}
    answers["get", "/v1/say"]["text/plain"] = exposure.summary
    return answers
