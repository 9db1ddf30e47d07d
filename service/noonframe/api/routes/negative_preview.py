"""/v1/negative/preview and /v1/negative/tone: how a film will print, and the correction that evens it."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response

from noonframe.api.bench_fill import bench_of
from noonframe.api.negative_preview_answers import PreviewAnswer
from noonframe.api.negative_preview_bodies import PreviewBody
from noonframe.api.negative_preview_make import preview_answer, preview_of
from noonframe.api.negative_tone import understand_tone
from noonframe.api.negative_tone_answers import ToneAnswer
from noonframe.api.negative_tone_bodies import ToneBody, ToneFields, ToneQuery
from noonframe.api.negative_tone_examples import PREVIEW, TONE, TONE_QUERY
from noonframe.api.negative_tone_told import tone_answer
from noonframe.api.negative_upload import PICTURE, SETTINGS, Sent, with_upload
from noonframe.api.pictures.tone_plan import draw_tone
from noonframe.api.reading import (
    body_of,
    from_json,
    json_body,
    prefers_json,
    query_parameters,
    read_query,
)
from noonframe.api.routes.negative import ANSWER_HEADER, SLOW
from noonframe.negative.preview import drawn

router = APIRouter(tags=["negative"])
PNG, SVG = "image/png", "image/svg+xml"
LONGEST_HEADER_BYTES = 6000

_DRAWN: dict[int | str, dict[str, Any]] = {
    200: {"content": {SVG: {"schema": {"type": "string"}}}, "description": "A drawing of the correction"}
}


def _multipart() -> dict[str, Any]:
    reference = f"#/components/schemas/{PreviewBody.__name__}"
    schema = {
        "type": "object",
        "properties": {
            PICTURE: {
                "type": "string",
                "contentMediaType": "application/octet-stream",
                "description": "one JPEG, PNG, TIFF or WebP",
            },
            SETTINGS: {"$ref": reference, "examples": [PREVIEW]},
        },
        "required": [PICTURE],
        "additionalProperties": False,
    }
    encoding = {
        PICTURE: {"contentType": "image/jpeg, image/png, image/tiff, image/webp"},
        SETTINGS: {"contentType": "application/json"},
    }
    content = {"multipart/form-data": {"schema": schema, "encoding": encoding}}
    return {"requestBody": {"required": True, "content": content}}


@router.post(
    "/v1/negative/preview",
    operation_id="preview_negative",
    response_model=PreviewAnswer,
    responses={
        **SLOW,
        200: {
            "description": (
                "The picture and its print at each exposure side by side, in the header "
                f"{ANSWER_HEADER} what is told of it; or that alone, where JSON is asked for by Accept."
            ),
            "content": {PNG: {"schema": {"type": "string", "contentMediaType": PNG}}},
        },
    },
    openapi_extra=_multipart(),
)
async def post_preview(request: Request) -> Response:
    """How a picture will print, at the target and half a stop to either side; keeps nothing."""

    def answer(sent: Sent) -> Response:
        body = from_json(PreviewBody, b"{}" if sent.settings is None else sent.settings)
        preview = preview_of(bench_of(request), body, sent)
        told = preview_answer(preview, sent)
        if prefers_json(request.headers.get("accept", "")):
            return Response(told.model_dump_json(), media_type="application/json")
        headers = {ANSWER_HEADER: _header(told), "Content-Disposition": 'inline; filename="preview.png"'}
        return Response(drawn(preview.forecast, body.paper_colour), media_type=PNG, headers=headers)

    return await with_upload(request, answer)


@router.get(
    "/v1/negative/tone",
    operation_id="tone_correction",
    openapi_extra=query_parameters(ToneQuery, TONE_QUERY),
)
def get_tone(request: Request) -> ToneAnswer:
    """The tone correction for a recipe and a film printer that are saved, as a table."""
    return _answered(request, read_query(ToneQuery, request))


@router.post("/v1/negative/tone", operation_id="tone_correction_for", openapi_extra=json_body(ToneBody, TONE))
def post_tone(request: Request, body: Annotated[ToneBody, Depends(body_of(ToneBody))]) -> ToneAnswer:
    """The tone correction for a coat and a film printer, either of which may be told in the request."""
    return _answered(request, body)


@router.get(
    "/v1/negative/tone/picture",
    operation_id="tone_correction_picture",
    response_class=Response,
    responses=_DRAWN,
    openapi_extra=query_parameters(ToneQuery, TONE_QUERY),
)
def get_tone_picture(request: Request) -> Response:
    """The tone correction as a drawing."""
    return _drawing(request, read_query(ToneQuery, request))


@router.post(
    "/v1/negative/tone/picture",
    operation_id="tone_correction_picture_for",
    response_class=Response,
    responses=_DRAWN,
    openapi_extra=json_body(ToneBody, TONE),
)
def post_tone_picture(request: Request, body: Annotated[ToneBody, Depends(body_of(ToneBody))]) -> Response:
    """The tone correction as a drawing."""
    return _drawing(request, body)


def _answered(request: Request, body: ToneFields) -> ToneAnswer:
    return tone_answer(understand_tone(bench_of(request), body))


def _drawing(request: Request, body: ToneFields) -> Response:
    tone = understand_tone(bench_of(request), body)
    return Response(draw_tone(tone.correction, tone_answer(tone).summary), media_type=SVG)


def _header(told: PreviewAnswer) -> str:
    import json

    whole = json.dumps(told.model_dump(mode="json"), separators=(",", ":"))
    if len(whole) <= LONGEST_HEADER_BYTES:
        return whole
    shorter = told.model_dump(mode="json", exclude={"look": {"conversions"}, "tone": {"notes"}})
    return json.dumps({**shorter, "exposures": [], "not_modelled": []}, separators=(",", ":"))
