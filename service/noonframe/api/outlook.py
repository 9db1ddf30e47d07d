"""The light of the coming days as cumulative doses, so that a client without a network can go on by dose.

A client only reads between the points: the dose of a stretch of time is the difference of two values of one
sky's course, and an end is where a course has risen by the target.  How far a sky that was told is believed,
and what half of the skies ahead bring, is sent along (`ToldSky`), so that an exposure followed without the
service comes out as the service would have it.
"""

import datetime as dt
import math

import numpy as np
from pydantic import BaseModel, Field

from noonframe.api.ask import Ask, find_target, understand
from noonframe.api.ask_objects import refuse_objects
from noonframe.api.inputs import ExposureQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.outputs import Basis
from noonframe.api.routes.exposure import basis_under, look_ahead
from noonframe.api.times import format_time
from noonframe.api.weather import SkyAhead, WeatherDesk
from noonframe.dose.course import LONGEST_S, Course
from noonframe.dose.live_events import LONGEST_VOUCH_S, SEEN_SKIES
from noonframe.dose.live_light import SpotLight, assumed_spread_stops
from noonframe.dose.live_state import Following
from noonframe.dose.scene import STEP_S, Scene
from noonframe.settings import Settings
from noonframe.spot.plane import OpenSpot
from noonframe.sun.events import civil_day, day_events
from noonframe.types import BoolArray, FloatArray, IntArray

LIKELY = "likely"
KNOT_S = 120.0
"""Between two points the dose is read as if it rose evenly: at the lowest sun a third of a second off."""

_FINE_S = 30.0
_LN2 = math.log(2.0)
_FADES = 24
"""Pieces of a quarter of the persistence: what is left after them, a quarter of a percent, is dropped."""
_TOLD = [word for word in SEEN_SKIES.values() if word.id != "clear"]  # it is the light of sun-out


class OutlookQuery(ExposureQuery):
    """The light from the civil day of `start` on."""

    days: int = Field(2, ge=2, le=3, description="civil days at the place, that of `start` first")


class OutlookBody(OutlookQuery):
    """The same, with a spot."""

    spot: SpotBody | None = None


class SkyCourse(BaseModel):
    """What the sheet gathers under one sky that stays as it is."""

    sky: str = Field(description="likely: as far as is known now; else a sky as runs are told of it")
    says: str
    rate_w_m2: float = Field(description="at `start`")
    length_s: float | None = Field(description="from `start` to the target; null when the light goes first")
    end: str | None
    dose_j_m2: list[float] = Field(description="gathered since `first_epoch`, at each of `after_s`")
    typical_share: float | None = Field(
        description="of that, what half of the skies that the word may mean bring at least; null for likely,"
        " see `told`"
    )


class ToldSky(BaseModel):
    """How far a sky told of a running exposure is believed, as the service itself follows one.

    The dose so far: the course of the sky told for as long as it is vouched for, then the likely one with
    `share` of the difference between the two.  The end: the sky told for `holds_s` from now (from when it
    was no longer vouched for, if that is over), then what half of the skies ahead bring.
    """

    vouched_s: float = Field(description="the last sky told holds for so long, if its teller did not say")
    vouched_between_s: float = Field(description="one before it, at most until the next")
    fading_after_s: list[float] = Field(
        description="edges of pieces of time, from when it is not vouched for"
    )
    share: list[float] = Field(description="mean share of the sky told in each piece, 0 after them")
    holds_s: float = Field(description="by then half of the skies ahead have changed")
    typical_j_m2: list[float] = Field(
        description="under the likely sky, what half of the skies ahead bring; at each of `after_s`"
    )


class SunTimes(BaseModel):
    """When the sun comes and goes on a civil day; null where it does not."""

    date: str
    begins_epoch: float = Field(description="unix second of its first moment at the place")
    rise: str | None
    set: str | None


class OutlookAnswer(BaseModel):
    """Cumulative doses of some skies; points are two minutes apart by day, closer where a wall cuts in."""

    at: str = Field(description="the service's own present")
    start: str
    first_epoch: float = Field(description="unix second that `after_s` counts from")
    after_s: list[float]
    skies: list[SkyCourse]
    told: ToldSky
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    sun: list[SunTimes]
    basis: Basis


