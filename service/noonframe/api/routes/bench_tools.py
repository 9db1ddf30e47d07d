"""The bench's tools that need no recipe on file: strips, tone curves, coating."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request

from noonframe.api.bench_coating import answer_coating, answer_formulas
from noonframe.api.bench_curve import answer_curve
from noonframe.api.bench_fill import filled
from noonframe.api.bench_runs import followed
from noonframe.api.bench_strip import answer_follow, answer_strip
from noonframe.api.examples import COATING, CURVE, STRIP, STRIP_FOLLOW
from noonframe.api.inputs_bench import CoatingBody, CurveBody, StripBody, StripFollowBody
from noonframe.api.outputs_bench import (
    CoatingAnswer,
    CurveAnswer,
    FormulasAnswer,
    StripAnswer,
    StripFollowAnswer,
)
from noonframe.api.reading import body_of, json_body, no_query
from noonframe.api.routes.common import now_of, settings_of, weather_of
from noonframe.api.routes.runs import desk_of

router = APIRouter(tags=["bench"])


@router.post("/v1/strip", operation_id="plan_strip", openapi_extra=json_body(StripBody, STRIP))
def post_strip(request: Request, body: Annotated[StripBody, Depends(body_of(StripBody))]) -> StripAnswer:
    """A test strip by dose, with the clock times of its covers, or one exposure of a step wedge."""
    body, spot = filled(request, body, body.spot)
    return answer_strip(body, settings_of(request), now_of(request), spot, weather_of(request))


@router.post(
    "/v1/strip/follow",
    operation_id="follow_strip",
    openapi_extra=json_body(StripFollowBody, STRIP_FOLLOW),
)
def post_follow(
    request: Request, body: Annotated[StripFollowBody, Depends(body_of(StripFollowBody))]
) -> StripFollowAnswer:
    """Which strip to cover next, and when, by the dose that a run has gathered so far; keeps nothing."""
    run, scene, zone = followed(desk_of(request), body.run_id, now_of(request))
    return answer_follow(body, run, scene, zone)


@router.post("/v1/curve", operation_id="fit_curve", openapi_extra=json_body(CurveBody, CURVE))
def post_curve(body: Annotated[CurveBody, Depends(body_of(CurveBody))]) -> CurveAnswer:
    """The characteristic curve of a coat from densities of a wedge, alone or against another."""
    return answer_curve(body)


@router.post("/v1/coating", operation_id="coating", openapi_extra=json_body(CoatingBody, COATING))
def post_coating(body: Annotated[CoatingBody, Depends(body_of(CoatingBody))]) -> CoatingAnswer:
    """Millilitres, powders, sheets to the bottle, checklist, steps with times, and cautions."""
    return answer_coating(body)


@router.get("/v1/formulas", operation_id="formulas", dependencies=[Depends(no_query)])
def get_formulas() -> FormulasAnswer:
    """Published formulas with their strengths, ways of coating, and cautions by substance."""
    return answer_formulas()
