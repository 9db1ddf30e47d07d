"""Saving, changing and retiring what stands on a shelf, for all its kinds alike."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi import Request, Response
from pydantic import BaseModel

from noonframe.api.bench_bodies import ListQuery, VersionQuery
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.bench_fill import bench_of
from noonframe.api.bench_match import match_of, tagged
from noonframe.api.bench_names import named
from noonframe.api.idempotent import JSON, once
from noonframe.api.reading import no_query, read_query
from noonframe.api.routes.common import now_of
from noonframe.api.times import format_time
from noonframe.errors import OutOfDomain, UnknownName

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.versioned import Saved, Shelf

_F = TypeVar("_F")
_UTC = ZoneInfo("UTC")
_RETIRED: Mapping[str, bool | None] = {"no": False, "yes": True, "both": None}


@dataclass(frozen=True)
class Visit:
    """One request at a shelf: the desk that serves it, and unix seconds now, the same all through."""

    request: Request
    desk: BenchDesk
    now_s: float


def visit_of(request: Request) -> Visit:
    """The visit that a request is."""
    return Visit(request, bench_of(request), now_of(request))


def saved_head(saved: "Saved[Any]") -> dict[str, Any]:
    """What is told alike of every kind (see `SavedItem`)."""
    return {
        "id": str(saved.id),
        "name": saved.fields.name,
        "version": saved.version,
        "created": format_time(saved.created_s, _UTC),
        "saved": format_time(saved.saved_s, _UTC),
        "retired": saved.retired,
    }


def retired_of(words: str) -> bool | None:
    """The store's word for which of the living and the retired are wanted."""
    return _RETIRED[words]


def kept(
    visit: Visit,
    content: Mapping[str, Any],
    prepare: "Callable[[], Callable[[Connection], BaseModel]]",
    *,
    status_code: int = 200,
) -> Response:
    """Do a change once, and answer with what it returns, tagged with its version."""
    response = once(visit.request, visit.desk.records, content, prepare, status_code=status_code)
    return tagged(response, json.loads(bytes(response.body))["version"])


def shown(
    visit: Visit, shelf: "Shelf[_F]", record_id: UUID, shape: "Callable[[Saved[_F]], BaseModel]"
) -> Response:
    """The newest version of a record, or the one that the query names."""
    query = read_query(VersionQuery, visit.request)
    with visit.desk.records.open().read() as db:
        saved = shelf.get(db, record_id, query.version)
    return tagged(answered(shape(saved)), saved.version)


def answered(answer: BaseModel) -> Response:
    """An answer as it is sent."""
    return Response(answer.model_dump_json(), media_type=JSON)


def listed(db: "Connection", shelf: "Shelf[_F]", query: ListQuery) -> "tuple[Saved[_F], ...]":
    """A page of records."""
    retired = retired_of(query.retired)
    if query.name is not None:
        found = shelf.find(db, query.name)
        return () if found is None or retired is True else (found,)
    before = None
    if query.before is not None:
        before = page_end(db, shelf, query.before)
    return shelf.newest(db, retired=retired, before=before, limit=query.limit)


def page_end(db: "Connection", shelf: "Shelf[_F]", record_id: UUID) -> "Saved[_F]":
    """The record that the page before ended with; the error names the field `before`."""
    try:
        return shelf.get(db, record_id)
    except UnknownName as problem:
        raise UnknownName("before", problem.value, problem.limit) from None


def created(
    visit: Visit,
    shelf: "Shelf[_F]",
    record_id: UUID,
    body: BaseModel,
    *,
    prepare: "Callable[[], Callable[[Connection], _F]]",
    shape: "Callable[[Visit, Connection, Saved[_F]], BaseModel]",
) -> Response:
    """Save a new record; what `prepare` returns makes its fields inside the transaction."""

    def prepared() -> "Callable[[Connection], BaseModel]":
        make = prepare()

        def work(db: "Connection") -> BaseModel:
            with named():
                saved = shelf.create(db, record_id, make(db), now_s=visit.now_s)
            return shape(visit, db, saved)

        return work

    return kept(visit, _content(body), prepared, status_code=201)


def changed(
    visit: Visit,
    shelf: "Shelf[_F]",
    record_id: UUID,
    body: BaseModel,
    *,
    prepare: "Callable[[], Callable[[Connection, Saved[_F]], _F]]",
    shape: "Callable[[Visit, Connection, Saved[_F]], BaseModel]",
) -> Response:
    """Change a record, if it is still at a version that If-Match names; `prepare` as for `created`."""
    no_query(visit.request)
    match = match_of(visit.request)

    def prepared() -> "Callable[[Connection], BaseModel]":
        alter = prepare()

        def work(db: "Connection") -> BaseModel:
            now = shelf.get(db, record_id, lock=True)
            match.check(now.version)
            with named():
                fields = alter(db, now)
                if fields == now.fields and not now.retired:
                    return shape(visit, db, now)  # nothing new is no version
                new = shelf.change(db, record_id, fields, version=now.version, now_s=visit.now_s)
                return shape(visit, db, new)

        return work

    return kept(visit, _content(body), prepared)


def turned(
    visit: Visit,
    shelf: "Shelf[_F]",
    record_id: UUID,
    *,
    shape: "Callable[[Visit, Connection, Saved[_F]], BaseModel]",
    retire: bool,
) -> Response:
    """Retire a record, or take it back, if it is still at a version that If-Match names."""
    no_query(visit.request)
    match = match_of(visit.request)

    def work(db: "Connection") -> BaseModel:
        now = shelf.get(db, record_id, lock=True)
        match.check(now.version)
        turn = shelf.retire if retire else shelf.restore
        return shape(visit, db, turn(db, record_id, version=now.version, now_s=visit.now_s))

    return kept(visit, {"retire": retire}, lambda: work)


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


def _content(body: BaseModel) -> dict[str, Any]:
    return body.model_dump(mode="json", exclude_unset=True)
