"""/v1/prints: the log of finished prints; and the whole bench out and in again."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from noonframe.api.bench_answers import CountsItem, ImportAnswer, PrintAnswer, PrintKeptAnswer, PrintsAnswer
from noonframe.api.bench_bodies import PrintBody, PrintChange, PrintsCsvQuery, PrintsQuery
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.bench_evidence import check_past
from noonframe.api.bench_fill import bench_of
from noonframe.api.bench_prints import changed_print, kept_answer, new_print, recipe_id_of
from noonframe.api.bench_runs import run_light
from noonframe.api.bench_shapes import print_answer
from noonframe.api.bench_shelf import Visit, answered, page_end, retired_of
from noonframe.api.examples import PRINT, PRINT_CHANGE
from noonframe.api.idempotent import JSON
from noonframe.api.reading import (
    json_bytes,
    no_query,
    query_parameters,
    read_query,
)
from noonframe.api.routes.runs import desk_of
from noonframe.api.shelf_routes import Kind, Said, add_shelf
from noonframe.bench.judgement import Judgement

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.prints import PrintFields, PrintSearch
    from noonframe.store.versioned import Saved, Shelf

router = APIRouter(tags=["prints"])
CSV = "text/csv"
_EXPORT_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "what /v1/export gave",
        "content": {JSON: {"schema": {"type": "object"}}},
    }
}


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
        before = None if query.before is None else Cursor.after(page_end(db, PRINTS, query.before))
        found = prints.search(db, wanted, before=before, limit=query.limit)
        total = prints.count(db, wanted)
    return answered(PrintsAnswer(prints=[print_answer(each) for each in found], total=total))


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


def _shelf() -> "Shelf[PrintFields]":
    from noonframe.store.prints import PRINTS

    return PRINTS


def _make(visit: Visit, body: PrintBody) -> "Callable[[Connection], PrintFields]":
    run = None if body.run_id is None else run_light(desk_of(visit.request), body.run_id, visit.now_s)
    return lambda db: new_print(visit.desk, db, body, run, visit.now_s)


def _alter(visit: Visit, body: PrintChange) -> "Callable[[Connection, Saved[PrintFields]], PrintFields]":
    def changes(_db: "Connection", now: "Saved[PrintFields]") -> "PrintFields":
        made = changed_print(now.fields, body)
        check_past(made.made_at_s, visit.now_s)
        return made

    return changes


PRINT_KIND = Kind(
    what="print",
    path="/v1/prints",
    shelf=_shelf,
    body=PrintBody,
    change=PrintChange,
    body_example=PRINT,
    change_example=PRINT_CHANGE,
    answer=PrintAnswer,
    many=PrintsAnswer,
    gather=lambda prints: PrintsAnswer(prints=prints, total=len(prints)),
    make=_make,
    alter=_alter,
    shape=print_answer,
    kept=PrintKeptAnswer,
    shape_kept=lambda visit, db, saved: kept_answer(visit.desk, db, saved, visit.now_s),
    says={
        "create": Said(
            "Log a finished print, of a run or told by hand; judged in plain words it moves the recipe's "
            "target.",
            "log_print",
        ),
        "change": Said(
            "Change or judge a print, with `If-Match`; judged anew, its old judgement counts no more."
        ),
        "retire": Said(
            "Put a print away: it is listed no more and its judgement counts no more; nothing is lost."
        ),
        "restore": Said("Take a retired print back, and its judgement with it."),
    },
)
add_shelf(router, PRINT_KIND, with_list=False)  # after the table, whose path could be a print's


@router.get(
    "/v1/export",
    operation_id="export_bench",
    response_class=Response,
    responses={200: {"content": {JSON: {"schema": {"type": "object"}}}, "description": "The whole bench"}},
    dependencies=[Depends(no_query)],
)
def get_export(request: Request) -> Response:
    """The whole bench with all versions, evidence, exposures, sessions and equipment, as one document."""
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
    kinds = [name for name in ImportAnswer.model_fields if name != "summary"]
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
