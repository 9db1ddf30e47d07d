"""The seven routes of a kind of thing that is saved by name and in all its versions, from its description.

POST and GET on the path; GET, PATCH, /versions, /retire and /restore on one of them.  A change names the
version it was made from (If-Match), and a request may be repeated under its key.
"""

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any, Generic, TypeVar
from uuid import UUID, uuid4

from fastapi import APIRouter, Depends, Request, Response
from pydantic import BaseModel

from noonframe.api.bench_bodies import ListQuery, VersionQuery
from noonframe.api.bench_match import CHANGE
from noonframe.api.bench_shelf import Visit, answered, changed, created, listed, shown, turned, visit_of
from noonframe.api.problems import CHANGE_RESPONSES
from noonframe.api.reading import body_of, json_body, no_query, query_parameters, read_query

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.versioned import Saved, Shelf

F = TypeVar("F")
B = TypeVar("B", bound=BaseModel)
C = TypeVar("C", bound=BaseModel)


@dataclass(frozen=True)
class Said:
    """What the OpenAPI document says of one route; what is empty follows from the kind."""

    description: str = ""
    operation_id: str = ""
    name: str = ""


@dataclass(frozen=True)
class Kind(Generic[F, B, C]):
    """A kind of thing that is saved: `F` as the store has it, `B` as it is posted, `C` as it is changed.

    `make` runs before the transaction of a POST and `alter` before that of a PATCH; what they return makes
    the new fields inside it.  `shape` tells a version; where a change is answered with more than that, `kept`
    is the model of that answer and `shape_kept` makes it.  `shelf` imports its shelf when it is first asked.
    `says` overrides, by route ("create", "list", "get", "versions", "change", "retire", "restore"), what the
    document would say of it; `noun` is `what` in the long form, such as "saved_spot".
    """

    what: str
    path: str
    shelf: "Callable[[], Shelf[F]]" = field(repr=False)
    body: type[B]
    change: type[C]
    body_example: Mapping[str, object] = field(repr=False)
    change_example: Mapping[str, object] = field(repr=False)
    answer: type[BaseModel]
    many: type[BaseModel]
    gather: Callable[[list[Any]], BaseModel] = field(repr=False)
    make: "Callable[[Visit, B], Callable[[Connection], F]]" = field(repr=False)
    alter: "Callable[[Visit, C], Callable[[Connection, Saved[F]], F]]" = field(repr=False)
    shape: "Callable[[Saved[F]], BaseModel]" = field(repr=False)
    kept: type[BaseModel] | None = None
    shape_kept: "Callable[[Visit, Connection, Saved[F]], BaseModel] | None" = field(default=None, repr=False)
    noun: str = ""
    says: Mapping[str, Said] = field(default_factory=dict, repr=False)

    @property
    def key(self) -> str:
        """The name of the id in paths."""
        return f"{self.what}_id"

    @property
    def one(self) -> str:
        """The path of one of them."""
        return f"{self.path}/{{{self.key}}}"

    @property
    def models(self) -> tuple[type[BaseModel], ...]:
        """The models of the bodies, which the OpenAPI document must hold."""
        return (self.body, self.change)

    @property
    def answer_kept(self) -> type[BaseModel]:
        """The model of the answer to a change."""
        return self.answer if self.kept is None else self.kept

    def shape_change(self, visit: Visit, db: "Connection", saved: "Saved[F]") -> BaseModel:
        """The answer to a change."""
        return self.shape(saved) if self.shape_kept is None else self.shape_kept(visit, db, saved)

    @cached_property
    def _usual(self) -> Mapping[str, Said]:
        what, noun = self.what, self.noun or self.what
        short, long = what.replace("_", " "), noun.replace("_", " ")
        away = "it is listed no more, its name is free, nothing is lost"
        return {
            "create": Said(f"Save a {long}.", f"save_{what}", f"post_{what}"),
            "list": Said(f"{long.capitalize()}s, newest first.", f"{noun}s", f"list_{what}s"),
            "get": Said(f"A {long}, as it is now or as it was in a version.", noun, f"get_{what}"),
            "versions": Said(
                f"Every version of a {long}, oldest first.", f"{noun}_versions", f"get_{what}_versions"
            ),
            "change": Said(
                f"Save a new version of a {short}, with `If-Match`.", f"change_{what}", f"patch_{what}"
            ),
            "retire": Said(f"Put a {short} away: {away}.", f"retire_{what}", f"retire_{what}"),
            "restore": Said(f"Take a retired {short} back.", f"restore_{what}", f"restore_{what}"),
        }

    def said(self, route: str) -> Said:
        """What the document says of a route."""
        own, usual = self.says.get(route, Said()), self._usual[route]
        return Said(
            own.description or usual.description,
            own.operation_id or usual.operation_id,
            own.name or usual.name,
        )


