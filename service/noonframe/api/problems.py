"""Every error as RFC 9457 problem details, with `errors[]` naming field, value and limit."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from noonframe.api.access_errors import Refusal
from noonframe.api.bench_match import MatchMissing, Stale
from noonframe.api.headers import SAFE_HEADERS
from noonframe.errors import DataFileError, KeyInUse, Malformed, NoonframeError, OutOfDomain, UnknownName
from noonframe.store.errors import Conflict, StoreBusy, StoreError, StoreFull

MEDIA_TYPE = "application/problem+json"
_LONGEST_ECHO = 80
_MOST_ERRORS = 20


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
    request_id: str | None = Field(None, description="what the service calls this request in its log")


_STATUS: tuple[tuple[type[NoonframeError], int, str, str], ...] = (
    (MatchMissing, 428, "match-missing", "A change must say which version it was made from"),
    (Stale, 412, "stale", "Somebody else changed it since"),
    (KeyInUse, 409, "in-progress", "The first request with this key is still being answered"),
    (Conflict, 409, "conflict", "Somebody else was first"),
    (StoreBusy, 503, "records-busy", "The records are busy; the same request may succeed in a moment"),
    (StoreFull, 507, "records-full", "There is no room for more records; nothing was kept"),
    (StoreError, 503, "records-away", "The records cannot be used right now"),
    (UnknownName, 422, "unknown-name", "A name is not known"),
    (OutOfDomain, 422, "invalid-input", "The request cannot be answered as it stands"),
    (Malformed, 422, "invalid-input", "The request cannot be answered as it stands"),
    (DataFileError, 500, "data-file", "A data file of this installation is damaged"),
)

_TITLES = {
    400: ("bad-request", "The request cannot be read"),
    404: ("not-found", "There is nothing at this address"),
    405: ("method-not-allowed", "This address does not take that method"),
    406: ("not-acceptable", "The answer is of a type that was not asked for"),
    413: ("too-large", "The request body is too large"),
    414: ("query-too-long", "The query string is too long"),
    415: ("media-type", "The request body is of a type this address does not take"),
    500: ("internal", "The service failed; the request may be fine"),
}

_FAULTY_PART = {400: "body", 406: "Accept", 413: "body", 414: "query", 415: "Content-Type"}
"""What is at fault where a status says so without a field."""

PROBLEM_RESPONSES: dict[int | str, dict[str, Any]] = {
    code: {
        "description": text,
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    for code, text in (
        (401, "A key is asked for, or the one that was sent opens nothing."),
        (403, "The key may not do that."),
        (421, "The service is not known by the name it was reached by."),
        (429, "Too many requests; Retry-After says when to come back."),
        (413, "The body is too large."),
        (414, "The query string is too long."),
        (415, "The body is not JSON, or not said to be."),
        (404, "There is nothing at this address."),
        (409, "Somebody else was first, or is still at it."),
        (422, "A field is wrong, missing, repeated or unknown."),
        (500, "The service failed; the request may be fine."),
        (503, "The records cannot be used right now."),
        (507, "There is no room for more records."),
    )
}

CHANGE_RESPONSES: dict[int | str, dict[str, Any]] = {
    status: {
        "description": text,
        "content": {
            MEDIA_TYPE: {
                "schema": {"$ref": "#/components/schemas/Problem"},
                "example": {
                    "type": f"urn:noonframe:problem:{kind}",
                    "title": text.rstrip("."),
                    "status": status,
                    "detail": f"If-Match must be {limit}",
                    "instance": "/v1/recipes/00000000-0000-0000-0000-000000000001",
                    "errors": [{"field": "If-Match", "value": value, "limit": limit}],
                },
            }
        },
    }
    for status, kind, text, value, limit in (
        (412, "stale", "Somebody else changed it since.", '"1"', 'the version there is now, "2"'),
        (428, "match-missing", "A change must say which version it was made from.", None, "given"),
    )
}
"""Of routes that change something saved."""

_IN_PATH = {
    "exposure_id",
    "recipe_id",
    "spot_id",
    "place_id",
    "print_id",
    "evidence_id",
    "feed_id",
    "key_id",
    "lamp_id",
    "film_printer_id",
    "session_id",
    "version",
}
"""Names that stand in an address, so that not to know them is to find nothing there."""


def _plain(value: object) -> object:
    """A value as JSON can carry it, shortened so that nobody's novel comes back."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        return value if abs(value) < 2**53 else "a very large whole number"
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if isinstance(value, Mapping):
        return "an object"
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return f"a list of {len(value)}"
    return _short(str(value))


