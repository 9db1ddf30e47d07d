"""/v1/outlook: the light of the coming days, to be kept for when there is no network."""

import gzip
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from noonframe.api.bench_fill import filled
from noonframe.api.examples import EXPOSURE, OPEN_SPOT
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.outlook import OutlookAnswer, OutlookBody, OutlookQuery, answer_outlook
from noonframe.api.phone import takes_gzip
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.routes.common import now_of, settings_of, weather_of

router = APIRouter(tags=["exposure"])
_LEVEL = 5  # a third of the size in a millisecond or two


@router.get(
    "/v1/outlook",
    operation_id="outlook",
    response_model=OutlookAnswer,
    openapi_extra=query_parameters(OutlookQuery, EXPOSURE),
)
async def get_outlook(request: Request) -> Response:
    """The light of two civil days as cumulative doses, under the likely sky and every sky one may see."""
    return await run_in_threadpool(_answer, request, read_query(OutlookQuery, request), None)


@router.post(
    "/v1/outlook",
    operation_id="outlook_at_spot",
    response_model=OutlookAnswer,
    openapi_extra=json_body(OutlookBody, {**EXPOSURE, "spot": OPEN_SPOT}),
)
def post_outlook(request: Request, body: Annotated[OutlookBody, Depends(body_of(OutlookBody))]) -> Response:
    """The same, with a spot."""
    return _answer(request, body, body.spot)


def _answer(request: Request, query: OutlookQuery, spot: SpotBody | None) -> Response:
    query, spot = filled(request, query, spot)
    answer = answer_outlook(query, settings_of(request), now_of(request), spot, weather_of(request))
    body, headers = answer.model_dump_json().encode(), {"Vary": "Accept-Encoding"}
    if takes_gzip(request.headers.get("accept-encoding", "")):
        body, headers["Content-Encoding"] = gzip.compress(body, _LEVEL, mtime=0), "gzip"
    return Response(body, media_type="application/json", headers=headers)
