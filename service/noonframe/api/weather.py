"""The sky ahead of a request: the forecast for its place as a course of cloud, or why there is none."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from noonframe.api.ask import Ask
from noonframe.api.outputs import WeatherBasis
from noonframe.api.times import format_time
from noonframe.sky.evidence import LONGEST_COURSE_S, CloudCourse, Evidence, cloud_course, steady_course
from noonframe.sky.forecast import Forecast
from noonframe.sky.words import CloudPart
from noonframe.types import BoolArray

if TYPE_CHECKING:
    import httpx

    from noonframe.api.weather_store import SteadyCache
    from noonframe.weather.answer import WeatherAnswer
    from noonframe.weather.service import WeatherService

_HOUR_S, _DAY_S = 3600.0, 86400.0
_BEFORE_S = 6 * _HOUR_S
_USUAL_CLOUD = (CloudPart(0.4, 0.0), CloudPart(0.6, 10.0))
_USUAL_SPREAD_STOPS = 0.6
CLIMATOLOGY = "climatology"
OUT_OF_REACH = "no sky given, and a time that no forecast reaches"
_BEHIND_S, _AHEAD_S = 12 * _HOUR_S, 3 * _DAY_S  # what the providers are asked for
# Wider than any forecast, so that the ends of a course, which hold for what lies outside it, are untold.
_COURSE_BEHIND_S, _COURSE_AHEAD_S = 2 * _DAY_S, 5 * _DAY_S
_MOST_COURSES = 64

_HIDES_NOTHING = 0.3
"""Optical depth below which a veil is hardly seen: cirrus after Sassen and Cho (1992), J. Appl. Meteorol. 31,
from memory."""

THIN_CLOUD = 3.6
"""Optical depth up to which cloud is thin and lets the sun show: International Satellite Cloud Climatology
classes, from memory."""


@dataclass(frozen=True)
class OpenWeather:
    """A running weather service with what it uses."""

    service: "WeatherService"
    cache: "SteadyCache"
    client: "httpx.Client"

    def close(self) -> None:
        """Ask nobody any more."""
        self.service.close()
        self.client.close()
        self.cache.close()


@dataclass(frozen=True)
class SkyAhead:
    """A course of cloud and the answer it was read from, with `notes` on how that was kept."""

    course: CloudCourse
    answer: "WeatherAnswer"
    notes: tuple[str, ...] = ()

    def basis_at(self, at_s: float, zone: ZoneInfo) -> WeatherBasis:
        """What an exposure that begins at `at_s` rests on."""
        course, best = self.course, self.answer.best
        piece = self._piece(at_s)
        known = self._known_until_s(piece)
        return WeatherBasis(
            evidence=str(course.evidence[piece]),
            provider=None if best is None else best.forecast.provider,
            model=None if best is None else best.forecast.model,
            attribution=None if best is None else best.forecast.attribution,
            freshness=None if best is None else best.freshness.value,
            age_s=None if best is None else round(best.age_s),
            known_until=None if known is None else format_time(known, zone),
            cloud_cover=round(float(course.cover[piece]), 3),
            cloud_optical_depth=round(float(course.optical_depth[piece]), 2),
            notes=[*course.notes, *self.notes],
            why=[f"{failure.provider}: {failure.reason}" for failure in self.answer.why],
        )

    def spread_stops_at(self, at_s: float) -> float:
        """One standard deviation of the mean light that the forecast leaves open at `at_s`."""
        return float(self.course.spread_stops[self._piece(at_s)])

    def is_thin_at(self, at_s: float) -> bool:
        """Whether the cloud told for `at_s` would not hide the sun."""
        return float(self.course.optical_depth[self._piece(at_s)]) <= THIN_CLOUD

    def says_at(self, at_s: float) -> tuple[str, str]:
        """What the sky at `at_s` is known from, and what is said of it, in plain words."""
        piece = self._piece(at_s)
        evidence, cover, depth = (
            str(self.course.evidence[piece]),
            float(self.course.cover[piece]),
            float(self.course.optical_depth[piece]),
        )
        share = f"before the sun {100.0 * cover:.0f} % of the time"
        if self.answer.best is None:
            return evidence, f"no forecast is to be had: cloud is taken to stand {share}"
        if self._untold[piece]:
            return evidence, f"the forecast does not tell of the start: cloud is taken to stand {share}"
        if cover == 0.0 or depth < _HIDES_NOTHING:
            return f"forecast: {evidence}", "no cloud stands before the sun at the start"
        kind = "thin cloud" if depth <= THIN_CLOUD else "cloud"
        return f"forecast: {evidence}", f"{kind} stands {share} at the start"

    @property
    def _untold(self) -> BoolArray:
        return np.equal(self.course.evidence, Evidence.BEYOND.value)

    def _piece(self, at_s: float) -> int:
        inside = np.clip(np.array([at_s]), self.course.from_s, self.course.to_s)
        return int(self.course.piece_of(inside)[0])

    def _known_until_s(self, piece: int) -> float | None:
        best = self.answer.best
        if best is None or self._untold[piece]:
            return None
        later = np.flatnonzero(self._untold[piece:])
        if later.size:
            return float(self.course.edges_s[piece + later[0]])
        return max(self.course.to_s, _end_s(best.forecast))


def _end_s(forecast: Forecast) -> float:
    """Where a forecast stops telling of the sky; rain alone may go on for hours."""
    for sample in reversed(forecast.samples):
        told = (sample.global_w_m2, sample.cloud_total, sample.cloud_low, sample.cloud_mid, sample.cloud_high)
        if any(value is not None for value in told):
            return sample.end_s
    return -float("inf")


def is_in_reach(now_s: float, from_s: float, to_s: float) -> bool:
    """Whether a forecast made now can tell of any time between two instants."""
    return from_s < now_s + _AHEAD_S and to_s >= now_s - _BEHIND_S


class WeatherDesk:
    """Turns forecasts into courses of cloud for requests that say nothing of the sky.

    `open_weather` starts the weather service when it is first needed; None where weather is off.
    """

    def __init__(self, open_weather: Callable[[], OpenWeather] | None) -> None:
        self._open = open_weather
        self._opened: OpenWeather | None = None
        self._courses: OrderedDict[tuple[object, ...], CloudCourse] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def is_on(self) -> bool:
        """Whether forecasts are asked for at all."""
        return self._open is not None

    def close(self) -> None:
        """Ask nobody any more."""
        with self._lock:
            if self._opened is not None:
                self._opened.close()
                self._opened = None

    def ahead(self, ask: Ask, now_s: float, from_s: float, to_s: float) -> SkyAhead | None:
        """The sky over the place of `ask` between two instants; None where weather is off.

        Stated order: a fresh forecast, a stale one with its age, the next provider's, and when all are away
        the climatology: cloud of optical depth 10 before the sun six tenths of the time.  A span that is
        longer than a course may be is cut to the days around the present, and the course's ends, which hold
        outside it, are then untold.  There is nothing to ask when `is_in_reach` is false.
        """
        if self._open is None:
            return None
        with self._lock:
            if self._opened is None:
                self._opened = self._open()
            weather = self._opened
        place = ask.where.place
        answer = weather.service.forecast_for(place.latitude_deg, place.longitude_deg, now_s)
        note = weather.cache.note
        begin_s, end_s = _HOUR_S * (from_s // _HOUR_S) - _BEFORE_S, _HOUR_S * (to_s // _HOUR_S + 1.0)
        if end_s - begin_s > LONGEST_COURSE_S:
            hour_s = _HOUR_S * (now_s // _HOUR_S)
            begin_s, end_s = max(begin_s, hour_s - _COURSE_BEHIND_S), min(end_s, hour_s + _COURSE_AHEAD_S)
        return SkyAhead(self._course(answer, ask, begin_s, end_s), answer, () if note is None else (note,))

    def _course(self, answer: "WeatherAnswer", ask: Ask, begin_s: float, end_s: float) -> CloudCourse:
        best = answer.best
        if best is None:
            return steady_course(_USUAL_CLOUD, begin_s, end_s, _USUAL_SPREAD_STOPS, CLIMATOLOGY)
        forecast, place = best.forecast, ask.where.place
        aerosol = ask.scene.sky.state.aerosol_optical_depth
        key = (
            forecast.provider,
            forecast.fetched_s,
            forecast.latitude_deg,
            forecast.longitude_deg,
            place,
            begin_s,
            end_s,
            aerosol,
        )
        with self._lock:
            known = self._courses.get(key)
            if known is not None:
                self._courses.move_to_end(key)
                return known
        course = cloud_course(forecast, place, begin_s, end_s, aerosol)
        with self._lock:
            self._courses[key] = course
            while len(self._courses) > _MOST_COURSES:
                self._courses.popitem(last=False)
        return course
