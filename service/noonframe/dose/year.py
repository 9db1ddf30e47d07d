"""Month by month, and day by day: from which starts an exposure can be made, and how long it takes.

Every whole hour on the clock of every day is a start, all read from one course of dose, and so is every
fifth minute where the ends of the useful part of a day are asked for.  A start counts for the civil day it
lies in.  As for a single exposure, one that would need light after dark, or more than a day, is not made.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from noonframe.dose.scene import Scene
from noonframe.dose.slots import FAIR_FACTOR, START_STEP_S
from noonframe.dose.year_days import CivilDays, HourStarts
from noonframe.dose.year_light import Season, lengths_at
from noonframe.dose.year_sun import SunDays, sun_days
from noonframe.spot.plane import OpenSpot
from noonframe.types import FloatArray, IntArray

USEFUL_FACTOR = FAIR_FACTOR
"""A useful start takes at most this times as long as the best start of its day."""


@dataclass(frozen=True)
class Starts:
    """All starts of consecutive civil days.

    `length_s` (n_start,) belongs to `hours`, NaN where the exposure cannot be made.  Of each day, (n_day,)
    and NaN where it has no start: `best_s` is the unix second of the best start to five minutes,
    `best_length_s` the length there, `useful_from_s` and `useful_until_s` the first and last start that take
    at most twice as long (between them, a skyline may interrupt).  `highest_uv_index` and `highest_up` (sine
    of the sun's elevation) are the highest of all starts that can be made, 0 where there is none.
    """

    days: CivilDays
    hours: HourStarts
    length_s: FloatArray
    best_s: FloatArray
    best_length_s: FloatArray
    useful_from_s: FloatArray
    useful_until_s: FloatArray
    sun: SunDays
    ozone_du: FloatArray
    highest_uv_index: float
    highest_up: float

    @property
    def days_done(self) -> int:
        """On how many days the exposure can be made."""
        return int(np.count_nonzero(np.isfinite(self.best_s)))


def find_starts(scene: Scene, days: CivilDays, target_j_m2: float) -> Starts:
    """All starts of `days` in a scene, for a target."""
    season = Season.of(scene, days)
    course = season.course()
    hours = days.hour_starts()
    fine_s = np.concatenate(
        [
            np.arange(first_s, last_s, START_STEP_S)
            for first_s, last_s in zip(days.start_s, days.end_s, strict=True)
        ]
    )
    fine = lengths_at(course, fine_s, target_j_m2)
    edges = np.append(fine_s.searchsorted(days.start_s), fine_s.size)
    best = np.full((4, len(days.dates)), np.nan)
    for day, (first, last) in enumerate(pairwise(edges.tolist())):
        done = np.flatnonzero(np.isfinite(fine[first:last])) + first
        if done.size:
            quickest = done[int(np.argmin(fine[done]))]
            useful = done[fine[done] <= USEFUL_FACTOR * fine[quickest]]
            best[:, day] = fine_s[quickest], fine[quickest], fine_s[useful[0]], fine_s[useful[-1]]
    made_s = fine_s[np.isfinite(fine)]
    outdoors = isinstance(scene.spot, OpenSpot)
    return Starts(
        days=days,
        hours=hours,
        length_s=lengths_at(course, hours.unix_s, target_j_m2),
        best_s=best[0],
        best_length_s=best[1],
        useful_from_s=best[2],
        useful_until_s=best[3],
        sun=sun_days(scene.place, days),
        ozone_du=season.ozone_du,
        highest_uv_index=float(season.uv_index(made_s).max()) if made_s.size and outdoors else 0.0,
        highest_up=float(scene.track(made_s).up.max()) if made_s.size else 0.0,
    )


@dataclass(frozen=True)
class HourOfMonth:
    """One hour of the clock over a month.

    `starts` counts how often the hour comes, `possible` how often the exposure can be made from it.
    `median_s` counts the others as endless, so it is None unless more than half of the starts can be made;
    `shortest_s` and `longest_s` are those of the starts that can, None where none can.
    """

    hour: int
    starts: int
    possible: int
    median_s: float | None
    shortest_s: float | None
    longest_s: float | None


@dataclass(frozen=True)
class MonthOfYear:
    """What the starts of a month have in common.

    `best_hour` is the whole hour with the shortest median, or where no hour has one that which can be used on
    most days; None where there is no start at all.  `useful_from_clock_s` and `useful_until_clock_s` are
    medians over the days with a start, in seconds since midnight on the clock.
    """

    month: int
    days: int
    days_done: int
    hours: tuple[HourOfMonth, ...]
    best_hour: int | None
    best_length_s: float | None
    useful_from_clock_s: float | None
    useful_until_clock_s: float | None
    day_length_s: float
    shortest_day_s: float
    longest_day_s: float


def months_of(starts: Starts) -> tuple[MonthOfYear, ...]:
    """The months that the days of `starts` belong to, in order."""
    numbers = np.array([date.month for date in starts.days.dates])
    of_start = numbers[starts.hours.day]
    return tuple(
        _month(
            starts,
            int(number),
            np.flatnonzero(numbers == number),
            np.flatnonzero(of_start == number),
        )
        for number in dict.fromkeys(numbers.tolist())
    )


def _month(starts: Starts, number: int, days: IntArray, which: IntArray) -> MonthOfYear:
    hour, length_s = starts.hours.hour[which], starts.length_s[which]
    hours = tuple(_hour(k, length_s[hour == k]) for k in range(24))
    useful = [
        starts.days.clock_s(second[days], days) for second in (starts.useful_from_s, starts.useful_until_s)
    ]
    best = _best(hours)
    return MonthOfYear(
        month=number,
        days=days.size,
        days_done=int(np.count_nonzero(np.isfinite(starts.best_s[days]))),
        hours=hours,
        best_hour=None if best is None else best.hour,
        best_length_s=None if best is None else best.median_s,
        useful_from_clock_s=_median(useful[0]),
        useful_until_clock_s=_median(useful[1]),
        day_length_s=float(np.median(starts.sun.length_s[days])),
        shortest_day_s=float(starts.sun.length_s[days].min()),
        longest_day_s=float(starts.sun.length_s[days].max()),
    )


def _hour(hour: int, length_s: FloatArray) -> HourOfMonth:
    done = length_s[np.isfinite(length_s)]
    if not done.size:
        return HourOfMonth(hour, length_s.size, 0, None, None, None)
    median = float(np.median(np.where(np.isnan(length_s), np.inf, length_s)))
    return HourOfMonth(
        hour,
        length_s.size,
        done.size,
        median if np.isfinite(median) else None,
        float(done.min()),
        float(done.max()),
    )


def _best(hours: tuple[HourOfMonth, ...]) -> HourOfMonth | None:
    usual = [one for one in hours if one.median_s is not None]
    if usual:
        return min(usual, key=lambda one: one.median_s or 0.0)
    some = [one for one in hours if one.possible]
    return max(some, key=lambda one: (one.possible, -(one.shortest_s or 0.0))) if some else None


def _median(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else None
