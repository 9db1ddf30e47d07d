"""Saving, changing and retiring what stands on a shelf, for all its kinds alike."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar
from uuid import UUID

from fastapi import Request, Response
from pydantic import BaseModel

from noonframe.api.bench_bodies import ListQuery, VersionQuery
from noonframe.api.bench_fill import bench_of
from noonframe.api.bench_match import match_of, tagged
from noonframe.api.bench_names import named
from noonframe.api.idempotent import JSON, once
from noonframe.api.reading import no_query, read_query
from noonframe.api.routes.common import now_of
from noonframe.errors import OutOfDomain, UnknownName

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.versioned import Saved, Shelf

_F = TypeVar("_F")
_RETIRED: Mapping[str, bool | None] = {"no": False, "yes": True, "both": None}


def retired_of(words: str) -> bool | None:
    """The store's word for which of the living and the retired are wanted."""
    return _RETIRED[words]


def kept(
    request: Request,
    content: Mapping[str, Any],
    prepare: "Callable[[], Callable[[Connection], BaseModel]]",
    *,
    status_code: int = 200,
) -> Response:
    """Do a change once, and answer with what it returns, tagged with its version."""
    response = once(request, bench_of(request).records, content, prepare, status_code=status_code)
    return tagged(response, json.loads(bytes(response.body))["version"])


def shown(
    request: Request, shelf: "Shelf[_F]", record_id: UUID, shape: "Callable[[Saved[_F]], BaseModel]"
) -> Response:
    """The newest version of a record, or the one that the query names."""
    query = read_query(VersionQuery, request)
    with bench_of(request).records.open().read() as db:
        saved = shelf.get(db, record_id, query.version)
    return tagged(Response(shape(saved).model_dump_json(), media_type=JSON), saved.version)


def listed(db: "Connection", shelf: "Shelf[_F]", query: ListQuery) -> "tuple[Saved[_F], ...]":
    """A page of records."""
    retired = retired_of(query.retired)
    if query.name is not None:
        found = shelf.find(db, query.name)
        return () if found is None or retired is True else (found,)
    before = None
    if query.before is not None:
        try:
            before = shelf.get(db, query.before)
        except UnknownName as problem:
            raise UnknownName("before", problem.value, problem.limit) from None
    return shelf.newest(db, retired=retired, before=before, limit=query.limit)


def changed(
    request: Request,
    shelf: "Shelf[_F]",
    record_id: UUID,
    body: BaseModel,
    *,
    changes: "Callable[[Connection, Saved[_F]], _F]",
    shape: "Callable[[Connection, Saved[_F]], BaseModel]",
) -> Response:
    """Change a record, if it is still at a version that If-Match names."""
    no_query(request)
    match, now_s = match_of(request), now_of(request)

    def work(db: "Connection") -> BaseModel:
        now = shelf.get(db, record_id, lock=True)
        match.check(now.version)
        with named():
            fields = changes(db, now)
            if fields == now.fields and not now.retired:
                return shape(db, now)  # nothing new is no version
            return shape(db, shelf.change(db, record_id, fields, version=now.version, now_s=now_s))

    return kept(request, body.model_dump(mode="json", exclude_unset=True), lambda: work)


def turned(
    request: Request,
    shelf: "Shelf[_F]",
    record_id: UUID,
    shape: "Callable[[Connection, Saved[_F]], BaseModel]",
    *,
    retire: bool,
) -> Response:
    """Retire a record, or take it back, if it is still at a version that If-Match names."""
    no_query(request)
    match, now_s = match_of(request), now_of(request)

    def work(db: "Connection") -> BaseModel:
        now = shelf.get(db, record_id, lock=True)
        match.check(now.version)
        turn = shelf.retire if retire else shelf.restore
        return shape(db, turn(db, record_id, version=now.version, now_s=now_s))

    return kept(request, {"retire": retire}, lambda: work)


def merged(now: _F, body: BaseModel, needed: tuple[str, ...], made: Mapping[str, Any] | None = None) -> _F:
    """Fields with what a request changes; null empties a text or a list, and is refused for a `needed` field.

    `made` holds values that were made of the request's own, by the names of the fields.
    """
    values: dict[str, Any] = {}
    for name in body.model_fields_set:
        if made is not None and name in made:
            continue
        value = getattr(body, name)
        if value is None and name in needed:
            raise OutOfDomain(name, None, "given: it cannot be empty")
        old = getattr(now, name, None)
        if value is None and isinstance(old, str | tuple):
            value = type(old)()
        values[name] = tuple(value) if isinstance(value, list) else value
    return replace(now, **values, **(made or {}))  # type: ignore[type-var]  # every kind of fields is a dataclass
