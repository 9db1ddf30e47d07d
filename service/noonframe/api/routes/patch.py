"""/v1/patch: the patch of sun inside a window, and the best place for a table in it."""

import datetime as dt
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool

from noonframe.api.ask import Ask, find_where, understand
from noonframe.api.bench_fill import filled
from noonframe.api.examples import PATCH, WINDOW_SPOT
from noonframe.api.inputs import PatchBody, PatchQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.outputs import MonthItem, PatchAnswer, PatchMomentItem
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.routes.common import now_of, settings_of
from noonframe.api.routes.moves import flat_table, position_of, table_of
from noonframe.api.times import format_time
from noonframe.api.wording import say_clock
from noonframe.dose.patch_day import BestPlace, PatchDay, best_place, patch_day
from noonframe.dose.plan import say_place
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings
from noonframe.spot.indoors import WindowSpot
from noonframe.sun.events import civil_day

router = APIRouter(tags=["moves"])


@router.get("/v1/patch", operation_id="patch", openapi_extra=query_parameters(PatchQuery, PATCH))
async def get_patch(request: Request) -> PatchAnswer:
    """When the patch of sun reaches the table, where it is, how big, when it leaves, and the best place."""
    return await run_in_threadpool(_answer, request, read_query(PatchQuery, request), None)


@router.post(
    "/v1/patch",
    operation_id="patch_at_spot",
    openapi_extra=json_body(PatchBody, {"place": "quayside-yard", "date": "2026-06-21", "spot": WINDOW_SPOT}),
)
def post_patch(request: Request, body: Annotated[PatchBody, Depends(body_of(PatchBody))]) -> PatchAnswer:
    """The same, with a spot."""
    return _answer(request, body, body.spot)


def _answer(request: Request, query: PatchQuery, spot: SpotBody | None) -> PatchAnswer:
    query, spot = filled(request, query, spot)
    return answer_patch(query, settings_of(request), now_of(request), spot)


def answer_patch(query: PatchQuery, settings: Settings, now_s: float, spot: SpotBody | None) -> PatchAnswer:
    """The patch of sun a request asks for, as an answer."""
    zone = find_where(query).zone
    day = query.date or dt.datetime.fromtimestamp(now_s, zone).date()
    ask, patch, best = _look(query, settings, spot, day, zone)
    first, last = _ends(patch, zone)
    says = say_place(best.spot)
    if patch.first_s is None or patch.last_s is None:
        summary = "No sun reaches the table on that day."
    else:
        summary = (
            f"Sun lies on the table from {say_clock(patch.first_s, zone, now_s)} "
            f"to {say_clock(patch.last_s, zone, patch.first_s)}; the best place is {says}."
        )
    return PatchAnswer(
        date=day.isoformat(),
        sun_from=first,
        sun_until=last,
        moments=[
            PatchMomentItem(
                time=format_time(moment.time_s, zone),
                corners=[(round(u, 4), round(v, 4)) for u, v in moment.corners],
                area_m2=round(moment.area_m2, 5),
                table_share=round(moment.table_share, 5),
            )
            for moment in patch.moments
        ],
        best=position_of(best.spot),
        best_says=says,
        best_dose_j_m2=round(best.dose_j_m2, 1),
        months=_months(query, settings, spot, day.year, zone) if query.months else None,
        basis=ask.basis,
        summary=summary,
    )


def _look(
    query: PatchQuery, settings: Settings, spot: SpotBody | None, day: dt.date, zone: ZoneInfo
) -> tuple[Ask, PatchDay, BestPlace]:
    from_s, to_s = civil_day(day, zone)
    if to_s <= from_s:
        raise OutOfDomain("date", day.isoformat(), f"a day that {zone.key} had; its clocks skipped it")
    ask = understand(query, dt.datetime.fromtimestamp((from_s + to_s) / 2.0, dt.UTC), settings, spot)
    inside = ask.scene.spot
    if not isinstance(inside, WindowSpot):
        if spot is None:
            raise OutOfDomain("window_outward_azimuth_deg", None, "given: only a window has a patch of sun")
        raise OutOfDomain("spot.kind", "open", "window: only a window has a patch of sun")
    table = table_of(query, inside)
    with flat_table():
        best = best_place(ask.scene, table, from_s, to_s)
    return ask, patch_day(ask.scene, table, from_s, to_s), best


def _ends(patch: PatchDay, zone: ZoneInfo) -> tuple[str | None, str | None]:
    if patch.first_s is None or patch.last_s is None:
        return None, None
    return format_time(patch.first_s, zone), format_time(patch.last_s, zone)


def _months(
    query: PatchQuery, settings: Settings, spot: SpotBody | None, year: int, zone: ZoneInfo
) -> list[MonthItem]:
    items = []
    for month in range(1, 13):
        _, patch, best = _look(query, settings, spot, dt.date(year, month, 15), zone)
        first, last = _ends(patch, zone)
        items.append(
            MonthItem(
                month=month,
                sun_from=first,
                sun_until=last,
                best=position_of(best.spot),
                best_says=say_place(best.spot),
                dose_j_m2=round(best.dose_j_m2, 1),
            )
        )
    return items
