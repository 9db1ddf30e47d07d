"""/v1/prints: the log of finished prints; and the whole bench out and in again."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any
from uuid import UUID, uuid4

from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from noonframe.api.bench_answers import CountsItem, ImportAnswer, PrintAnswer, PrintKeptAnswer, PrintsAnswer
from noonframe.api.bench_bodies import PrintBody, PrintChange, PrintsCsvQuery, PrintsQuery, VersionQuery
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.bench_evidence import check_past
from noonframe.api.bench_fill import bench_of
from noonframe.api.bench_match import CHANGE
from noonframe.api.bench_names import named
from noonframe.api.bench_prints import changed_print, kept_answer, new_print, recipe_id_of
from noonframe.api.bench_runs import run_light
from noonframe.api.bench_shapes import print_answer
from noonframe.api.bench_shelf import changed, kept, retired_of, shown, turned
from noonframe.api.examples import PRINT, PRINT_CHANGE
from noonframe.api.idempotent import JSON
from noonframe.api.problems import CHANGE_RESPONSES
from noonframe.api.reading import (
    body_of,
    json_body,
    json_bytes,
    no_query,
    query_parameters,
    read_query,
)
from noonframe.api.routes.common import now_of
from noonframe.api.routes.runs import desk_of
from noonframe.bench.judgement import Judgement
from noonframe.errors import UnknownName

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.prints import PrintFields, PrintSearch
    from noonframe.store.versioned import Saved

router = APIRouter(tags=["prints"])
CSV = "text/csv"
_EXPORT_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "what /v1/export gave",
        "content": {JSON: {"schema": {"type": "object"}}},
    }
}


@router.post(
    "/v1/prints",
    operation_id="log_print",
    status_code=201,
    response_model=PrintKeptAnswer,
    openapi_extra=json_body(PrintBody, PRINT),
)
def post_print(request: Request, body: Annotated[PrintBody, Depends(body_of(PrintBody))]) -> Response:
    """Log a finished print, of a run or told by hand; judged in plain words it moves the recipe's target."""
    from noonframe.store.prints import PRINTS

    desk, now_s = bench_of(request), now_of(request)

    def prepare() -> "Callable[[Connection], PrintKeptAnswer]":
        run = None if body.run_id is None else run_light(desk_of(request), body.run_id, now_s)

        def work(db: "Connection") -> PrintKeptAnswer:
            with named():
                fields = new_print(desk, db, body, run, now_s)
            return kept_answer(desk, db, PRINTS.create(db, uuid4(), fields, now_s=now_s), now_s)

        return work

    content = body.model_dump(mode="json", exclude_unset=True)
    return kept(request, content, prepare, status_code=201)


@router.get(
    "/v1/prints",
    operation_id="prints",
    response_model=PrintsAnswer,
    openapi_extra=query_parameters(PrintsQuery, {"limit": 10}),
)
def list_prints(request: Request) -> Response:
    """Prints that hold all the words, of a recipe, a time or a judgement, newest first."""
    query, desk = read_query(PrintsQuery, request), bench_of(request)
    from noonframe.store import prints
    from noonframe.store.prints import PRINTS, Cursor

    with desk.records.open().read() as db:
        wanted = _wanted(desk, db, query)
        before = None
        if query.before is not None:
            try:
                before = Cursor.after(PRINTS.get(db, query.before))
            except UnknownName as problem:
                raise UnknownName("before", problem.value, problem.limit) from None
        found = prints.search(db, wanted, before=before, limit=query.limit)
        total = prints.count(db, wanted)
    answer = PrintsAnswer(prints=[print_answer(each) for each in found], total=total)
    return Response(answer.model_dump_json(), media_type=JSON)


@router.get(
    "/v1/prints/table",
    operation_id="prints_table",
    response_class=Response,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}, "description": "A line per print"}},
    openapi_extra=query_parameters(PrintsCsvQuery, {}),
)
def get_table(request: Request) -> Response:
    """The same prints as comma-separated values (RFC 4180), with a header; all of them at once."""
    query, desk = read_query(PrintsCsvQuery, request), bench_of(request)
    from noonframe.store.prints_csv import csv_rows

    with desk.records.open().read() as db:
        text = "".join(csv_rows(db, _wanted(desk, db, query)))
    headers = {"Content-Disposition": 'attachment; filename="prints.csv"'}
    return Response(text, media_type=f"{CSV}; charset=utf-8; header=present", headers=headers)


@router.get(
    "/v1/prints/{print_id}",
    operation_id="print",
    response_model=PrintAnswer,
    openapi_extra=query_parameters(VersionQuery, {}),
)
def get_print(request: Request, print_id: UUID) -> Response:
    """A print, as it is now or as it was in a version."""
    from noonframe.store.prints import PRINTS

    return shown(request, PRINTS, print_id, print_answer)


