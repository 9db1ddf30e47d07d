"""Requests in: one strict pass over a query string or a JSON body, and the same fields for the OpenAPI.

FastAPI walks a query model field by field, which costs as much as the answer itself; here pydantic takes
the whole query at once.  A JSON body is read by type as well as by shape: `true` and `"41"` are no numbers.
"""

import json
import re
from collections import Counter
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, TypeVar

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, ValidationError
from starlette.exceptions import HTTPException

from noonframe.api.routes.common import settings_of
from noonframe.errors import Malformed, OutOfDomain

LONGEST_QUERY_BYTES = 8192
_ODD_NUMBER = re.compile(r"[+-]?[\d_]*\.?[\d_]*(?:[eE][+-]?[\d_]+)?")
_KINDS: dict[int | str | None, tuple[str, ...]] = {
    "spot": ("open", "window"),
    "output": ("reading", "print", "power"),
    "source": ("point", "tubes", "panel"),
}
"""Steps that stand for the kind of what the step before names."""

_Fields = TypeVar("_Fields", bound=BaseModel)


class NoFields(BaseModel):
    """A request that takes no fields."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def read_query(model: type[_Fields], request: Request) -> _Fields:
    """The query string of `request` as `model`; unknown and repeated fields are refused."""
    raw = request.scope["query_string"]
    if len(raw) > LONGEST_QUERY_BYTES:
        raise HTTPException(414, f"The query has {len(raw)} bytes; {LONGEST_QUERY_BYTES} are the most")
    pairs = request.query_params.multi_items()  # FastAPI has parsed it already, blank values too
    fields = dict(pairs)
    if len(fields) != len(pairs):
        name = next(name for name, count in Counter(name for name, _ in pairs).items() if count > 1)
        raise OutOfDomain(name, fields[name], "given once")
    for name, value in fields.items():
        # Python's numbers may hold blanks and underscores; nobody's 1_0 should quietly become a ten.
        if value != value.strip() or ("_" in value and _ODD_NUMBER.fullmatch(value)):
            raise Malformed(name, value, "must have no blanks around it, nor underscores in a number")
    try:
        return model.model_validate(fields)
    except ValidationError as problem:
        raise _refusal(problem, "query") from None


def no_query(request: Request) -> None:
    """Refuse a query where none is read: a field that would be ignored is a mistake worth telling."""
    read_query(NoFields, request)


def body_of(model: type[_Fields]) -> Callable[[Request], Awaitable[_Fields]]:
    """A dependency that reads the JSON body of a request as `model`."""

    async def read_body(request: Request) -> _Fields:
        return from_json(model, await json_bytes(request, settings_of(request).max_body_bytes))

    return read_body


def from_json(model: type[_Fields], body: bytes) -> _Fields:
    """JSON as `model`, strictly."""
    try:
        json.loads(body, object_pairs_hook=_distinct)  # of two equal keys pydantic would take the last
    except (ValueError, RecursionError):
        raise Malformed("body", None, "valid JSON of a sensible depth, in UTF-8") from None
    try:
        return model.model_validate_json(body, strict=True)
    except ValidationError as problem:
        raise _refusal(problem, "body") from None


async def json_bytes(request: Request, most_bytes: int) -> bytes:
    """The body of a request that says it is JSON, unread."""
    no_query(request)
    if not _is_json(request.headers.get("content-type", "")):
        raise HTTPException(415, "The body must be JSON, sent as Content-Type: application/json")
    return await _whole_body(request, most_bytes)


async def _whole_body(request: Request, most_bytes: int) -> bytes:
    """The body, read no further than it may be long: the length a client states may be missing or wrong."""
    too_large = HTTPException(413, f"The body is too large; {most_bytes} bytes are the most")
    stated = request.headers.get("content-length", "")
    if stated.isdecimal() and int(stated) > most_bytes:
        raise too_large
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > most_bytes:
            raise too_large
    return bytes(body)


def _is_json(content_type: str) -> bool:
    kind = content_type.partition(";")[0].strip().lower()
    return kind == "application/json" or (kind.startswith("application/") and kind.endswith("+json"))


def _distinct(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    seen = dict(pairs)
    if len(seen) != len(pairs):
        name = next(name for name, count in Counter(name for name, _ in pairs).items() if count > 1)
        raise OutOfDomain(name, None, "given once in its object")
    return seen


def _refusal(problem: ValidationError, where: str) -> RequestValidationError:
    details = problem.errors(include_url=False)
    return RequestValidationError([{**detail, "loc": (where, *_place(detail["loc"]))} for detail in details])


def _place(location: tuple[int | str, ...]) -> tuple[int | str, ...]:
    """Where a fault stands as its sender wrote it: pydantic names the kind of a union as one more step."""
    kept = [
        step
        for before, step in zip((None, *location), location, strict=False)
        if step not in _KINDS.get(before, ())
    ]
    return tuple(kept)


def prefers_json(accept: str) -> bool:
    """Whether an Accept header asks for JSON rather than for plain text (RFC 9110, 12.5.1)."""
    weights: dict[str, float] = {}
    for item in accept.lower().split(","):
        kind, _, rest = item.partition(";")
        quality = 1.0
        for parameter in rest.split(";"):
            name, _, value = parameter.partition("=")
            if name.strip() == "q":
                try:
                    quality = float(value)
                except ValueError:
                    quality = 0.0
        weights[kind.strip()] = quality
    anything = weights.get("*/*", 0.0)
    as_json = weights.get("application/json", weights.get("application/*", anything))
    as_text = weights.get("text/plain", weights.get("text/*", anything))
    return as_json > as_text


def query_parameters(model: type[BaseModel], example: Mapping[str, object]) -> dict[str, Any]:
    """`openapi_extra` of a route that reads its query as `model`, with the values of one `example`."""
    schema = model.model_json_schema()
    required = schema.get("required", ())
    parameters = []
    for name, given in schema["properties"].items():
        field = {key: value for key, value in given.items() if key not in ("title", "description")}
        choices = [choice for choice in field.pop("anyOf", ()) if choice.get("type") != "null"]
        if choices:  # a query cannot say null; leaving the field out does
            field = {**choices[0], **{key: value for key, value in field.items() if key != "default"}}
        entry = {"name": name, "in": "query", "required": name in required, "schema": field}
        if "description" in given:
            entry["description"] = given["description"]
        if name in example:
            entry["example"] = example[name]
        parameters.append(entry)
    return {"parameters": parameters}


def json_body(model: type[BaseModel], example: Mapping[str, object]) -> dict[str, Any]:
    """`openapi_extra` of a route that reads its body as `model`."""
    reference = {"$ref": f"#/components/schemas/{model.__name__}"}
    content = {"application/json": {"schema": reference, "example": dict(example)}}
    return {"requestBody": {"required": True, "content": content}}
