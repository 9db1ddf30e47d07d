"""The dose along months and years: one course of light, each day under its own ozone."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from noonframe.dose.course import LONGEST_S, Course
from noonframe.dose.scene import STEP_S, Scene
from noonframe.dose.year_days import CivilDays
from noonframe.sky.climatology import ozone_climatology_du
from noonframe.spot.plane import OpenSpot
from noonframe.stack.curves import locate
from noonframe.types import FloatArray

_OPEN_STEP_S = 30.0
_SUDDEN_STEP_S = 0.5
_SUDDEN_SHARE = 0.02  # of the day's highest light, within one step; the sun's own course stays below
_MOST_BETWEEN = 600_000
_OZONE_STEP_DU = 10.0
"""Between scenes so far apart the light is read off a straight line.  At 300 nm, behind a slant column of
twice the vertical, the bend of exp(-x) over that step is 0.5 %; a coat that also feels longer waves knows
less of it."""

Reading = Callable[[Scene, FloatArray], FloatArray]
"""Something (n,) of a scene at instants (n,)."""


@dataclass(frozen=True)
class Season:
    """A scene on consecutive days, whose ozone is each day's own (climatology), or stays as it was given."""

    scene: Scene
    days: CivilDays
    ozone_du: FloatArray

    @classmethod
    def of(cls, scene: Scene, days: CivilDays) -> "Season":
        """The season of a scene; its own ozone is kept where it did not come from climatology."""
        if dict(scene.sky.sources)["ozone_du"] == "climatology":
            ozone = [ozone_climatology_du(scene.place.latitude_deg, day) for day in days.dates]
        else:
            ozone = [scene.sky.state.ozone_du] * len(days.dates)
        return cls(scene, days, np.array(ozone))

    def read(self, reading: Reading, unix_s: FloatArray) -> FloatArray:
        """`reading` (n,) at rising instants (n,), each under the ozone of its civil day."""
        if np.all(self.ozone_du == self.scene.sky.state.ozone_du):
            return reading(self.scene, unix_s)
        place = self.ozone_du / _OZONE_STEP_DU
        below = np.floor(place).astype(np.int64)
        turns = np.flatnonzero(np.diff(below)) + 1  # the days on which another pair of scenes takes over
        edges = [0, *unix_s.searchsorted(self.days.start_s[turns]).tolist(), unix_s.size]
        values = np.empty(unix_s.size)
        for first_day, first, last in zip([0, *turns.tolist()], edges[:-1], edges[1:], strict=True):
            if first == last:
                continue
            during = unix_s[first:last]
            low, high = (
                reading(self._under((below[first_day] + k) * _OZONE_STEP_DU), during) for k in (0, 1)
            )
            part = (place - below)[self.days.index_of(during)]
            values[first:last] = low + part * (high - low)
        return values

    def _under(self, ozone_du: float) -> Scene:
        sky = self.scene.sky
        return replace(self.scene, sky=replace(sky, state=replace(sky.state, ozone_du=float(ozone_du))))

    def course(self) -> Course:
        """Light and dose from the first day's start until a day after the last one's end.

        Steps as for single exposures: 30 s in the open, where a step in which a skyline takes or gives the
        sun is cut finer, and 60 s inside a window, whose means over the sheet know no jumps.
        """
        inside = not isinstance(self.scene.spot, OpenSpot)
        step_s = STEP_S if inside else _OPEN_STEP_S
        time_s = np.arange(self.days.start_s[0], self.days.end_s[-1] + LONGEST_S + step_s / 2.0, step_s)
        rate = self.read(Scene.rate, time_s)
        if inside:
            return Course.of(time_s, rate)
        per_day = round(LONGEST_S / step_s)
        highest = np.repeat(np.maximum.reduceat(rate, np.arange(0, rate.size, per_day)), per_day)
        sudden = np.flatnonzero(np.abs(np.diff(rate)) > _SUDDEN_SHARE * highest[: rate.size - 1])
        if sudden.size:
            # A fence of pickets would ask for more than a processor has room for: it is cut less finely.
            count = int(min(step_s / _SUDDEN_STEP_S - 1, max(_MOST_BETWEEN // sudden.size, 1)))
            inner_s = step_s * np.arange(1, count + 1) / (count + 1)
            more_s = np.add.outer(time_s[sudden], inner_s).ravel()
            more = self.read(Scene.rate, more_s)
            order = np.argsort(np.concatenate([time_s, more_s]), kind="stable")
            time_s = np.concatenate([time_s, more_s])[order]
            rate = np.concatenate([rate, more])[order]
        return Course.of(time_s, rate)

    def uv_index(self, unix_s: FloatArray) -> FloatArray:
        """UV index (n,) on open level ground at rising instants (n,)."""
        return self.read(_uv_index, unix_s)


def _uv_index(scene: Scene, unix_s: FloatArray) -> FloatArray:
    track = scene.track(unix_s)
    return locate(track.up).read(scene.curves.uv_index) * track.distance_factor


def lengths_at(course: Course, start_s: FloatArray, target_j_m2: float) -> FloatArray:
    """Length (n,) of an exposure begun at each instant (n,) within a course; NaN where it cannot be made.

    The same rules as for a single exposure, all starts at once: the light must not go out before the end,
    and the end comes within a day.  The crossing is exact for a rate that is straight within a step.
    """
    time_s, rate, dose = course.time_s, course.rate_w_m2, course.dose_j_m2
    index = np.clip(time_s.searchsorted(start_s, side="right") - 1, 0, time_s.size - 2)
    since_s = start_s - time_s[index]
    slope = (rate[index + 1] - rate[index]) / (time_s[index + 1] - time_s[index])
    rate_then = rate[index] + slope * since_s
    wanted = dose[index] + 0.5 * (rate[index] + rate_then) * since_s + target_j_m2

    right = dose.searchsorted(wanted)
    reached = right < dose.size
    left = np.minimum(right, dose.size - 1) - 1
    low, high = rate[left], rate[left + 1]
    span_s = time_s[left + 1] - time_s[left]
    missing = wanted - dose[left]
    root = np.sqrt(np.maximum(low * low + 2.0 * (high - low) * missing / span_s, 0.0))
    slowness = low + root
    part_s = np.divide(2.0 * missing, slowness, out=np.zeros_like(missing), where=slowness > 0.0)
    end_s = time_s[left] + np.minimum(part_s, span_s)

    next_dark = course.dark.searchsorted(index, side="right")
    dark_s = np.append(time_s[course.dark], np.inf)[next_dark]
    stop_s = np.minimum(np.where(rate_then <= 0.0, start_s, dark_s), start_s + LONGEST_S)
    return np.where(reached & (end_s <= stop_s), end_s - start_s, np.nan)
