"""/v1/exposure and /v1/say: how long."""

import datetime as dt
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Body, Query, Request, Response
from fastapi.responses import JSONResponse, PlainTextResponse

from noonframe.api.ask import Ask, describe_basis, find_target, understand
from noonframe.api.cautions import sun_cautions
from noonframe.api.inputs import ExposureBody, ExposureQuery, OpenSpotBody
from noonframe.api.outputs import ExposureAnswer, SayAnswer
from noonframe.api.routes.common import Now, SettingsOf
from noonframe.api.times import format_time
from noonframe.api.wording import say_exposure
from noonframe.dose.exposure import Exposure, expose, next_chance
from noonframe.dose.scene import Scene
from noonframe.settings import Settings

router = APIRouter(tags=["exposure"])
_CAUTION_POINTS = 9


@router.get("/v1/exposure", operation_id="exposure")
def get_exposure(query: Annotated[ExposureQuery, Query()], settings: SettingsOf, now: Now) -> ExposureAnswer:
    """How long from `start` (now if not given) until the sheet has its dose."""
    return answer_exposure(query, settings, now, None)


@router.post("/v1/exposure", operation_id="exposure_at_spot")
def post_exposure(body: Annotated[ExposureBody, Body()], settings: SettingsOf, now: Now) -> ExposureAnswer:
    """The same, with a spot."""
    return answer_exposure(body, settings, now, body.spot)


@router.get(
    "/v1/say",
    operation_id="say",
    response_class=PlainTextResponse,
    responses={200: {"model": SayAnswer, "content": {"text/plain": {"schema": {"type": "string"}}}}},
)
def get_say(
    request: Request, query: Annotated[ExposureQuery, Query()], settings: SettingsOf, now: Now
) -> Response:
    """The exposure as one sentence; flat JSON with `Accept: application/json`."""
    answer = answer_exposure(query, settings, now, None)
    if "application/json" not in request.headers.get("accept", ""):
        return PlainTextResponse(answer.summary, headers={"Vary": "Accept"})
    flat = SayAnswer(
        summary=answer.summary,
        reached=answer.reached,
        minutes=_minutes(answer.length_s),
        seconds=None if answer.length_s is None else round(answer.length_s),
        start=answer.start,
        end=answer.end,
        end_epoch=None if answer.end is None else round(dt.datetime.fromisoformat(answer.end).timestamp()),
        minutes_low=_minutes(answer.length_low_s),
        minutes_high=_minutes(answer.length_high_s),
        next_start=answer.next_start,
        caution=answer.cautions[0] if answer.cautions else None,
    )
    return JSONResponse(flat.model_dump(), headers={"Vary": "Accept"})


def _minutes(length_s: float | None) -> float | None:
    return None if length_s is None else round(length_s / 60.0, 1)


def answer_exposure(
    query: ExposureQuery, settings: Settings, now_s: float, spot: OpenSpotBody | None
) -> ExposureAnswer:
    """The exposure a request asks for, as an answer."""
    start_s = now_s if query.start is None else query.start.timestamp()
    ask = understand(query, dt.datetime.fromtimestamp(start_s, dt.UTC), settings, spot)
    scene, zone = ask.scene, ask.where.zone
    target = find_target(query, scene.sensitizer)
    spread = float(np.hypot(target.spread_stops, scene.light_spread_stops()))
    exposure = expose(scene.rate, start_s, target.target_j_m2, spread)
    sun_out = _length_under(scene.sun_out(), exposure, target.target_j_m2)
    covered = _length_under(scene.covered(), exposure, target.target_j_m2)
    chance = None
    if not exposure.reached:
        chance = next_chance(scene.rate, exposure.looked_until_s, target.target_j_m2)
    length = exposure.length_s
    return ExposureAnswer.model_construct(
        start=format_time(start_s, zone),
        end=None if length is None else format_time(start_s + length, zone),
        length_s=_round(length),
        length_low_s=_round(exposure.low_s),
        length_high_s=_round(exposure.high_s),
        reached=exposure.reached,
        dose_share=round(exposure.dose_share, 5),
        target_j_m2=target.target_j_m2,
        target_spread_stops=target.spread_stops,
        target_source=target.source,
        light_end=format_time(exposure.looked_until_s, zone) if exposure.dark_then else None,
        if_sun_stays_s=_round(sun_out),
        if_cloud_covers_s=_round(covered),
        next_start=None if chance is None else format_time(chance.start_s, zone),
        next_length_s=None if chance is None else _round(chance.length_s),
        moves=[],
        cautions=cautions_for(scene, exposure),
        basis=describe_basis(ask),
        summary=say_exposure(
            exposure,
            target,
            zone,
            now_s,
            covered_s=covered,
            chance=chance,
            bare=not scene.stack.materials,
        ),
    )


def _round(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 3)


def _length_under(scene: Scene, exposure: Exposure, target_j_m2: float) -> float | None:
    """Length of the same exposure under another sky; None when dark from the start."""
    if exposure.dose_share <= 0.0:
        return None
    return expose(scene.rate, exposure.start_s, target_j_m2).length_s


def cautions_for(scene: Scene, exposure: Exposure) -> list[str]:
    """Cautions for someone beside the frame during an exposure."""
    points = np.linspace(exposure.start_s, exposure.end_s, _CAUTION_POINTS)
    uv_index = scene.light(points).uv_index
    elevation = scene.track(points).true_elevation_deg
    kinds = {material.kind for material in scene.stack.materials}
    return sun_cautions(
        float(uv_index.max()), float(elevation.max()), outdoors=True, glazed=bool(kinds - {"film"})
    )


__all__ = ["Ask", "answer_exposure", "cautions_for", "router"]
