"""The OpenAPI document: what FastAPI derives, plus what the service reads and answers by itself.

Example answers are worked out by the engine when the document is first asked for, so they cannot go stale.
"""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from noonframe.api import examples
from noonframe.api.batch_bodies import BatchBody
from noonframe.api.batch_examples import batch_examples
from noonframe.api.bench_examples import BENCH_MODELS, bench_examples
from noonframe.api.calendar_examples import CALENDAR_MODELS, calendar_examples
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
from noonframe.api.inputs_runs import EventBody, RunBody
from noonframe.api.keys_bodies import KEYS_MODELS, keys_examples
from noonframe.api.lamp_examples import lamp_examples
from noonframe.api.negative_bodies import NegativeBody
from noonframe.api.negative_preview_bodies import PreviewBody
from noonframe.api.negative_tone_bodies import ToneBody
from noonframe.api.negative_tone_examples import tone_examples
from noonframe.api.outlook import OutlookBody, OutlookQuery, answer_outlook
from noonframe.api.outputs import Health
from noonframe.api.outputs_runs import EventsAnswer, RunsAnswer, ToldAnswer
from noonframe.api.problems import Problem
from noonframe.api.records import Records
from noonframe.api.routes.catalogue import answer_materials, answer_places
from noonframe.api.routes.exposure import answer_exposure
from noonframe.api.routes.film_printers import FILM_PRINTER_KIND
from noonframe.api.routes.lamps import LAMP_KIND
from noonframe.api.routes.light import answer_light
from noonframe.api.routes.moves import planned
from noonframe.api.routes.patch import answer_patch
from noonframe.api.routes.slots import answer_slots
from noonframe.api.runs import RunDesk, event_item, run_item
from noonframe.api.say import flat_answer
from noonframe.api.say_examples import say_examples
from noonframe.api.session_examples import SESSION_MODELS, session_examples
from noonframe.api.weather import WeatherDesk
from noonframe.api.year_examples import YEAR_MODELS, year_examples
from noonframe.settings import Settings

_OWN_MODELS: tuple[type[BaseModel], ...] = (
    Problem,
    LightBody,
    ExposureBody,
    OutlookBody,
    SlotsBody,
    MovesBody,
    PatchBody,
    RunBody,
    EventBody,
    NegativeBody,
    PreviewBody,
    ToneBody,
    BatchBody,
    *BENCH_MODELS,
    *CALENDAR_MODELS,
    *KEYS_MODELS,
    *LAMP_KIND.models,
    *SESSION_MODELS,
    *FILM_PRINTER_KIND.models,
    *YEAR_MODELS,
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
        responses = schema["paths"][path][method]["responses"]
        content = responses["200" if "200" in responses else "201"]["content"]
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
    outlook_query = OutlookQuery.model_validate(examples.EXPOSURE)
    outlook_body = OutlookBody.model_validate({**examples.EXPOSURE, **spot})
    outlooks = [
        answer_outlook(outlook_query, settings, now_s, None),
        answer_outlook(outlook_body, settings, now_s, outlook_body.spot),
    ]
    for outlook in outlooks:
        del outlook.skies[2:]
        for points in (outlook.after_s, *(course.dose_j_m2 for course in outlook.skies)):
            del points[:200], points[4:]
    catalogue = answer_materials(settings)
    for kinds in (catalogue.sensitizers, catalogue.stack):
        del kinds[1:]
    json_answers: dict[tuple[str, str], BaseModel] = {
        ("get", "/v1/light"): answer_light(LightQuery.model_validate(examples.LIGHT), settings, None),
        ("post", "/v1/light"): answer_light(light_body, settings, light_body.spot),
        ("get", "/v1/exposure"): exposure,
        ("post", "/v1/exposure"): answer_exposure(exposure_body, settings, now_s, exposure_body.spot),
        ("get", "/v1/outlook"): outlooks[0],
        ("post", "/v1/outlook"): outlooks[1],
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
    answers.update(_example_runs(settings, now_s))
    answers.update(bench_examples(settings, now_s))
    answers.update(calendar_examples(settings, now_s))
    answers.update(keys_examples(now_s))
    answers.update(year_examples(settings, now_s))
    answers.update(lamp_examples(now_s))
    answers.update(session_examples(settings))
    answers.update(batch_examples(settings, now_s))
    answers.update(tone_examples(settings, now_s))
    answers["get", "/v1/moves/picture"] = {"image/svg+xml": outdoors.picture()}
    answers["post", "/v1/moves/picture"] = {"image/svg+xml": indoors.picture()}
    answers["get", "/v1/say"]["text/plain"] = exposure.summary
    return answers


def _example_runs(settings: Settings, now_s: float) -> dict[tuple[str, str], dict[str, Any]]:
    """Answers about an exposure two minutes old, from the engine; no records are touched."""
    from noonframe.store.exposures import Exposure, ExposureEvent, ExposureStatus

    body = RunBody.model_validate(examples.RUN)
    run_id, started, seen = (UUID(int=number) for number in (1, 2, 3))
    rows = [
        ExposureEvent(run_id, 1, started, "started", now_s, now_s, {}),
        ExposureEvent(run_id, 2, seen, "sky", now_s + 120.0, now_s + 120.0, {"sky": "covered"}),
    ]
    row = Exposure(
        id=run_id,
        created_s=now_s,
        name=body.name,
        scene=body.model_dump(mode="json", exclude_unset=True, exclude={"name", "start"}),
        target_j_m2=body.target_j_m2 or 0.0,
        status=ExposureStatus.RUNNING,
        version=3,
        last_sequence=2,
    )
    desk = RunDesk(settings, Records(settings, lambda: now_s), WeatherDesk(None))
    run = desk.follow_rows(row, rows, now_s + 180.0)
    zone = desk.zone_of(run_id, row)
    items = [event_item(one, zone) for one in rows]
    told = ToldAnswer(event=items[1], run=run)
    state = run.model_dump(mode="json")
    stream = f"event: state\ndata: {run.model_dump_json()}\nid: 2\n\n"
    this, events = "/v1/runs/{run_id}", "/v1/runs/{run_id}/events"
    shown: dict[tuple[str, str], dict[str, Any]] = {
        ("post", "/v1/runs"): {"application/json": state},
        ("get", "/v1/runs"): {
            "application/json": RunsAnswer(runs=[run_item(row, zone)]).model_dump(mode="json")
        },
        ("get", this): {"application/json": state},
        ("post", events): {"application/json": told.model_dump(mode="json")},
        ("get", events): {
            "application/json": EventsAnswer(events=[event_item(r, zone) for r in rows]).model_dump(
                mode="json"
            )
        },
        ("get", f"{this}/stream"): {"text/event-stream": stream},
    }
    return {**shown, **say_examples(settings, now_s, run)}
