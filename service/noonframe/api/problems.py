"""Every error as RFC 9457 problem details, with `errors[]` naming field, value and limit."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from noonframe.errors import DataFileError, Malformed, NoonframeError, OutOfDomain, UnknownName

MEDIA_TYPE = "application/problem+json"
_LONGEST_ECHO = 80


class FieldError(BaseModel):
    """One thing wrong with a request."""

    field: str = Field(description="name of the field, dotted for nested ones", examples=["latitude_deg"])
    value: Any = Field(description="what was sent, shortened", examples=["95"])
    limit: str = Field(description="what it must be", examples=["less than 90"])


class Problem(BaseModel):
    """Problem details (RFC 9457)."""

    type: str = Field(examples=["urn:noonframe:problem:invalid-input"])
    title: str = Field(examples=["The request cannot be answered as it stands"])
    status: int = Field(examples=[422])
    detail: str = Field(examples=["latitude_deg must be less than 90"])
    instance: str = Field(examples=["/v1/light"])
    errors: list[FieldError] = Field(default_factory=list)


_STATUS: tuple[tuple[type[NoonframeError], int, str, str], ...] = (
    (UnknownName, 422, "unknown-name", "A name is not known"),
    (OutOfDomain, 422, "invalid-input", "The request cannot be answered as it stands"),
    (Malformed, 422, "invalid-input", "The request cannot be answered as it stands"),
    (DataFileError, 500, "data-file", "A data file of this installation is damaged"),
)

_TITLES = {
    400: ("bad-request", "The request cannot be read"),
    404: ("not-found", "There is nothing at this address"),
    405: ("method-not-allowed", "This address does not take that method"),
    413: ("too-large", "The request body is too large"),
    415: ("media-type", "The request body is of a type this address does not take"),
    500: ("internal", "The service failed; the request may be fine"),
}

PROBLEM_RESPONSES: dict[int | str, dict[str, Any]] = {
    code: {"model": Problem, "description": text, "content": {MEDIA_TYPE: {}}}
    for code, text in ((413, "body too large"), (422, "a field is wrong, missing or unknown"))
}


def _plain(value: object) -> object:
    """A value as JSON can carry it, shortened so that nobody's novel comes back."""
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    text = str(value)
    return text if len(text) <= _LONGEST_ECHO else text[:_LONGEST_ECHO] + "…"


def problem_response(
    request: Request,
    status: int,
    kind: str,
    title: str,
    detail: str,
    errors: Sequence[Mapping[str, object]] = (),
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """A problem document as a response."""
    body = {
        "type": f"urn:noonframe:problem:{kind}",
        "title": title,
        "status": status,
        "detail": detail,
        "instance": request.url.path,
        "errors": [dict(error) for error in errors],
    }
    return JSONResponse(body, status_code=status, media_type=MEDIA_TYPE, headers=dict(headers or {}))


async def _on_noonframe_error(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, NoonframeError)
    _, status, kind, title = next(row for row in _STATUS if isinstance(error, row[0]))
    entry = {"field": error.field, "value": _plain(error.value), "limit": error.limit}
    return problem_response(request, status, kind, title, str(error), [entry])


_LIMIT_WORDS = {
    "missing": "given",
    "extra_forbidden": "left out: this address knows no such field",
    "finite_number": "a finite number",
    "float_parsing": "a number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "json_invalid": "valid JSON",
    "dict_type": "a JSON object",
    "model_attributes_type": "a JSON object",
}


def _limit(error: Mapping[str, Any]) -> str:
    kind = str(error.get("type", ""))
    if kind in _LIMIT_WORDS:
        return _LIMIT_WORDS[kind]
    if kind == "value_error":
        return str(error.get("ctx", {}).get("error", error.get("msg", "")))
    message = str(error.get("msg", "valid"))
    for opening in ("Input should be ", "String should "):
        if message.startswith(opening):
            return message.removeprefix(opening)
    return message[:1].lower() + message[1:]


async def _on_validation_error(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    entries = []
    for item in error.errors():
        location = [str(part) for part in item.get("loc", ()) if part not in ("query", "body", "path")]
        value = None if item.get("type") == "missing" else _plain(item.get("input"))
        entries.append({"field": ".".join(location) or "body", "value": value, "limit": _limit(item)})
    detail = "; ".join(f"{entry['field']} must be {entry['limit']}" for entry in entries[:3])
    return problem_response(
        request, 422, "invalid-input", "The request cannot be answered as it stands", detail, entries
    )


async def _on_http_error(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    kind, title = _TITLES.get(error.status_code, ("error", "The request failed"))
    detail = error.detail if isinstance(error.detail, str) else title
    return problem_response(request, error.status_code, kind, title, detail, headers=error.headers)


async def _on_surprise(request: Request, error: Exception) -> JSONResponse:
    kind, title = _TITLES[500]
    return problem_response(request, 500, kind, title, type(error).__name__)


def install_problem_handlers(app: FastAPI) -> None:
    """Make every error of `app` a problem document."""
    app.add_exception_handler(NoonframeError, _on_noonframe_error)
    app.add_exception_handler(RequestValidationError, _on_validation_error)
    app.add_exception_handler(HTTPException, _on_http_error)
    app.add_exception_handler(Exception, _on_surprise)
