"""/v1/slots: when."""

import datetime as dt
import math
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool

from noonframe.api.ask import Ask, find_target, find_where, understand
from noonframe.api.bench_fill import filled
from noonframe.api.examples import OPEN_SPOT, SLOTS
from noonframe.api.inputs import SlotsBody, SlotsQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.outputs import DaySun, SlotItem, SlotsAnswer
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.routes.common import now_of, settings_of, weather_of
from noonframe.api.routes.exposure import basis_under, cautions_for, look_ahead
from noonframe.api.times import format_time
from noonframe.api.weather import WeatherDesk
from noonframe.api.wording import say_clock, say_length
from noonframe.dose.exposure import next_chance
from noonframe.dose.scene import Rate
from noonframe.dose.skies_rates import expected_rate
from noonframe.dose.slots import Slot, find_slots
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings
from noonframe.sun.events import DayEvents, civil_day, day_events

router = APIRouter(tags=["slots"])
LONGEST_SPAN_DAYS = 31


@router.get("/v1/slots", operation_id="slots", openapi_extra=query_parameters(SlotsQuery, SLOTS))
async def get_slots(request: Request) -> SlotsAnswer:
    """The stretches of a day (or of up to 31 days) in which the exposure can be made, best first."""
    return await run_in_threadpool(_answer, request, read_query(SlotsQuery, request), None)


@router.post(
    "/v1/slots",
    operation_id="slots_at_spot",
    openapi_extra=json_body(SlotsBody, {**SLOTS, "spot": OPEN_SPOT}),
)
def post_slots(request: Request, body: Annotated[SlotsBody, Depends(body_of(SlotsBody))]) -> SlotsAnswer:
    """The same, with a spot."""
    return _answer(request, body, body.spot)


def _answer(request: Request, query: SlotsQuery, spot: SpotBody | None) -> SlotsAnswer:
    query, spot = filled(request, query, spot)
    return answer_slots(query, settings_of(request), now_of(request), spot, weather_of(request))


def _span(query: SlotsQuery, now_s: float) -> tuple[float, float]:
    zone = find_where(query).zone
    if query.start is None and query.end is None:
        day = query.date or dt.datetime.fromtimestamp(now_s, zone).date()
        from_s, to_s = civil_day(day, zone)
        if from_s >= to_s:
            raise OutOfDomain("date", day.isoformat(), f"a day that {zone.key} had; its clocks skipped it")
        return from_s, to_s - 1.0
    if query.date is not None:
        raise OutOfDomain("date", query.date.isoformat(), "left out when start and end are given")
    if query.start is None or query.end is None:
        missing = "start" if query.start is None else "end"
        raise OutOfDomain(missing, None, "given together with the other end of the span")
    from_s, to_s = query.start.timestamp(), query.end.timestamp()
    if not 0.0 <= to_s - from_s <= LONGEST_SPAN_DAYS * 86400.0:
        raise OutOfDomain(
            "end", query.end.isoformat(), f"after start and at most {LONGEST_SPAN_DAYS} days after it"
        )
    return from_s, to_s