def answer_outlook(
    query: OutlookQuery,
    settings: Settings,
    now_s: float,
    spot: SpotBody | None,
    weather: WeatherDesk | None = None,
) -> OutlookAnswer:
    """The light a request asks for, under the likely sky and under every sky that can be told of."""
    refuse_objects(query)
    start_s = now_s if query.start is None else query.start.timestamp()
    ask = understand(query, dt.datetime.fromtimestamp(start_s, dt.UTC), settings, spot)
    scene, zone, following = ask.scene, ask.where.zone, Following()
    target = find_target(query, scene.sensitizer)
    first_day = dt.datetime.fromtimestamp(start_s, zone).date()
    days = [first_day + dt.timedelta(days=number) for number in range(query.days)]
    first_s, last_s = civil_day(days[0], zone)[0], civil_day(days[-1], zone)[1]
    ahead, notes = look_ahead(query, ask, weather, now_s, from_s=first_s, to_s=last_s - LONGEST_S)

    time_s = _fine_grid(scene.sun_out, first_s, last_s)
    likely, spread_stops = _likely(scene, ahead, time_s)
    rates = {LIKELY: likely}
    for word in _TOLD:
        rates[word.id] = scene.under(*word.parts).rate(time_s)
    knots = _knots(time_s, np.max(np.stack(list(rates.values())), axis=0) > 0.0)
    says = {LIKELY: _says(ask, ahead, start_s)} | {word.id: word.says for word in _TOLD}
    shares = {word.id: round(float(_median_share(word.spread_stops)), 4) for word in _TOLD}
    skies = []
    for name, rate in rates.items():
        course = Course.of(time_s, rate)
        length_s = course.expose(start_s, target.target_j_m2).length_s
        skies.append(
            SkyCourse(
                sky=name,
                says=says[name],
                rate_w_m2=round(float(np.interp(start_s, time_s, rate)), 4),
                length_s=None if length_s is None else round(length_s, 3),
                end=None if length_s is None else format_time(start_s + length_s, zone),
                dose_j_m2=np.round(course.dose_j_m2[knots], 1).tolist(),
                typical_share=shares.get(name),
            )
        )
    typical = Course.of(time_s, likely * _median_share(spread_stops))
    return OutlookAnswer(
        at=format_time(now_s, zone),
        start=format_time(start_s, zone),
        first_epoch=first_s,
        after_s=(time_s[knots] - first_s).tolist(),
        skies=skies,
        told=_told(following, np.round(typical.dose_j_m2[knots], 1).tolist()),
        target_j_m2=target.target_j_m2,
        target_spread_stops=target.spread_stops,
        target_source=target.source,
        sun=[_sun(ask, day) for day in days],
        basis=basis_under(ask, ahead, start_s, notes),
    )


def _fine_grid(scene: Scene, first_s: float, last_s: float) -> FloatArray:
    """Instants between which the rate of dose is straight; in the open, those of exposures."""
    if not isinstance(scene.spot, OpenSpot):
        return np.append(np.arange(first_s, last_s, STEP_S), last_s)
    starts_s = np.arange(math.floor(first_s / LONGEST_S) * LONGEST_S, last_s, 2.0 * LONGEST_S)
    every_s = np.concatenate([scene.course(float(one)).dose.time_s for one in starts_s])
    return np.unique(np.concatenate([[first_s], every_s[(every_s > first_s) & (every_s < last_s)], [last_s]]))


def _likely(scene: Scene, ahead: SkyAhead | None, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean rate of dose at instants (n,) as running exposures are followed, and its spread in stops (n,)."""
    if ahead is None:
        return scene.rate(time_s), np.full(time_s.size, assumed_spread_stops(scene))
    light = SpotLight(scene, ahead.course, float(time_s[0]))
    light.reach(float(time_s[-1]))
    inside = np.minimum(time_s, light.edges_s[-1])
    cell = light.cell_of(inside)
    return light.forecast(cell, inside) @ light.weights, light.spread_stops[cell]


def _median_share(spread_stops: FloatArray | float) -> FloatArray:
    """Median over mean of the log-normal error of a forecast: exp(-s^2/2), s its spread in natural units."""
    share: FloatArray = np.exp(-0.5 * (_LN2 * np.asarray(spread_stops)) ** 2)
    return share


def _told(following: Following, typical_j_m2: list[float]) -> ToldSky:
    piece = 0.25
    edges = piece * np.arange(_FADES + 1)
    mean = (np.exp(-edges[:-1]) - np.exp(-edges[1:])) / piece  # of exp(-t / persistence) over each piece
    return ToldSky(
        vouched_s=following.vouched_s,
        vouched_between_s=LONGEST_VOUCH_S,
        fading_after_s=(edges * following.persistence_s).tolist(),
        share=np.round(mean, 5).tolist(),
        holds_s=round(_LN2 * following.persistence_s, 1),
        typical_j_m2=typical_j_m2,
    )


def _knots(time_s: FloatArray, lit: BoolArray) -> IntArray:
    """Indices of the instants worth sending: every two minutes of light, and all around a sudden change."""
    gap_s = np.diff(time_s)
    near = np.minimum(np.append(gap_s, np.inf), np.insert(gap_s, 0, np.inf))
    wanted = (time_s % KNOT_S == 0.0) | (near < _FINE_S)
    beside = lit | np.append(lit[1:], False) | np.insert(lit[:-1], 0, False)
    wanted &= beside
    edge = beside & ~(np.append(beside[1:], False) & np.insert(beside[:-1], 0, False))
    wanted |= edge
    wanted[0] = wanted[-1] = True
    return np.flatnonzero(wanted)


def _says(ask: Ask, ahead: SkyAhead | None, start_s: float) -> str:
    return ask.scene.sky.says if ahead is None else ahead.says_at(start_s)[1]


def _sun(ask: Ask, day: dt.date) -> SunTimes:
    events = day_events(ask.where.place, day, ask.where.zone)

    def text(moment: dt.datetime | None) -> str | None:
        return None if moment is None else moment.isoformat(timespec="seconds")

    begins_s = civil_day(day, ask.where.zone)[0]
    return SunTimes(date=day.isoformat(), begins_epoch=begins_s, rise=text(events.rise), set=text(events.set))
