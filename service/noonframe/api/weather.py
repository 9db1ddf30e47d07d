"""The sky ahead of a request: the forecast for its place as a course of cloud, or why there is none."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from noonframe.api.ask import Ask
from noonframe.api.outputs import WeatherBasis
from noonframe.api.times import format_time
from noonframe.sky.evidence import CloudCourse, cloud_course, steady_course
from noonframe.sky.words import CloudPart

if TYPE_CHECKING:
    from noonframe.weather.answer import WeatherAnswer
    from noonframe.weather.service import WeatherService

_HOUR_S = 3600.0
_BEFORE_S = 6 * _HOUR_S
_USUAL_CLOUD = (CloudPart(0.4, 0.0), CloudPart(0.6, 10.0))
_USUAL_SPREAD_STOPS = 0.6
CLIMATOLOGY = "climatology"
_MOST_COURSES = 64


@dataclass(frozen=True)
class SkyAhead:
    """A course of cloud and what it rests on."""

    course: CloudCourse
    basis: WeatherBasis


class WeatherDesk:
    """Turns forecasts into courses of cloud for requests that say nothing of the sky.

    `open_service` makes the weather service when it is first needed; None where weather is off.
    """

    def __init__(self, open_service: Callable[[], "WeatherService"] | None) -> None:
        self._open = open_service
        self._service: WeatherService | None = None
        self._courses: OrderedDict[tuple[object, ...], CloudCourse] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def is_on(self) -> bool:
        """Whether forecasts are asked for at all."""
        return self._open is not None

    def close(self) -> None:
        """Ask nobody any more."""
        if self._service is not None:
            self._service.close()

    def ahead(self, ask: Ask, now_s: float, from_s: float, to_s: float) -> SkyAhead | None:
        """The sky over the place of `ask` between two instants; None where weather is off.

        Stated order: a fresh forecast, a stale one with its age, the next provider's, and when all are away
        the climatology: cloud of optical depth 10 before the sun six tenths of the time.
        """
        if self._open is None:
            return None
        with self._lock:
            if self._service is None:
                self._service = self._open()
            service = self._service
        place = ask.where.place
        answer = service.forecast_for(place.latitude_deg, place.longitude_deg, now_s)
        begin, end = _HOUR_S * (from_s // _HOUR_S) - _BEFORE_S, _HOUR_S * (to_s // _HOUR_S + 1.0)
        course = self._course(answer, ask, begin, end)
        return SkyAhead(course, _basis(answer, course, ask, from_s))

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


def _basis(answer: "WeatherAnswer", course: CloudCourse, ask: Ask, at_s: float) -> WeatherBasis:
    piece = int(course.piece_of(np.array([at_s]))[0])
    best = answer.best
    why = [f"{failure.provider}: {failure.reason}" for failure in answer.why]
    known = course.known_until_s if best is not None else None
    return WeatherBasis(
        evidence=str(course.evidence[piece]),
        provider=None if best is None else best.forecast.provider,
        model=None if best is None else best.forecast.model,
        attribution=None if best is None else best.forecast.attribution,
        freshness=None if best is None else best.freshness.value,
        age_s=None if best is None else round(best.age_s),
        known_until=None if known is None else format_time(known, ask.where.zone),
        cloud_cover=round(float(course.cover[piece]), 3),
        cloud_optical_depth=round(float(course.optical_depth[piece]), 2),
        notes=list(course.notes),
        why=why,
    )
