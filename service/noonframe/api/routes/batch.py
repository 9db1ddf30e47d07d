"""/v1/batch: many places at once."""

from anyio import CapacityLimiter, to_thread
from fastapi import APIRouter, Request, Response

from noonframe.api.batch_answers import BatchAnswer
from noonframe.api.batch_bodies import MOST_BATCH_BYTES, MOST_PLACES, BatchBody
from noonframe.api.batch_examples import BATCH
from noonframe.api.batch_make import answer_batch
from noonframe.api.reading import from_json, json_body, json_bytes
from noonframe.api.routes.common import now_of, settings_of
from noonframe.settings import Settings

router = APIRouter(tags=["batch"])
_MOST_AT_ONCE = 2
"""A full question takes some 70 MB while it is answered."""


@router.post(
    "/v1/batch",
    operation_id="batch",
    response_model=BatchAnswer,
    openapi_extra=json_body(BatchBody, BATCH),
    description=(
        "Light at one moment, and lengths of exposures from then on, for level frames at up to "
        f"{MOST_PLACES} places; columns in the order of the places. At most {MOST_BATCH_BYTES} bytes of body."
    ),
)
async def post_batch(request: Request) -> Response:
    """Light and exposures at many places."""
    sent = await json_bytes(request, MOST_BATCH_BYTES)
    limiter = getattr(request.app.state, "batches", None)
    if limiter is None:
        limiter = request.app.state.batches = CapacityLimiter(_MOST_AT_ONCE)
    text = await to_thread.run_sync(answered, sent, settings_of(request), now_of(request), limiter=limiter)
    return Response(text, media_type="application/json")


def answered(sent: bytes, settings: Settings, now_s: float) -> bytes:
    """The answer to a body, both as JSON."""
    # Reading and writing so many numbers takes longer than working them out: none of it on the loop.
    answer = answer_batch(from_json(BatchBody, sent), settings, now_s)
    return answer.model_dump_json().encode()
