"""From a question about a month or a year to its answer, and to what its picture shows."""

import calendar
import datetime as dt
import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noonframe.api.ask import Ask, find_target, find_where, understand
from noonframe.api.cautions import sun_cautions
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.outputs import Basis
from noonframe.api.times import format_time
from noonframe.api.wording import say_length
from noonframe.api.year_inputs import MonthQuery, YearQuery
from noonframe.api.year_outputs import (
    DayItem,
    HourItem,
    MonthAnswer,
    MonthOfYearItem,
    StartItem,
    YearAnswer,
)
from noonframe.dose.course import quantile_factor
from noonframe.dose.scene import Target
from noonframe.dose.year import MonthOfYear, Starts, find_starts, months_of
from noonframe.dose.year_days import CivilDays
from noonframe.settings import Settings
from noonframe.spot.plane import OpenSpot
from noonframe.sun.events import day_events

NOT_A_FORECAST = "what such a sky would give; not a forecast"
MEAN_OF_SHEET = "the sheet's mean: the sun may leave part of it, and moves mend that"


@dataclass(frozen=True)
class Outcome:
    """The starts of a month or a year, with all that was asked for."""

    ask: Ask
    target: Target
    starts: Starts
    called: str | None

    @property
    def where(self) -> str:
        """The place as a heading has it: what it was saved as goes before where it is."""
        label = self.ask.where.label
        return f"{self.called} ({label})" if self.called else label

    @cached_property
    def months(self) -> tuple[MonthOfYear, ...]:
        """What the starts of each month have in common."""
        return months_of(self.starts)

    @cached_property
    def high_factor(self) -> float:
        """Between the likely dose and that which nine sheets in ten are content with."""
        return quantile_factor(math.hypot(self.target.spread_stops, self.ask.scene.light_spread_stops))

    @cached_property
    def cautions(self) -> list[str]:
        """Cautions for the strongest sun of all starts."""
        scene = self.ask.scene
        return sun_cautions(
            self.starts.highest_uv_index,
            math.degrees(math.asin(min(self.starts.highest_up, 1.0))),
            outdoors=isinstance(scene.spot, OpenSpot),
            glazed=any(material.kind != "film" for material in scene.stack.materials),
        )

    @cached_property
    def basis(self) -> Basis:
        """What the answer rests on; the ozone told is the middle day's."""
        notes = [NOT_A_FORECAST]
        if not isinstance(self.ask.scene.spot, OpenSpot):
            notes.append(MEAN_OF_SHEET)
        low, high = float(self.starts.ozone_du.min()), float(self.starts.ozone_du.max())
        if high - low >= 1.0:
            notes.append(f"each day under its own ozone, {low:.0f} to {high:.0f} DU")
        return self.ask.basis.model_copy(update={"notes": [*self.ask.basis.notes, *notes]})

    def year(self) -> YearAnswer:
        """The answer about a year."""
        return YearAnswer(
            year=self.starts.days.dates[0].year,
            months=[_month_item(month) for month in self.months],
            summary=self._year_summary(),
            **self._shared(),
        )

    def month(self) -> MonthAnswer:
        """The answer about a month."""
        first = self.starts.days.dates[0]
        return MonthAnswer(
            month=f"{first.year:04d}-{first.month:02d}",
            days=[self._day_item(k) for k in range(len(self.starts.days.dates))],
            summary=self._month_summary(),
            **self._shared(),
        )

    def _shared(self) -> dict[str, object]:
        return {
            "days_possible": self.starts.days_done,
            "clock_changes": [self._text(float(second)) for second in self.starts.days.changes_s],
            "target_j_m2": self.target.target_j_m2,
            "target_spread_stops": self.target.spread_stops,
            "target_source": self.target.source,
            "low_factor": round(1.0 / self.high_factor, 4),
            "high_factor": round(self.high_factor, 4),
            "cautions": self.cautions,
            "basis": self.basis,
        }

    def _text(self, unix_s: float) -> str:
        return format_time(unix_s, self.ask.where.zone)

    def _maybe(self, unix_s: float) -> str | None:
        return self._text(unix_s) if math.isfinite(unix_s) else None

    def _day_item(self, day: int) -> DayItem:
        starts = self.starts
        zone = self.ask.where.zone
        events = day_events(self.ask.where.place, starts.days.dates[day], zone)
        which = np.flatnonzero(starts.hours.day == day)
        return DayItem(
            date=events.date.isoformat(),
            outcome=events.outcome.value,
            rise=None if events.rise is None else events.rise.isoformat(timespec="seconds"),
            set=None if events.set is None else events.set.isoformat(timespec="seconds"),
            day_length_s=round(events.day_length_s, 1),
            best_start=self._maybe(starts.best_s[day]),
            best_length_s=_seconds(float(starts.best_length_s[day])),
            useful_from=self._maybe(starts.useful_from_s[day]),
            useful_until=self._maybe(starts.useful_until_s[day]),
            starts=[
                StartItem(
                    start=self._text(float(starts.hours.unix_s[k])),
                    length_s=_seconds(float(starts.length_s[k])),
                )
                for k in which
            ],
        )

    def _year_summary(self) -> str:
        year = self.starts.days.dates[0].year
        count = len(self.starts.days.dates)
        told = [month for month in self.months if month.best_length_s is not None]
        sky = self.ask.scene.sky.says
        if not self.starts.days_done:
            return f"Under {sky}, no start in {year} gives the dose."
        if not told:
            return (
                f"Under {sky}, the dose can be had on only {self.starts.days_done} of {count} days of {year}."
            )
        quickest = min(told, key=lambda month: month.best_length_s or 0.0)
        slowest = max(told, key=lambda month: month.best_length_s or 0.0)
        parts = [f"Under {sky}, quickest in {_says_month(quickest)}"]
        if slowest is not quickest:
            parts.append(f"slowest in {_says_month(slowest)}")
        done = self.starts.days_done
        days = "every day has a start" if done == count else f"{done} of {count} days have a start"
        return f"{', '.join(parts)}; {days}."

    def _month_summary(self) -> str:
        starts = self.starts
        first = starts.days.dates[0]
        name = f"{calendar.month_name[first.month]} {first.year}"
        sky = self.ask.scene.sky.says
        if not starts.days_done:
            return f"Under {sky}, no start in {name} gives the dose."
        best = int(np.nanargmin(starts.best_length_s))
        clock = dt.datetime.fromtimestamp(float(starts.best_s[best]), self.ask.where.zone)
        count = len(starts.days.dates)
        days = (
            "every day has a start"
            if starts.days_done == count
            else f"{starts.days_done} of {count} days have a start"
        )
        return (
            f"Under {sky}, {name} is quickest on day {starts.days.dates[best].day} at {clock:%H:%M},"
            f" {say_length(float(starts.best_length_s[best]))}; {days}."
        )