def _short(text: str) -> str:
    text = text.encode("utf-8", "replace").decode("utf-8")  # half a surrogate pair cannot be sent back
    return text if len(text) <= _LONGEST_ECHO else text[:_LONGEST_ECHO] + "…"


def problem_response(
    request: Request,
    *,
    status: int,
    kind: str,
    title: str,
    detail: str,
    errors: Sequence[Mapping[str, object]] = (),
    headers: Mapping[str, str] | None = None,
    more: Mapping[str, object] | None = None,
) -> JSONResponse:
    """A problem document as a response; `kind` is a name of our own, or the whole URI of a type."""
    request_id = request.scope.get("noonframe.request_id")
    body = {
        "type": kind if ":" in kind else f"urn:noonframe:problem:{kind}",
        "title": title,
        "status": status,
        "detail": detail,
        "instance": _short(request.scope["path"]),
        "errors": [dict(error) for error in errors],
        "request_id": request_id,
        **(more or {}),
    }
    own = {**SAFE_HEADERS, **(headers or {})}
    if status == 500 and request_id is not None:  # such an answer passes by whatever else would add it
        own["X-Request-ID"] = request_id
    return JSONResponse(body, status_code=status, media_type=MEDIA_TYPE, headers=own)


async def _on_noonframe_error(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, NoonframeError)
    _, status, kind, title = next(row for row in _STATUS if isinstance(error, row[0]))
    if isinstance(error, UnknownName) and error.field in _IN_PATH:
        status, (kind, title) = 404, _TITLES[404]
    headers = {"Retry-After": "1"} if isinstance(error, StoreBusy) else None
    if isinstance(error, Stale):
        headers = {"ETag": f'"{error.current}"'}
    field = "run_id" if error.field == "exposure_id" else _short(error.field)
    entry = {"field": field, "value": _plain(error.value), "limit": error.limit}
    detail = _sentence(entry, error)
    if isinstance(error, StoreError) and not request.app.state.door.is_for_operator:
        entry["value"], detail = None, f"The records {error.limit}"  # where they lie is the owner's business
    return problem_response(
        request,
        status=status,
        kind=kind,
        title=title,
        detail=detail,
        errors=[entry],
        headers=headers,
    )


def _sentence(entry: Mapping[str, object], error: NoonframeError) -> str:
    """The error in one sentence, with the value as it is echoed rather than in full."""
    if isinstance(error, DataFileError):
        return str(error)
    if isinstance(error, StoreError):
        return f"The records at {entry['value']} {error.limit}"
    if isinstance(error, Malformed):  # its limit is a sentence of its own
        return f"{entry['field']}: {entry['limit']}"
    near = getattr(error, "near", ())
    hint = f" (did you mean {', '.join(near)}?)" if near else ""
    value = "" if entry["value"] is None else f", not {entry['value']}{hint}"
    return f"{entry['field']} must be {entry['limit']}{value}"


_LIMIT_WORDS = {
    "missing": "given",
    "extra_forbidden": "left out: this address knows no such field",
    "finite_number": "a finite number",
    "float_parsing": "a number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "a text",
    "model_type": "a JSON object",
    "json_invalid": "valid JSON",
    "list_type": "a list",
    "tuple_type": "a list",
    "uuid_parsing": "an id such as the service gives",
    "uuid_type": "an id such as the service gives",
    "union_tag_invalid": "of kind open or window",
    "union_tag_not_found": "of kind open or window",
    "dict_type": "a JSON object",
    "model_attributes_type": "a JSON object",
}