def answer_slots(
    query: SlotsQuery,
    settings: Settings,
    now_s: float,
    spot: SpotBody | None,
    weather: WeatherDesk | None = None,
) -> SlotsAnswer:
    """The slots a request asks for, as an answer."""
    from_s, to_s = _span(query, now_s)
    ask = understand(query, dt.datetime.fromtimestamp(from_s, dt.UTC), settings, spot)
    scene, zone = ask.scene, ask.where.zone
    target = find_target(query, scene.sensitizer)
    rate: Rate = scene.rate
    spread = math.hypot(target.spread_stops, scene.light_spread_stops)
    ahead, notes = look_ahead(query, ask, weather, now_s, from_s=from_s, to_s=to_s)
    if ahead is not None:
        rate = expected_rate(scene, ahead.course)
        told = float(np.mean(ahead.course.spread_stops))
        spread = math.hypot(target.spread_stops, scene.cloudless_spread_stops, told)
    slots = find_slots(rate, from_s, to_s, target.target_j_m2, spread)
    chance = None if slots else next_chance(scene.rate, to_s, target.target_j_m2)
    first, last = (dt.datetime.fromtimestamp(second, zone).date() for second in (from_s, to_s))
    days = [first + dt.timedelta(days=k) for k in range((last - first).days + 1)]
    # A zone that changed sides of the date line has left a day out.
    days = [day for day in days if len(set(civil_day(day, zone))) == 2]
    if slots:
        best = slots[0]
        length = best.best.length_s or 0.0
        summary = (
            f"Best at {say_clock(best.best.start_s, zone, now_s)}, for {say_length(length)}; "
            f"starts from {say_clock(best.first_start_s, zone, now_s)} "
            f"to {say_clock(best.last_start_s, zone, now_s)} are {best.pace.value}."
        )
    elif chance is not None:
        summary = (
            f"There is not enough light in this time; the next chance is "
            f"{say_clock(chance.start_s, zone, now_s)}, for {say_length(chance.length_s)}."
        )
    else:
        summary = "There is not enough light in this time, nor on any day of the year after it."
    return SlotsAnswer(
        slots=[_item(ask, slot) for slot in slots[: query.limit]],
        sun=[_sun(day_events(ask.where.place, day, zone)) for day in days],
        target_j_m2=target.target_j_m2,
        target_spread_stops=target.spread_stops,
        target_source=target.source,
        next_start=None if chance is None else format_time(chance.start_s, zone),
        next_length_s=None if chance is None else round(chance.length_s, 3),
        cautions=cautions_for(scene, slots[0].best) if slots else [],
        basis=basis_under(ask, ahead, slots[0].best.start_s if slots else max(from_s, now_s), notes),
        summary=summary,
    )


def _item(ask: Ask, slot: Slot) -> SlotItem:
    zone = ask.where.zone
    best = slot.best
    middle_s = best.start_s + (best.length_s or 0.0) / 2.0
    elevation = float(ask.scene.track(np.array([middle_s])).true_elevation_deg[0])
    end = None if best.length_s is None else format_time(best.start_s + best.length_s, zone)
    return SlotItem(
        first_start=format_time(slot.first_start_s, zone),
        last_start=format_time(slot.last_start_s, zone),
        best_start=format_time(best.start_s, zone),
        best_end=end,
        length_s=None if best.length_s is None else round(best.length_s, 3),
        length_low_s=None if best.low_s is None else round(best.low_s, 3),
        length_high_s=None if best.high_s is None else round(best.high_s, 3),
        pace=slot.pace.value,
        steadiness=round(slot.steadiness, 4),
        late_cost_s=None if slot.late_cost_s is None else round(slot.late_cost_s, 1),
        solar_elevation_deg=round(elevation, 2),
        why=_why(slot, elevation),
    )


def _why(slot: Slot, elevation_deg: float) -> str:
    change = (1.0 - slot.steadiness) * 100.0
    steady = "steady light" if change < 5.0 else f"the light changes by {change:.0f} % during the exposure"
    late = slot.late_cost_s
    cost = ""
    if late is not None:
        if abs(late) < 5.0:
            cost = "; starting ten minutes late costs nothing to speak of"
        else:
            verb = "adds" if late > 0 else "saves"
            cost = f"; starting ten minutes late {verb} {say_length(abs(late))}"
    return f"sun {elevation_deg:.0f}° high, {steady}{cost}"


def _sun(events: DayEvents) -> DaySun:
    def text(moment: dt.datetime | None) -> str | None:
        return None if moment is None else moment.isoformat(timespec="seconds")

    return DaySun(
        date=events.date.isoformat(),
        outcome=events.outcome.value,
        dawn=text(events.dawn),
        rise=text(events.rise),
        transit=events.transit.isoformat(timespec="seconds"),
        set=text(events.set),
        dusk=text(events.dusk),
        transit_elevation_deg=round(events.transit_elevation_deg, 3),
        day_length_s=round(events.day_length_s, 1),
    )