def _says_month(month: MonthOfYear) -> str:
    assert month.best_hour is not None
    assert month.best_length_s is not None
    name = calendar.month_name[month.month]
    return f"{name} at {month.best_hour:02d}:00, {say_length(month.best_length_s)}"


def _seconds(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)


def clock_text(clock_s: float | None) -> str | None:
    """HH:MM to the nearest minute for seconds since midnight."""
    if clock_s is None:
        return None
    hours, minutes = divmod(round(clock_s / 60.0) % (24 * 60), 60)
    return f"{hours:02d}:{minutes:02d}"


def _month_item(month: MonthOfYear) -> MonthOfYearItem:
    return MonthOfYearItem(
        month=month.month,
        days=month.days,
        days_possible=month.days_done,
        best_start=None if month.best_hour is None else f"{month.best_hour:02d}:00",
        best_length_s=_seconds(month.best_length_s),
        useful_from=clock_text(month.useful_from_clock_s),
        useful_until=clock_text(month.useful_until_clock_s),
        day_length_s=round(month.day_length_s, 1),
        shortest_day_s=round(month.shortest_day_s, 1),
        longest_day_s=round(month.longest_day_s, 1),
        hours=[
            HourItem(
                start=f"{one.hour:02d}:00",
                starts=one.starts,
                possible=one.possible,
                length_s=_seconds(one.median_s),
                shortest_s=_seconds(one.shortest_s),
                longest_s=_seconds(one.longest_s),
            )
            for one in month.hours
        ],
    )


def look_at_year(query: YearQuery, settings: Settings, now_s: float, spot: SpotBody | None) -> Outcome:
    """The starts of the year that a request asks about."""
    zone = find_where(query).zone
    year = dt.datetime.fromtimestamp(now_s, zone).year if query.year is None else query.year
    return _look(query, settings, spot, CivilDays.of_year(year, zone))


def look_at_month(query: MonthQuery, settings: Settings, now_s: float, spot: SpotBody | None) -> Outcome:
    """The starts of the month that a request asks about."""
    zone = find_where(query).zone
    if query.month is None:
        today = dt.datetime.fromtimestamp(now_s, zone).date()
        year, month = today.year, today.month
    else:
        year, month = (int(part) for part in query.month.split("-"))
    last = calendar.monthrange(year, month)[1]
    days = CivilDays.between(dt.date(year, month, 1), dt.date(year, month, last), zone)
    return _look(query, settings, spot, days)


def _look(
    query: YearQuery | MonthQuery, settings: Settings, spot: SpotBody | None, days: CivilDays
) -> Outcome:
    middle_s = float(days.start_s[0] + days.end_s[-1]) / 2.0
    ask = understand(query, dt.datetime.fromtimestamp(middle_s, dt.UTC), settings, spot)
    target = find_target(query, ask.scene.sensitizer)
    starts = find_starts(ask.scene, days, target.target_j_m2)
    return Outcome(ask, target, starts, query.saved_spot or query.saved_place)
