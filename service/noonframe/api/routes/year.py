"""/v1/year and /v1/month: which hours of which months and days, as JSON and as a page for the wall."""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from noonframe.api.bench_fill import filled
from noonframe.api.examples import OPEN_SPOT
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.pictures.page import SheetPage, page_svg
from noonframe.api.pictures.year_page import month_page, year_page
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.routes.common import now_of, settings_of
from noonframe.api.year_answer import Outcome, look_at_month, look_at_year
from noonframe.api.year_examples import MONTH, YEAR
from noonframe.api.year_inputs import MonthBody, MonthQuery, YearBody, YearQuery
from noonframe.api.year_outputs import MonthAnswer, YearAnswer

router = APIRouter(tags=["year"])
SVG, PDF = "image/svg+xml", "application/pdf"
_YEAR_BODY: dict[str, object] = {**YEAR, "spot": OPEN_SPOT}
_MONTH_BODY: dict[str, object] = {**MONTH, "spot": OPEN_SPOT}


def _drawing(kind: str) -> dict[int | str, dict[str, Any]]:
    schema = {"type": "string"} if kind == SVG else {"type": "string", "contentMediaType": PDF}
    return {200: {"description": "One page of A4.", "content": {kind: {"schema": schema}}}}


def _year(request: Request, query: YearQuery, spot: SpotBody | None) -> Outcome:
    query, spot = filled(request, query, spot)
    return look_at_year(query, settings_of(request), now_of(request), spot)


def _month(request: Request, query: MonthQuery, spot: SpotBody | None) -> Outcome:
    query, spot = filled(request, query, spot)
    return look_at_month(query, settings_of(request), now_of(request), spot)


def as_svg(page: SheetPage) -> Response:
    """A page as SVG, in millimetres of A4."""
    return Response(page_svg(page), media_type=SVG)


def as_pdf(page: SheetPage) -> Response:
    """A page as PDF; its library is loaded for the first one."""
    from noonframe.api.pictures.page_pdf import page_pdf

    return Response(page_pdf(page), media_type=PDF)


@router.get("/v1/year", operation_id="year", openapi_extra=query_parameters(YearQuery, YEAR))
async def get_year(request: Request) -> YearAnswer:
    """Minutes of exposure by start hour and month, and the best hours of each month."""
    query = read_query(YearQuery, request)
    return await run_in_threadpool(lambda: _year(request, query, None).year())


@router.post("/v1/year", operation_id="year_at_spot", openapi_extra=json_body(YearBody, _YEAR_BODY))
def post_year(request: Request, body: Annotated[YearBody, Depends(body_of(YearBody))]) -> YearAnswer:
    """The same, with a spot."""
    return _year(request, body, body.spot).year()


@router.get("/v1/month", operation_id="month", openapi_extra=query_parameters(MonthQuery, MONTH))
async def get_month(request: Request) -> MonthAnswer:
    """Minutes of exposure by day and start hour of a month."""
    query = read_query(MonthQuery, request)
    return await run_in_threadpool(lambda: _month(request, query, None).month())


@router.post("/v1/month", operation_id="month_at_spot", openapi_extra=json_body(MonthBody, _MONTH_BODY))
def post_month(request: Request, body: Annotated[MonthBody, Depends(body_of(MonthBody))]) -> MonthAnswer:
    """The same, with a spot."""
    return _month(request, body, body.spot).month()


def _add_pictures(ending: str, kind: str, respond: Callable[[SheetPage], Response]) -> None:
    """The pages of one kind of file: for a year and a month, asked for by query or with a spot."""

    @router.get(
        f"/v1/year.{ending}",
        operation_id=f"year_{ending}",
        response_class=Response,
        responses=_drawing(kind),
        openapi_extra=query_parameters(YearQuery, YEAR),
        summary=f"The year as one page of A4 ({ending.upper()})",
    )
    async def get_year_page(request: Request) -> Response:
        query = read_query(YearQuery, request)
        return await run_in_threadpool(lambda: respond(year_page(_year(request, query, None))))

    @router.post(
        f"/v1/year.{ending}",
        operation_id=f"year_{ending}_at_spot",
        response_class=Response,
        responses=_drawing(kind),
        openapi_extra=json_body(YearBody, _YEAR_BODY),
        summary=f"The same with a spot ({ending.upper()})",
    )
    def post_year_page(request: Request, body: Annotated[YearBody, Depends(body_of(YearBody))]) -> Response:
        return respond(year_page(_year(request, body, body.spot)))

    @router.get(
        f"/v1/month.{ending}",
        operation_id=f"month_{ending}",
        response_class=Response,
        responses=_drawing(kind),
        openapi_extra=query_parameters(MonthQuery, MONTH),
        summary=f"The month as one page of A4 ({ending.upper()})",
    )
    async def get_month_page(request: Request) -> Response:
        query = read_query(MonthQuery, request)
        return await run_in_threadpool(lambda: respond(month_page(_month(request, query, None))))

    @router.post(
        f"/v1/month.{ending}",
        operation_id=f"month_{ending}_at_spot",
        response_class=Response,
        responses=_drawing(kind),
        openapi_extra=json_body(MonthBody, _MONTH_BODY),
        summary=f"The same with a spot ({ending.upper()})",
    )
    def post_month_page(
        request: Request, body: Annotated[MonthBody, Depends(body_of(MonthBody))]
    ) -> Response:
        return respond(month_page(_month(request, body, body.spot)))


_add_pictures("svg", SVG, as_svg)
_add_pictures("pdf", PDF, as_pdf)
