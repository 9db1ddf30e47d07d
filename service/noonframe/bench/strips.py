"""A test strip in changing light: when to cover each strip, planned beforehand and followed live.

The whole sheet starts in the light; strip 1 is covered first and has the least dose, the last strip stays
until the end.  The strips are told apart by dose, not by minutes, so a cloud only moves the clock times.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from noonframe.bench.ladder import DoseLadder
from noonframe.dose.course import LONGEST_S, Course, quantile_factor
from noonframe.dose.integrate import crossing_time_s
from noonframe.dose.scene import STEP_S, Rate
from noonframe.errors import OutOfDomain

HANDY_GAP_S = 5.0
"""Covers closer together than this cannot be made by hand (common practice, no source)."""

_LOOKS_S = (3600.0, 4 * 3600.0, LONGEST_S)


@dataclass(frozen=True)
class Cover:
    """When strip `strip` (1 is the first covered) has its dose.

    `total_j_m2` is its whole dose, `added_j_m2` what it has beyond the strip before.  `at_s` is the likely
    unix second, `early_s` and `late_s` the 10 % and 90 % quantiles; each None when the light goes first.
    `gap_s` is the time since the cover before it (since the start, or since now, for the first).
    """

    strip: int
    total_j_m2: float
    added_j_m2: float
    at_s: float | None
    early_s: float | None
    late_s: float | None
    gap_s: float | None


@dataclass(frozen=True)
class StripPlan:
    """The covers of a whole strip from its start, in order."""

    ladder: DoseLadder
    start_s: float
    covers: tuple[Cover, ...]

    @property
    def complete(self) -> bool:
        """Whether every strip has its dose before the light goes."""
        return self.covers[-1].at_s is not None

    @property
    def end_s(self) -> float | None:
        """Unix second of the last cover, None when the light goes first."""
        return self.covers[-1].at_s

    @property
    def shortest_gap_s(self) -> float | None:
        """The shortest wait between covers, None when no strip is reached."""
        return min((cover.gap_s for cover in self.covers if cover.gap_s is not None), default=None)

    @property
    def handy(self) -> bool:
        """Whether a hand can keep up: no two covers closer than `HANDY_GAP_S`."""
        return self.shortest_gap_s is None or self.shortest_gap_s >= HANDY_GAP_S


@dataclass(frozen=True)
class StripProgress:
    """A strip under way: how many strips have had their dose, and the covers still to come.

    `overdue` are the strips whose dose is already passed by the light recorded; whoever has not covered
    them yet must write down the dose at which they were.
    """

    now_s: float
    dose_j_m2: float
    overdue: tuple[int, ...]
    covers: tuple[Cover, ...]

    @property
    def next_cover(self) -> Cover | None:
        """The next strip to cover, None when all have their dose."""
        return self.covers[0] if self.covers else None

    @property
    def wait_s(self) -> float | None:
        """Seconds until the next cover; None when there is none or the light goes first."""
        return None if self.next_cover is None else self.next_cover.gap_s


def plan_strip(rate: Rate, start_s: float, ladder: DoseLadder, light_spread_stops: float = 0.0) -> StripPlan:
    """Clock times at which to cover each strip of a ladder begun at `start_s` under the expected light.

    `light_spread_stops` is one standard deviation of the light alone.  The search ends when it is dark or
    after a day.
    """
    covers = _covers(rate, start_s, 0.0, _strips(ladder), light_spread_stops)
    return StripPlan(ladder, start_s, covers)


def follow_strip(
    rate: Rate,
    now_s: float,
    ladder: DoseLadder,
    dose_j_m2: float,
    *,
    covered: int = 0,
    light_spread_stops: float = 0.0,
) -> StripProgress:
    """What is left of a strip at `now_s`, when `dose_j_m2` has fallen since the start.

    `covered` strips lie covered already (1 to `covered`), so nothing more is due for them; `rate` is the
    light ahead and `light_spread_stops` its spread.
    """
    if not (math.isfinite(dose_j_m2) and dose_j_m2 >= 0.0):
        raise OutOfDomain("dose_j_m2", dose_j_m2, "0 or more, in J/m2")
    if not 0 <= covered <= ladder.count:
        raise OutOfDomain("covered", covered, f"between 0 and {ladder.count}, the number of strips")
    left = [strip for strip in _strips(ladder) if strip.number > covered]
    overdue = tuple(strip.number for strip in left if strip.total_j_m2 <= dose_j_m2)
    ahead = [strip for strip in left if strip.total_j_m2 > dose_j_m2]
    return StripProgress(
        now_s, dose_j_m2, overdue, _covers(rate, now_s, dose_j_m2, ahead, light_spread_stops)
    )


@dataclass(frozen=True)
class _Strip:
    number: int
    total_j_m2: float
    added_j_m2: float


def _strips(ladder: DoseLadder) -> list[_Strip]:
    doses = zip(ladder.totals_j_m2, ladder.additions_j_m2, strict=True)
    return [_Strip(number, total, added) for number, (total, added) in enumerate(doses, start=1)]


def _covers(
    rate: Rate,
    start_s: float,
    dose_j_m2: float,
    strips: Sequence[_Strip],
    light_spread_stops: float,
) -> tuple[Cover, ...]:
    if not math.isfinite(start_s):
        raise OutOfDomain("start_s", start_s, "a finite unix second")
    if not (math.isfinite(light_spread_stops) and 0.0 <= light_spread_stops <= 4.0):
        raise OutOfDomain("light_spread_stops", light_spread_stops, "between 0 and 4 stops")
    if not strips:
        return ()
    factor = quantile_factor(light_spread_stops)
    ahead = _Ahead.look(rate, start_s, (strips[-1].total_j_m2 - dose_j_m2) * factor)
    covers = []
    last_s: float | None = start_s
    for strip in strips:
        missing = strip.total_j_m2 - dose_j_m2
        at_s = ahead.when(missing)
        gap_s = None if at_s is None or last_s is None else at_s - last_s
        early_s, late_s = ahead.when(missing / factor), ahead.when(missing * factor)
        covers.append(Cover(strip.number, strip.total_j_m2, strip.added_j_m2, at_s, early_s, late_s, gap_s))
        last_s = at_s
    return tuple(covers)


@dataclass(frozen=True)
class _Ahead:
    """The light from a start until it is dark, a day is over, or the wanted dose is in."""

    course: Course
    until_s: float

    @classmethod
    def look(cls, rate: Rate, start_s: float, wanted_j_m2: float) -> "_Ahead":
        for reach_s in _LOOKS_S:
            time_s = start_s + np.arange(0.0, reach_s + STEP_S / 2.0, STEP_S)
            course = Course.of(time_s, rate(time_s))
            dark = course.dark
            if dark.size or float(course.dose_j_m2[-1]) >= wanted_j_m2:
                break
        return cls(course, float(course.time_s[dark[0]]) if dark.size else math.inf)

    def when(self, missing_j_m2: float) -> float | None:
        course = self.course
        at_s = crossing_time_s(course.time_s, course.rate_w_m2, course.dose_j_m2, missing_j_m2)
        return None if at_s is None or at_s > self.until_s else at_s
