"""/v1/light: a course of light."""

from typing import Annotated

import numpy as np
from fastapi import APIRouter, Body, Query

from noonframe.api.ask import describe_basis, understand
from noonframe.api.inputs import LightBody, LightQuery, OpenSpotBody
from noonframe.api.outputs import LightAnswer
from noonframe.api.routes.common import SettingsOf, check_span
from noonframe.api.times import format_time
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings
from noonframe.types import FloatArray

router = APIRouter(tags=["light"])


@router.get("/v1/light", operation_id="light")
def get_light(query: Annotated[LightQuery, Query()], settings: SettingsOf) -> LightAnswer:
    """Light on a plane at `start`, `start + step_s`, ... up to `end`, under a steady sky."""
    return _answer(query, settings, None)


@router.post("/v1/light", operation_id="light_at_spot")
def post_light(body: Annotated[LightBody, Body()], settings: SettingsOf) -> LightAnswer:
    """The same, with a spot."""
    return _answer(body, settings, body.spot)


def _answer(query: LightQuery, settings: Settings, spot: OpenSpotBody | None) -> LightAnswer:
    check_span(query.start, query.end, settings)
    count = int((query.end - query.start).total_seconds() / query.step_s + 1e-9) + 1
    if count > settings.max_light_steps:
        raise OutOfDomain(
            "step_s", query.step_s, f"longer: {count} instants asked, {settings.max_light_steps} are the most"
        )
    ask = understand(query, query.start, settings, spot)
    time_s = query.start.timestamp() + query.step_s * np.arange(count)
    light = ask.scene.light(time_s)
    track = ask.scene.track(time_s)
    return LightAnswer.model_construct(
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
        basis=describe_basis(ask),
    )


def _short(values: FloatArray, digits: int) -> list[float]:
    rounded: list[float] = np.round(values, digits).tolist()
    return rounded
