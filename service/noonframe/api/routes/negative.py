"""/v1/negative: from pictures to a film page, and the aids that are printed on film.

Pictures come as a stream of parts, are held in memory while they are worked on, and are then forgotten.
Limits: 64 MB of pictures in a request, 64 megapixels each, 24 negatives, 130 million dots of page.
"""

from typing import Any

from fastapi import APIRouter, Request, Response

from noonframe.api.negative_answers import LookAnswer, NegativeAnswer
from noonframe.api.negative_bodies import MaskQuery, NegativeBody, WedgeQuery
from noonframe.api.negative_make import (
    header_of,
    looks_of,
    mask_print,
    settings_from,
    wedge_print,
)
from noonframe.api.negative_tone_make import make_toned
from noonframe.api.negative_upload import MOST_UPLOAD_BYTES, PICTURE, SETTINGS, Sent, in_turn, with_upload
from noonframe.api.problems import MEDIA_TYPE
from noonframe.api.reading import prefers_json, query_parameters, read_query
from noonframe.negative.export import MEDIA_TYPES, Format, Print, exported

router = APIRouter(tags=["negative"])
ANSWER_HEADER = "Noonframe-Answer"
NEGATIVE: dict[str, object] = {
    "page": "a4",
    "dpi": 360,
    "label": "Tide table",
    "wedge_steps": 21,
    "negatives": [
        {
            "straighten_deg": 1.5,
            "crop": {"left": 0.05, "top": 0.05, "width": 0.9, "height": 0.9},
            "size": {"width_mm": 150},
            "grey": "green",
            "levels": "auto",
        }
    ],
}
WEDGE: dict[str, object] = {"steps": 21, "dpi": 144}
MASK: dict[str, object] = {"strip_count": 9, "step_stops": 0.5, "dpi": 144}

_PROBLEM = {"schema": {"$ref": "#/components/schemas/Problem"}}
_FILES: dict[str, Any] = {
    media_type: {"schema": {"type": "string", "contentMediaType": media_type}}
    for media_type in MEDIA_TYPES.values()
}
SLOW: dict[int | str, dict[str, Any]] = {
    400: {"description": "The body cannot be read as multipart.", "content": {MEDIA_TYPE: _PROBLEM}},
    408: {"description": "The upload took too long.", "content": {MEDIA_TYPE: _PROBLEM}},
    503: {"description": "Other pictures are being worked on.", "content": {MEDIA_TYPE: _PROBLEM}},
}


def _multipart(settings: dict[str, object] | None) -> dict[str, Any]:
    """`openapi_extra` of a route that takes pictures, and with `settings` an example of those beside them."""
    properties: dict[str, Any] = {
        PICTURE: {
            "type": "array",
            "minItems": 1,
            "items": {"type": "string", "contentMediaType": "application/octet-stream"},
            "description": f"JPEG, PNG, TIFF or WebP; all together at most {MOST_UPLOAD_BYTES} bytes",
        }
    }
    encoding = {PICTURE: {"contentType": "image/jpeg, image/png, image/tiff, image/webp"}}
    content: dict[str, Any] = {"encoding": encoding}
    if settings is not None:
        reference = f"#/components/schemas/{NegativeBody.__name__}"
        properties[SETTINGS] = {"$ref": reference, "examples": [settings]}
        encoding[SETTINGS] = {"contentType": "application/json"}
    content["schema"] = {
        "type": "object",
        "properties": properties,
        "required": [PICTURE],
        "additionalProperties": False,
    }
    return {"requestBody": {"required": True, "content": {"multipart/form-data": content}}}


@router.post(
    "/v1/negative",
    operation_id="make_negative",
    response_model=NegativeAnswer,
    responses={
        **SLOW,
        200: {
            "description": (
                f"The film page as a file, what is told of it in the header {ANSWER_HEADER}; or that alone,"
                " where JSON is asked for by Accept."
            ),
            "content": _FILES,
            "headers": {
                ANSWER_HEADER: {
                    "description": "NegativeAnswer as a line of JSON; of a long one the page alone",
                    "schema": {"type": "string"},
                }
            },
        },
    },
    openapi_extra=_multipart(NEGATIVE),
)
async def post_negative(request: Request) -> Response:
    """A film page of one or several negatives, as PDF, TIFF or PNG at its exact size; keeps nothing."""

    def answer(sent: Sent) -> Response:
        body = settings_from(sent)
        film, told = make_toned(request, body, sent)
        if prefers_json(request.headers.get("accept", "")):
            return Response(told.model_dump_json(), media_type="application/json")
        return _file(film.finished, body.format, body.bits, "negative", {ANSWER_HEADER: header_of(told)})

    return await with_upload(request, answer)


@router.post(
    "/v1/negative/look",
    operation_id="look_at_picture",
    response_model=LookAnswer,
    responses=SLOW,
    openapi_extra=_multipart(None),
)
async def post_look(request: Request) -> Response:
    """What pictures are: kind, size, profile, and how they are brought to grey; keeps nothing."""

    def answer(sent: Sent) -> Response:
        told = LookAnswer(pictures=looks_of(sent))
        return Response(told.model_dump_json(), media_type="application/json")

    return await with_upload(request, answer)


@router.get(
    "/v1/negative/wedge",
    operation_id="printable_wedge",
    response_class=Response,
    responses={**SLOW, 200: {"description": "The page as a file", "content": _FILES}},
    openapi_extra=query_parameters(WedgeQuery, WEDGE),
)
async def get_wedge(request: Request) -> Response:
    """A step wedge to print on film, with numbers, even in code value: to find out what a printer does."""
    query = read_query(WedgeQuery, request)
    return await in_turn(request, lambda: _file(wedge_print(query), query.format, query.bits, "wedge"))


@router.get(
    "/v1/negative/mask",
    operation_id="printable_mask",
    response_class=Response,
    responses={**SLOW, 200: {"description": "The page as a file", "content": _FILES}},
    openapi_extra=query_parameters(MaskQuery, MASK),
)
async def get_mask(request: Request) -> Response:
    """A mask to print on film for a geometric test strip: where to lay the card, and how the doses rise."""
    query = read_query(MaskQuery, request)
    return await in_turn(request, lambda: _file(mask_print(query), query.format, query.bits, "mask"))


def _file(
    film: Print, kind: Format, bits: int | None, name: str, headers: dict[str, str] | None = None
) -> Response:
    disposition = {"Content-Disposition": f'inline; filename="{name}.{kind}"'}
    content = exported(film, kind, bits)
    return Response(content, media_type=MEDIA_TYPES[kind], headers={**disposition, **(headers or {})})
