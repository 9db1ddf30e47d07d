"""The best slots of the next days as calendar entries.

An entry is the slot of a spot on a day: its identity stays while the forecast moves its times.  The whole of
today is shown, also what is over, so that a calendar changes with its sources and not with the clock.
"""

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from noonframe.api.ask import Ask, find_target, find_where, understand
from noonframe.api.calendar_entries import Alarm, Entry, Status
from noonframe.api.calendar_inputs import CalendarQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.routes.exposure import basis_under, cautions_for, sky_not_given
from noonframe.api.weather import SkyAhead, WeatherDesk, is_in_reach
from noonframe.api.wording import say_clock, say_length
from noonframe.dose.exposure import LONGEST_S
from noonframe.dose.scene import Rate, Target
from noonframe.dose.skies_rates import expected_rate
from noonframe.dose.slots import Slot, find_slots
from noonframe.settings import Settings
from noonframe.sun.events import civil_day

ASK_AGAIN = "Calendars fetch this only now and then: ask again before you begin."
_DAY_S = 86400.0
_UNTOLD_STEP_S = 900.0  # how often a calendar is revised for want of any forecast


@dataclass(frozen=True)
class SlotsAhead:
    """Entries of the days ahead, what they are called, and when their sources last changed."""

    entries: tuple[Entry, ...]
    title: str
    revised_s: float


def slots_ahead(
    query: CalendarQuery,
    spot: SpotBody | None,
    *,
    identity: str,
    settings: Settings,
    now_s: float,
    known_s: float,
    weather: WeatherDesk | None = None,
    title: str | None = None,
) -> SlotsAhead:
    """The best slots of `query.days` civil days, from the day of `now_s` at the place on.

    `identity` names what is asked, in words that stay; `known_s` is when the last of what is saved and asked
    came to be.  A revision is the newest of that and of the forecast's arrival, and so never of the clock.
    With weather on and none to be had it is the quarter of an hour, which rises past every forecast before.
    """
    where = find_where(query)
    title = title or "Sun print"
    entries: list[Entry] = []
    newest_s = known_s
    days = list(days_from(now_s, where.zone, query.days))
    ahead = _forecast(query, spot, days, settings=settings, now_s=now_s, weather=weather)
    for day in days:
        look = _look(query, spot, day, settings=settings, now_s=now_s, forecast=ahead)
        revised_s = max(known_s, look.told_s(now_s))
        newest_s = max(newest_s, revised_s)
        ranked = look.slots[: query.per_day]
        for number, slot in enumerate(sorted(ranked, key=lambda one: one.first_start_s), start=1):
            entries.append(
                _entry(
                    look,
                    slot,
                    f"{identity}|{day.isoformat()}|{number}",
                    title,
                    revised_s=revised_s,
                    query=query,
                )
            )
    return SlotsAhead(tuple(entries), f"{title}, {where.label}", newest_s)


def days_from(now_s: float, zone: ZoneInfo, count: int) -> Iterator[dt.date]:
    """So many civil days of a zone from that of `now_s` on; a day that its clocks skipped is none."""
    day = dt.datetime.fromtimestamp(now_s, zone).date()
    while count:
        from_s, to_s = civil_day(day, zone)
        if to_s > from_s:
            yield day
            count -= 1
        day += dt.timedelta(days=1)


