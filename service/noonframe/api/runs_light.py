"""The cloud that an exposure is followed under: the newest forecast, and what was kept of earlier ones."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from noonframe.api.ask import Ask
from noonframe.api.course_record import carried_on, course_from, course_record
from noonframe.api.lamp_ask import LampAsk
from noonframe.api.lamp_outputs import LampBasis
from noonframe.api.outputs import Basis, SkyBasis, WeatherBasis
from noonframe.api.routes.exposure import basis_under
from noonframe.api.weather import CLIMATOLOGY, SkyAhead
from noonframe.dose.live_ahead import assumed_course
from noonframe.sky.evidence import CloudCourse, Evidence

AHEAD_S = 86400.0
"""How far ahead of now an exposure is followed, and its cloud kept."""

_MARGIN_S = 900.0
_UNTOLD = frozenset({Evidence.BEYOND.value, CLIMATOLOGY})


@dataclass(frozen=True)
class Under:
    """The cloud an exposure is followed under, None for the sky its scene assumes, and the basis to tell."""

    cloud: CloudCourse | None
    basis: Basis | LampBasis


def under_forecast(
    ask: Ask, look: SkyAhead, kept: Mapping[str, Any] | None, start_s: float, now_s: float
) -> Under:
    """While an exposure runs: the newest forecast, and for what is over what was kept where that knows more.

    What neither knows, because the exposure began before any forecast reaches, has the sky that its scene
    assumes.
    """
    course = look.course
    if kept is not None:
        course = carried_on(course_from(kept), course, now_s, _UNTOLD)
    if course.from_s > start_s:
        course = carried_on(assumed_course(ask.scene, start_s, course.to_s), course, now_s, _UNTOLD)
    return Under(course, basis_under(ask, look, max(now_s, start_s)))


def under_kept(ask: Ask | LampAsk, kept: Mapping[str, Any] | None, until_s: float | None) -> Under:
    """Without a forecast: what was kept, and up to `until_s` the sky that the scene assumes."""
    if kept is None or isinstance(ask, LampAsk):
        return Under(None, ask.basis)
    course = course_from(kept)
    if until_s is not None and until_s > course.to_s:
        rest = assumed_course(ask.scene, course.from_s, until_s)
        course = carried_on(course, rest, course.to_s, frozenset(map(str, rest.evidence)))
    told = {
        "weather": WeatherBasis.model_validate(kept["basis"]),
        "sky": SkyBasis.model_validate(kept["sky"]),
    }
    return Under(course, ask.basis.model_copy(update=told))


def record_of(under: Under, start_s: float, now_s: float) -> dict[str, Any] | None:
    """What is to be kept, so that an exposure has its dose when the forecasts are gone; None for nothing."""
    if under.cloud is None or isinstance(under.basis, LampBasis) or under.basis.weather is None:
        return None
    record = course_record(under.cloud, start_s - _MARGIN_S, max(now_s, start_s) + AHEAD_S)
    told = {"basis": under.basis.weather, "sky": under.basis.sky}
    return record | {name: basis.model_dump(mode="json") for name, basis in told.items()}