def add_shelf(router: APIRouter, kind: Kind[F, B, C], *, with_list: bool = True) -> None:
    """Add the routes of a kind to `router`; without the list where its module has one of its own."""
    put = _Adder(router, kind)

    def create(request: Request, body: B) -> Response:
        visit = visit_of(request)
        return created(
            visit,
            kind.shelf(),
            uuid4(),
            body,
            prepare=lambda: kind.make(visit, body),
            shape=kind.shape_change,
        )

    def many(request: Request) -> Response:
        query, shelf = read_query(ListQuery, request), kind.shelf()
        with visit_of(request).desk.records.open().read() as db:
            found = listed(db, shelf, query)
        return answered(kind.gather([kind.shape(each) for each in found]))

    def get(request: Request, **path: UUID) -> Response:
        return shown(visit_of(request), kind.shelf(), path[kind.key], kind.shape)

    def versions(request: Request, **path: UUID) -> Response:
        no_query(request)
        with visit_of(request).desk.records.open().read() as db:
            found = kind.shelf().history(db, path[kind.key])
        return answered(kind.gather([kind.shape(each) for each in found]))

    def change(request: Request, body: C, **path: UUID) -> Response:
        visit = visit_of(request)
        return changed(
            visit,
            kind.shelf(),
            path[kind.key],
            body,
            prepare=lambda: kind.alter(visit, body),
            shape=kind.shape_change,
        )

    def turn(retire: bool) -> Callable[..., Response]:
        def endpoint(request: Request, **path: UUID) -> Response:
            visit = visit_of(request)
            return turned(visit, kind.shelf(), path[kind.key], shape=kind.shape_change, retire=retire)

        return endpoint

    put(
        "create",
        "POST",
        kind.path,
        create,
        body=kind.body,
        status_code=201,
        response_model=kind.answer_kept,
        openapi_extra=json_body(kind.body, kind.body_example),
    )
    if with_list:
        extra = query_parameters(ListQuery, {"limit": 10})
        put("list", "GET", kind.path, many, response_model=kind.many, openapi_extra=extra)
    put(
        "get",
        "GET",
        kind.one,
        get,
        response_model=kind.answer,
        openapi_extra=query_parameters(VersionQuery, {}),
    )
    put("versions", "GET", f"{kind.one}/versions", versions, response_model=kind.many)
    changing: dict[str, Any] = {"response_model": kind.answer_kept, "responses": CHANGE_RESPONSES}
    extra = {**json_body(kind.change, kind.change_example), **CHANGE}
    put("change", "PATCH", kind.one, change, body=kind.change, openapi_extra=extra, **changing)
    for route in ("retire", "restore"):
        put(
            route,
            "POST",
            f"{kind.one}/{route}",
            turn(route == "retire"),
            openapi_extra=CHANGE,
            **changing,
        )


@dataclass(frozen=True)
class _Adder:
    router: APIRouter
    kind: Kind[Any, Any, Any]

    def __call__(
        self,
        route: str,
        method: str,
        path: str,
        endpoint: Callable[..., Response],
        *,
        body: type[BaseModel] | None = None,
        **how: Any,
    ) -> None:
        """Add one route; its endpoint takes the id in its path, if any, by the name it has there."""
        # FastAPI reads what an endpoint takes from its signature, and ours depends on the kind
        takes: dict[str, Any] = {"request": Request}
        if "{" in path:
            takes[self.kind.key] = UUID
        if body is not None:
            takes["body"] = Annotated[body, Depends(body_of(body))]
        keyword = inspect.Parameter.KEYWORD_ONLY
        parameters = [inspect.Parameter(name, keyword, annotation=a) for name, a in takes.items()]
        endpoint.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
        said = self.kind.said(route)
        self.router.add_api_route(
            path,
            endpoint,
            methods=[method],
            name=said.name,
            operation_id=said.operation_id,
            description=said.description,
            **how,
        )


def shelf_examples(kind: Kind[F, B, C], saved: "Saved[F]") -> dict[tuple[str, str], dict[str, Any]]:
    """The answers to show in the OpenAPI document, by method and path, for the version 1 of a record."""
    this = kind.shape(saved).model_dump(mode="json")
    many = kind.gather([kind.shape(saved)]).model_dump(mode="json")
    answers = {
        ("post", kind.path): this,
        ("get", kind.path): many,
        ("get", kind.one): this,
        ("get", f"{kind.one}/versions"): many,
        ("patch", kind.one): {**this, "version": 2},
        ("post", f"{kind.one}/retire"): {**this, "version": 2, "retired": True},
        ("post", f"{kind.one}/restore"): {**this, "version": 3},
    }
    return {operation: {"application/json": answer} for operation, answer in answers.items()}