@router.get("/v1/prints/{print_id}/versions", operation_id="print_versions")
def get_print_versions(request: Request, print_id: UUID) -> PrintsAnswer:
    """Every version of a print, oldest first."""
    from noonframe.store.prints import PRINTS

    no_query(request)
    with bench_of(request).records.open().read() as db:
        found = PRINTS.history(db, print_id)
    return PrintsAnswer(prints=[print_answer(each) for each in found], total=len(found))


@router.patch(
    "/v1/prints/{print_id}",
    operation_id="change_print",
    response_model=PrintKeptAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra={**json_body(PrintChange, PRINT_CHANGE), **CHANGE},
)
def patch_print(
    request: Request, print_id: UUID, body: Annotated[PrintChange, Depends(body_of(PrintChange))]
) -> Response:
    """Change or judge a print, with `If-Match`; judged anew, its old judgement counts no more."""
    from noonframe.store.prints import PRINTS

    now_s = now_of(request)

    def changes(_db: "Connection", now: "Saved[PrintFields]") -> "PrintFields":
        made = changed_print(now.fields, body)
        check_past(made.made_at_s, now_s)
        return made

    return changed(request, PRINTS, print_id, body, changes=changes, shape=_kept(request))


@router.post(
    "/v1/prints/{print_id}/retire",
    operation_id="retire_print",
    response_model=PrintKeptAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra=CHANGE,
)
def retire_print(request: Request, print_id: UUID) -> Response:
    """Put a print away: it is listed no more and its judgement counts no more; nothing is lost."""
    from noonframe.store.prints import PRINTS

    return turned(request, PRINTS, print_id, _kept(request), retire=True)


@router.post(
    "/v1/prints/{print_id}/restore",
    operation_id="restore_print",
    response_model=PrintKeptAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra=CHANGE,
)
def restore_print(request: Request, print_id: UUID) -> Response:
    """Take a retired print back, and its judgement with it."""
    from noonframe.store.prints import PRINTS

    return turned(request, PRINTS, print_id, _kept(request), retire=False)


@router.get(
    "/v1/export", operation_id="export_bench", response_class=Response, dependencies=[Depends(no_query)]
)
def get_export(request: Request) -> Response:
    """The whole bench with all its versions, evidence and exposures, as one JSON document."""
    import json

    from noonframe.store.bench_export import export_bench

    with bench_of(request).records.open().read() as db:
        document = export_bench(db)
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    headers = {"Content-Disposition": 'attachment; filename="noonframe-bench.json"'}
    return Response(text, media_type=JSON, headers=headers)


@router.post("/v1/import", operation_id="import_bench", openapi_extra=_EXPORT_BODY)
async def post_import(request: Request) -> ImportAnswer:
    """Take an export in, whole or not at all.  What is here already stays; what differs is a conflict.

    Its own limit of 128 MiB holds in place of the one for bodies.
    """
    from noonframe.store.bench_document import MOST_BYTES

    text = await json_bytes(request, MOST_BYTES)
    return await run_in_threadpool(_imported, bench_of(request), text)


def _imported(desk: BenchDesk, text: bytes) -> ImportAnswer:
    from noonframe.store.bench_document import read_bench
    from noonframe.store.bench_import import import_bench

    document = read_bench(text)
    with desk.records.open().write() as db:
        counts = import_bench(db, document)
    kinds = ("recipes", "spots", "places", "exposures", "prints", "evidence")
    items = {
        kind: CountsItem(
            added=counts.added.get(kind, 0),
            extended=counts.extended.get(kind, 0),
            unchanged=counts.unchanged.get(kind, 0),
        )
        for kind in kinds
    }
    new = sum(item.added for item in items.values())
    more = sum(item.extended for item in items.values())
    same = sum(item.unchanged for item in items.values())
    summary = f"{new} records added, {more} carried on, {same} were here already."
    return ImportAnswer(**items, summary=summary)


def _kept(request: Request) -> "Callable[[Connection, Saved[PrintFields]], PrintKeptAnswer]":
    desk, now_s = bench_of(request), now_of(request)
    return lambda db, saved: kept_answer(desk, db, saved, now_s)


def _wanted(desk: BenchDesk, db: "Connection", query: PrintsQuery | PrintsCsvQuery) -> "PrintSearch":
    from noonframe.store.prints import PrintSearch

    words = [] if query.judgement is None else query.judgement.split(",")
    return PrintSearch(
        text=query.text,
        recipe_id=recipe_id_of(desk, db, query.recipe),
        from_s=None if query.made_from is None else query.made_from.timestamp(),
        to_s=None if query.made_to is None else query.made_to.timestamp(),
        judgements=tuple(Judgement.from_text(word) for word in words),
        retired=retired_of(query.retired),
    )