@dataclass(frozen=True)
class _Look:
    """One day of a scene: its slots, best first, and the sky they were found under."""

    ask: Ask
    target: Target
    ahead: SkyAhead | None
    slots: tuple[Slot, ...]

    def told_s(self, now_s: float) -> float:
        """When the forecast came; 0 for a day beyond any, the quarter of an hour where none is to be had."""
        if self.ahead is None:
            return 0.0
        best = self.ahead.answer.best
        return _UNTOLD_STEP_S * (now_s // _UNTOLD_STEP_S) if best is None else best.forecast.fetched_s


def _forecast(
    query: CalendarQuery,
    spot: SpotBody | None,
    days: list[dt.date],
    *,
    settings: Settings,
    now_s: float,
    weather: WeatherDesk | None,
) -> SkyAhead | None:
    """The sky over all days that a forecast reaches: asked for once, not waited for day by day."""
    if weather is None or not (weather.is_on and sky_not_given(query)):
        return None
    spans = [span for span in (_span(query, day) for day in days) if is_in_reach(now_s, *span)]
    from_s, to_s = spans[0][0], spans[-1][1]
    ask = understand(query, dt.datetime.fromtimestamp(from_s, dt.UTC), settings, spot)
    return weather.ahead(ask, now_s, from_s, to_s + LONGEST_S)


def _span(query: CalendarQuery, day: dt.date) -> tuple[float, float]:
    from_s, to_s = civil_day(day, find_where(query).zone)
    return from_s, to_s - 1.0


def _look(
    query: CalendarQuery,
    spot: SpotBody | None,
    day: dt.date,
    *,
    settings: Settings,
    now_s: float,
    forecast: SkyAhead | None,
) -> _Look:
    from_s, to_s = _span(query, day)
    ask = understand(query, dt.datetime.fromtimestamp(from_s, dt.UTC), settings, spot)
    scene = ask.scene
    target = find_target(query, scene.sensitizer)
    rate: Rate = scene.rate
    spread = math.hypot(target.spread_stops, scene.light_spread_stops)
    ahead = forecast if is_in_reach(now_s, from_s, to_s) else None
    if ahead is not None:
        rate = expected_rate(scene, ahead.course)
        told = float(np.mean(ahead.course.spread_stops))
        spread = math.hypot(target.spread_stops, scene.cloudless_spread_stops, told)
    slots = find_slots(rate, from_s, to_s, target.target_j_m2, spread)
    return _Look(ask, target, ahead, slots)


def _entry(
    look: _Look, slot: Slot, identity: str, title: str, *, revised_s: float, query: CalendarQuery
) -> Entry:
    where, best = look.ask.where, slot.best
    length = best.length_s or 0.0
    begins = say_clock(best.start_s, where.zone, best.start_s)
    alarms: tuple[Alarm, ...] = ()
    if query.reminder:
        says = f"{title}: best begun at {begins}, for {say_length(length)}."
        alarms = (Alarm(best.start_s - 60.0 * query.reminder_min - slot.first_start_s, says),)
    return Entry(
        identity=identity,
        start_s=slot.first_start_s,
        end_s=max(slot.last_start_s, best.start_s + length),
        title=f"{title}: {say_length(length)}, best at {begins}",
        text="\n".join(_lines(look, slot)),
        status=Status.TENTATIVE,
        revised_s=revised_s,
        where=where.label,
        position=(where.place.latitude_deg, where.place.longitude_deg),
        alarms=alarms,
        categories=("sun print",),
    )


def _lines(look: _Look, slot: Slot) -> Iterator[str]:
    ask, best, zone = look.ask, slot.best, look.ask.where.zone

    def clock(at_s: float) -> str:
        return say_clock(at_s, zone, slot.first_start_s)

    yield f"Expose {say_length(best.length_s or 0.0)}, best from {clock(best.start_s)}."
    if best.low_s is not None and best.high_s is not None:
        yield f"Eight times in ten it takes {say_length(best.low_s)} to {say_length(best.high_s)}."
    elif best.low_s is not None:
        yield f"It takes at least {say_length(best.low_s)}, and perhaps the light goes first."
    first, last = clock(slot.first_start_s), clock(slot.last_start_s)
    starts = f"A start at {first} is" if first == last else f"Starts from {first} to {last} are"
    yield f"{starts} {slot.pace.value}. Times here are by the clock of {zone.key}."
    basis = basis_under(ask, look.ahead, best.start_s)
    under = ", ".join(basis.stack) or "nothing: a bare sheet"
    yield f"{basis.sky.says[:1].upper()}{basis.sky.says[1:]} ({basis.sky.evidence})."
    yield f"{basis.spot[:1].upper()}{basis.spot[1:]}; under {under}; {basis.sensitizer}."
    yield f"Target {look.target.target_j_m2:g} J/m² ({look.target.source})."
    for caution in cautions_for(ask.scene, best):
        yield f"Caution: {caution}"
    yield ASK_AGAIN
    if basis.weather is not None and basis.weather.attribution:
        yield basis.weather.attribution
