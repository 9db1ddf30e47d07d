"""/v1/light: a course of light."""

from typing import Annotated

import numpy as np
from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from noonframe.api.ask import understand
from noonframe.api.bench_fill import filled
from noonframe.api.examples import LIGHT, OPEN_SPOT
from noonframe.api.inputs import LightBody, LightQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.lamp_light import answer_lamp_light
from noonframe.api.lamp_outputs import LampLightAnswer
from noonframe.api.outputs import LightAnswer, WindowLightAnswer
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.routes.common import check_span, settings_of
from noonframe.api.routes.direct import DirectRoute
from noonframe.api.times import format_time
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings
from noonframe.spot.indoors import WindowSpot
from noonframe.types import FloatArray

router = APIRouter(tags=["light"], route_class=DirectRoute)
AnyLightAnswer = LightAnswer | WindowLightAnswer | LampLightAnswer


@router.get(
    "/v1/light",
    operation_id="light",
    response_model=AnyLightAnswer,
    openapi_extra=query_parameters(LightQuery, LIGHT),
)
async def get_light(request: Request) -> Response:
    """Light on a plane at `start`, `start + step_s`, ... up to `end`, under a steady sky."""
    return await run_in_threadpool(_answer, request, read_query(LightQuery, request), None)


@router.post(
    "/v1/light",
    operation_id="light_at_spot",
    response_model=AnyLightAnswer,
    openapi_extra=json_body(LightBody, {**LIGHT, "spot": OPEN_SPOT}),
)
def post_light(request: Request, body: Annotated[LightBody, Depends(body_of(LightBody))]) -> Response:
    """The same, with a spot."""
    return _answer(request, body, body.spot)


def _answer(request: Request, query: LightQuery, spot: SpotBody | None) -> Response:
    query, spot = filled(request, query, spot)
    answer = answer_light(query, settings_of(request), spot)
    # Made just now of checked arrays: FastAPI would check every number of them once more.
    return Response(answer.model_dump_json(), media_type="application/json")


def answer_light(query: LightQuery, settings: Settings, spot: SpotBody | None) -> AnyLightAnswer:
    """The course of light a request asks for, as an answer."""
    check_span(query.start, query.end, settings)
    count = int((query.end - query.start).total_seconds() / query.step_s + 1e-9) + 1
    if count > settings.max_light_steps:
        raise OutOfDomain(
            "step_s", query.step_s, f"longer: {count} instants asked, {settings.max_light_steps} are the most"
        )
    time_s = query.start.timestamp() + query.step_s * np.arange(count, dtype=np.float64)
    if query.lamp is not None:
        return answer_lamp_light(query, time_s, settings, spot)
    ask = understand(query, query.start, settings, spot)
    indoors = ask.scene.indoor_light(time_s) if isinstance(ask.scene.spot, WindowSpot) else None
    light = ask.scene.light(time_s) if indoors is None else indoors.series
    track = ask.scene.track(time_s)
    answer = LightAnswer.model_construct(
        time=[format_time(second, ask.where.zone) for second in time_s.tolist()],
        solar_zenith_deg=_short(track.zenith_deg, 5),
        solar_azimuth_deg=_short(track.azimuth_deg, 5),
        uva_w_m2=_short(light.uva_w_m2, 6),
        uva_diffuse_fraction=[
            None if np.isnan(share) else round(share, 5) for share in light.uva_diffuse_fraction.tolist()
        ],
        blue_w_m2=_short(light.blue_w_m2, 6),
        effective_w_m2=_short(light.effective_w_m2, 6),
        uv_index=_short(light.uv_index, 4),
        basis=ask.basis,
    )
    if indoors is None:
        return answer
    return WindowLightAnswer.model_construct(
        **dict(answer), beam_share=_short(indoors.beam_share, 6), sky_view=round(indoors.sky_view, 6)
    )


def _short(values: FloatArray, digits: int) -> list[float]:
    rounded: list[float] = np.round(values, digits).tolist()
    return rounded
