"""One place, sky, spot and sheet put together: what a dose is asked of."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from noonframe.dose.course import LONGEST_S, Course
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import AssumedSky
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH, CloudPart
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.spot.plane import OpenSpot
from noonframe.stack.curves import NO_PANE, LightCurves, light_curves, locate
from noonframe.stack.effective import dose_weights
from noonframe.stack.indoors import IndoorLight, effective_on_sheet, light_on_sheet, mean_effective_on_sheet
from noonframe.stack.light import LightSeries, effective_on, light_on
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer
from noonframe.sun.place import Place
from noonframe.sun.position import SunTrack, sun_track
from noonframe.types import FloatArray

Rate = Callable[[FloatArray], FloatArray]
"""Rate of dose [W m-2] at instants (n,) of unix seconds."""

RECIPROCITY_REFERENCE_W_M2 = 40.0
"""Irradiance at which a reciprocity exponent other than 1 changes nothing: glass and film, high sun."""

STEP_S = 60.0
_COURSE_STEP_S = 30.0
_SUDDEN_STEP_S = 0.5
_SUDDEN_SHARE = 0.02  # of the highest light, within one step; the sun's own course stays ten times below
_MOST_COURSES = 3
_MOST_AT_ONCE = 16384
"""Instants whose arrays still fit a processor's cache; a year at one-minute steps is 32 such parts."""


@dataclass(frozen=True)
class Target:
    """The dose a sheet needs, one standard deviation of its logarithm in stops, and who says so."""

    target_j_m2: float
    spread_stops: float
    source: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.target_j_m2) and 1.0 <= self.target_j_m2 <= 1e8):
            raise OutOfDomain("target_j_m2", self.target_j_m2, "between 1 and 100000000 J/m2")
        if not (math.isfinite(self.spread_stops) and 0.0 <= self.spread_stops <= 4.0):
            raise OutOfDomain("target_spread_stops", self.spread_stops, "between 0 and 4 stops")