def _limit(error: Mapping[str, Any]) -> str:
    kind = str(error.get("type", ""))
    if kind.startswith("union_tag") and error.get("ctx", {}).get("discriminator") != "'kind'":
        kind = "other_" + kind  # the words for these are those of spots
    if kind in _LIMIT_WORDS:
        return _LIMIT_WORDS[kind]
    if kind == "value_error":
        return str(error.get("ctx", {}).get("error", error.get("msg", "")))
    most = error.get("ctx", {}).get("max_length")
    if kind == "string_too_long":
        return f"at most {most} characters long"
    if kind == "too_long":
        return f"at most {most} items long"
    message = str(error.get("msg", "valid"))
    for opening in ("Input should be ", "String should "):
        if message.startswith(opening):
            return message.removeprefix(opening)
    return message[:1].lower() + message[1:]


async def _on_validation_error(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    entries = []
    for item in error.errors()[:_MOST_ERRORS]:
        where, *location = (str(part) for part in item["loc"])
        value = None if item.get("type") == "missing" else _plain(item.get("input"))
        entries.append({"field": _short(".".join(location)) or where, "value": value, "limit": _limit(item)})
    detail = "; ".join(f"{entry['field']} must be {entry['limit']}" for entry in entries[:3])
    return problem_response(
        request,
        status=422,
        kind="invalid-input",
        title="The request cannot be answered as it stands",
        detail=detail,
        errors=entries,
    )


async def _on_http_error(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    kind, title = _TITLES.get(error.status_code, ("error", "The request failed"))
    detail = error.detail if isinstance(error.detail, str) else title
    headers = dict(error.headers or {})
    entry: dict[str, object] = {"field": _FAULTY_PART.get(error.status_code), "value": None, "limit": detail}
    if error.status_code == 404:
        entry |= {
            "field": "address",
            "value": _short(request.url.path),
            "limit": "one that /openapi.json lists",
        }
    elif error.status_code == 405:
        allowed = ", ".join(_methods_at(request)) or headers.get("Allow", "")
        headers = {name: value for name, value in headers.items() if name.lower() != "allow"}
        headers["Allow"] = allowed
        entry |= {"field": "method", "value": request.method, "limit": f"one of {allowed}"}
    return problem_response(
        request,
        status=error.status_code,
        kind=kind,
        title=title,
        detail=detail,
        errors=[] if entry["field"] is None else [entry],
        headers=headers,
    )


def _methods_at(request: Request) -> list[str]:
    """The methods that the address of a request takes, over all routes: each route knows its own alone."""
    path, found = request.url.path, set[str]()
    pending = list(request.app.routes)
    while pending:
        route = pending.pop()
        inner = getattr(route, "original_router", None)
        if inner is not None:
            pending += inner.routes
        regex = getattr(route, "path_regex", None)
        if regex is not None and regex.match(path):
            found |= set(getattr(route, "methods", None) or ())
    return sorted(found)


async def _on_surprise(request: Request, error: Exception) -> JSONResponse:
    kind, title = _TITLES[500]
    return problem_response(request, status=500, kind=kind, title=title, detail=type(error).__name__)


def refusal_response(request: Request, refusal: Exception) -> JSONResponse:
    """What somebody gets who is turned away."""
    assert isinstance(refusal, Refusal)
    return problem_response(
        request,
        status=refusal.status,
        kind=refusal.kind,
        title=refusal.title,
        detail=refusal.detail,
        errors=refusal.errors,
        headers=refusal.headers,
        more=refusal.more,
    )


async def _on_refusal(request: Request, refusal: Exception) -> JSONResponse:
    return refusal_response(request, refusal)


def install_problem_handlers(app: FastAPI) -> None:
    """Make every error of `app` a problem document."""
    app.add_exception_handler(Refusal, _on_refusal)
    app.add_exception_handler(NoonframeError, _on_noonframe_error)
    app.add_exception_handler(RequestValidationError, _on_validation_error)
    app.add_exception_handler(HTTPException, _on_http_error)
    app.add_exception_handler(Exception, _on_surprise)