@dataclass(frozen=True)
class Scene:
    """Where the sheet lies, under what sky, behind what and coated with what.

    `pane` is the window's pane, for a spot inside one; there the light and the rate are means over the sheet.

    `reciprocity_exponent` p is Schwarzschild's: a light k times weaker takes k**(1/p) times longer; 1 is
    plain reciprocity.  With p other than 1 the rate of dose is E_ref (E/E_ref)**(1/p).
    """

    place: Place
    sky: AssumedSky
    spot: OpenSpot | WindowSpot
    stack: Stack
    sensitizer: Sensitizer
    near_ground_albedo: float
    reciprocity_exponent: float = 1.0
    pane: Stack = NO_PANE

    def __post_init__(self) -> None:
        if not 0.7 <= self.reciprocity_exponent <= 1.1:
            raise OutOfDomain("reciprocity_exponent", self.reciprocity_exponent, "between 0.7 and 1.1")
        if not 0.0 <= self.near_ground_albedo <= 1.0:
            raise OutOfDomain("near_ground_albedo", self.near_ground_albedo, "between 0 and 1")

    @cached_property
    def curves(self) -> LightCurves:
        """Light of this scene as curves of the sun's height."""
        return light_curves(self.sky.state, self.stack, self.sensitizer, self.pane)

    def track(self, unix_s: FloatArray) -> SunTrack:
        """The sun over the scene's place."""
        return sun_track(self.place, unix_s)

    def light(self, unix_s: FloatArray) -> LightSeries:
        """All the light at instants (n,)."""
        if isinstance(self.spot, WindowSpot):
            return self.indoor_light(unix_s).series
        return light_on(self.curves, self.track(unix_s), self.spot, self.near_ground_albedo)

    def indoor_light(self, unix_s: FloatArray) -> IndoorLight:
        """All the light at instants (n,) inside a window, with the patch of sun and the view of sky."""
        if not isinstance(self.spot, WindowSpot):
            raise OutOfDomain("spot.kind", "open", "window")
        return light_on_sheet(self.curves, self.track(unix_s), self.spot, self.near_ground_albedo)

    def rate(self, unix_s: FloatArray) -> FloatArray:
        """Rate at which the sheet gathers dose at instants (n,).  [W m-2]"""
        if unix_s.size > _MOST_AT_ONCE:
            parts = range(0, unix_s.size, _MOST_AT_ONCE)
            return np.concatenate([self.rate(unix_s[first : first + _MOST_AT_ONCE]) for first in parts])
        if isinstance(self.spot, WindowSpot):
            if self.reciprocity_exponent != 1.0:  # each point fails on its own
                return self.point_rates(unix_s) @ sheet_view(self.spot).weights
            track = self.track(unix_s)
            return mean_effective_on_sheet(self.curves, track, self.spot, self.near_ground_albedo)
        effective = effective_on(self.curves, self.track(unix_s), self.spot, self.near_ground_albedo)
        return with_reciprocity(effective, self.reciprocity_exponent)

    def point_rates(self, unix_s: FloatArray) -> FloatArray:
        """Rate of dose (n_time, n_point) at each sample point; one in the open.  [W m-2]"""
        if not isinstance(self.spot, WindowSpot):
            return self.rate(unix_s)[:, None]
        track = self.track(unix_s)
        effective = effective_on_sheet(self.curves, track, self.spot, self.near_ground_albedo)
        return with_reciprocity(effective, self.reciprocity_exponent)

    def course(self, start_s: float) -> "SceneCourse":
        """Light and dose over the UTC day of `start_s` and the day after it, for open ground.

        Steps of 30 s leave 0.02 % in a length at the lowest sun; a step in which a skyline takes or gives
        the sun is cut into half seconds.  Kept for a few days: all starts within a day read from one course.
        """
        day = math.floor(start_s / LONGEST_S)
        course = self._courses.get(day)
        if course is None:
            if len(self._courses) >= _MOST_COURSES:
                self._courses.clear()
            course = self._courses[day] = self._two_days(day * LONGEST_S)
        return course

    def _two_days(self, from_s: float) -> "SceneCourse":
        time_s = from_s + np.arange(0.0, 2.0 * LONGEST_S + 1.0, _COURSE_STEP_S)
        rate = self.rate(time_s)
        sudden = np.flatnonzero(np.abs(np.diff(rate)) > _SUDDEN_SHARE * rate.max())
        if sudden.size:
            between_s = np.arange(_SUDDEN_STEP_S, _COURSE_STEP_S, _SUDDEN_STEP_S)
            time_s = np.union1d(time_s, np.add.outer(time_s[sudden], between_s))
            rate = self.rate(time_s)
        track = self.track(time_s)
        uv_index = locate(track.up).read(self.curves.uv_index) * track.distance_factor
        return SceneCourse(Course.of(time_s, rate), track.up, uv_index)

    @cached_property
    def _courses(self) -> dict[int, "SceneCourse"]:
        return {}

    @cached_property
    def light_spread_stops(self) -> float:
        """One standard deviation of the light behind the stack: sky, air, model and materials."""
        return math.hypot(self.sky.spread_stops, self._stack_spread_stops)

    @cached_property
    def cloudless_spread_stops(self) -> float:
        """`light_spread_stops` without the part that cloud has in it."""
        return math.hypot(self.sky.air_spread_stops, self._stack_spread_stops)

    @cached_property
    def _stack_spread_stops(self) -> float:
        # Any daylight spectrum weighs the sheets' spreads well enough; the coat's action dominates.
        return self.stack.spread_stops(dose_weights(self.sensitizer))

    def under(self, *cloud: CloudPart) -> "Scene":
        """The same scene under other cloud."""
        return replace(self, sky=replace(self.sky, state=replace(self.sky.state, cloud=cloud)))

    @cached_property
    def sun_out(self) -> "Scene":
        """The same scene with the sun out and no cloud."""
        return self.under(CloudPart(1.0, 0.0))

    @cached_property
    def covered(self) -> "Scene":
        """The same scene with an ordinary cloud before the sun."""
        return self.under(CloudPart(1.0, COVERING_CLOUD_OPTICAL_DEPTH))


@dataclass(frozen=True)
class SceneCourse:
    """The dose of a scene over two days, with the sine of the sun's elevation and the UV index (n,)."""

    dose: Course
    up: FloatArray
    uv_index: FloatArray

    def highest(self, first_s: float, last_s: float) -> tuple[float, float]:
        """Highest sine of elevation and highest UV index between two unix seconds, to one step."""
        time_s = self.dose.time_s
        during = slice(
            max(int(time_s.searchsorted(first_s, side="right")) - 1, 0), int(time_s.searchsorted(last_s)) + 1
        )
        return float(self.up[during].max()), float(self.uv_index[during].max())


def with_reciprocity(effective_w_m2: FloatArray, exponent: float) -> FloatArray:
    """Rate of dose for a Schwarzschild exponent; the light itself when it is 1."""
    if exponent == 1.0:
        return effective_w_m2
    reference = RECIPROCITY_REFERENCE_W_M2
    rate: FloatArray = reference * np.power(effective_w_m2 / reference, 1.0 / exponent)
    return rate
