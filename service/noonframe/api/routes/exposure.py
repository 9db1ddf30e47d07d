"""/v1/exposure: how long."""

import datetime as dt
import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from noonframe.api.ask import Ask, find_target, understand
from noonframe.api.ask_objects import object_words, objects_of
from noonframe.api.bench_fill import filled, names_saved
from noonframe.api.cautions import sun_cautions
from noonframe.api.examples import EXPOSURE, OPEN_SPOT
from noonframe.api.inputs import ExposureBody, ExposureQuery, SceneFields
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.lamp_exposure import answer_lamp_exposure
from noonframe.api.lamp_outputs import ObjectItem
from noonframe.api.outputs import Basis, Evenness, ExposureAnswer
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.routes.common import now_of, settings_of, weather_of
from noonframe.api.routes.direct import DirectRoute
from noonframe.api.times import format_time
from noonframe.api.weather import OUT_OF_REACH, SkyAhead, WeatherDesk, is_in_reach
from noonframe.api.wording import CloudDoubt, say_exposure
from noonframe.dose.exposure import LONGEST_S, Exposure, NextChance, expose, next_chance
from noonframe.dose.scene import Scene, Target
from noonframe.dose.skies import SkyExposure, expose_under_skies
from noonframe.settings import Settings
from noonframe.spot.plane import OpenSpot
from noonframe.stack.effective import dose_weights

router = APIRouter(tags=["exposure"], route_class=DirectRoute)
_INDOOR_POINTS = 9
_EVENNESS_POINTS = 121
_BRIEF_S = 10.0


@router.get(
    "/v1/exposure",
    operation_id="exposure",
    response_model=ExposureAnswer,
    openapi_extra=query_parameters(ExposureQuery, EXPOSURE),
)
async def get_exposure(request: Request) -> Response:
    """How long from `start` (now if not given) until the sheet has its dose."""
    answer = await answer_soon(request)
    # Made and checked just now: FastAPI would check it once more.
    return Response(answer.model_dump_json(), media_type="application/json")


@router.post(
    "/v1/exposure",
    operation_id="exposure_at_spot",
    openapi_extra=json_body(ExposureBody, {**EXPOSURE, "spot": OPEN_SPOT}),
)
def post_exposure(
    request: Request, body: Annotated[ExposureBody, Depends(body_of(ExposureBody))]
) -> ExposureAnswer:
    """The same, with a spot."""
    body, spot = filled(request, body, body.spot)
    return answer_exposure(body, settings_of(request), now_of(request), spot, weather_of(request))


async def answer_soon(request: Request) -> ExposureAnswer:
    """The answer without holding up the loop: a usual one costs less than a thread's hand-over would."""
    query = read_query(ExposureQuery, request)
    settings, now_s = settings_of(request), now_of(request)
    weather = weather_of(request)
    if names_saved(query):
        return await run_in_threadpool(_answer_saved, request, query)
    if query.place is not None or weather.is_on:  # a name may need the whole city table, a forecast the net
        return await run_in_threadpool(answer_exposure, query, settings, now_s, None, weather)
    outlook = look(query, settings, now_s, None, weather)
    if outlook.exposure.reached:
        return outlook.answer(None)
    return outlook.answer(await run_in_threadpool(outlook.next_chance))


def _answer_saved(request: Request, query: ExposureQuery) -> ExposureAnswer:
    query, spot = filled(request, query)
    return answer_exposure(query, settings_of(request), now_of(request), spot, weather_of(request))


def answer_exposure(
    query: ExposureQuery,
    settings: Settings,
    now_s: float,
    spot: SpotBody | None,
    weather: WeatherDesk | None = None,
) -> ExposureAnswer:
    """The exposure a request asks for, as an answer."""
    if query.lamp is not None:
        return answer_lamp_exposure(query, settings, now_s, spot)
    outlook = look(query, settings, now_s, spot, weather)
    return outlook.answer(None if outlook.exposure.reached else outlook.next_chance())


def look(
    query: ExposureQuery,
    settings: Settings,
    now_s: float,
    spot: SpotBody | None,
    weather: WeatherDesk | None = None,
) -> "Outlook":
    """Understand a request and integrate the light from its start, under the forecast where there is one."""
    start_s = now_s if query.start is None else query.start.timestamp()
    ask = understand(query, dt.datetime.fromtimestamp(start_s, dt.UTC), settings, spot)
    scene = ask.scene
    target = find_target(query, scene.sensitizer)
    objects = None
    if query.objects is not None:
        objects = objects_of(query.objects, dose_weights(scene.sensitizer), settings.spectra_dir)
    ahead, notes = look_ahead(query, ask, weather, now_s, from_s=start_s, to_s=start_s)
    if ahead is not None:
        other = math.hypot(target.spread_stops, scene.cloudless_spread_stops)
        under = expose_under_skies(scene, ahead.course, start_s, target.target_j_m2, other_spread_stops=other)
        return Outlook(ask, target, under.likely, now_s, ahead, under, objects=objects)
    spread = math.hypot(target.spread_stops, scene.light_spread_stops)
    exposure = expose_in(scene, start_s, target.target_j_m2, spread)
    return Outlook(ask, target, exposure, now_s, notes=notes, objects=objects)


def look_ahead(
    query: SceneFields, ask: Ask, weather: WeatherDesk | None, now_s: float, *, from_s: float, to_s: float
) -> tuple[SkyAhead | None, tuple[str, ...]]:
    """The forecast for starts between two instants, or None and notes that say why the sky is assumed.

    None also, without a word, where weather is off or the request itself tells of the cloud.
    """
    if weather is None or not (weather.is_on and sky_not_given(query)):
        return None, ()
    if not is_in_reach(now_s, from_s, to_s):
        return None, (OUT_OF_REACH,)
    return weather.ahead(ask, now_s, from_s, to_s + LONGEST_S), ()


def sky_not_given(query: SceneFields) -> bool:
    """Whether a request leaves the cloud to the forecast."""
    return query.sky is None and query.cloud_optical_depth is None


@dataclass(frozen=True)
class Outlook:
    """An exposure looked at, before it is put into words."""

    ask: Ask
    target: Target
    exposure: Exposure
    now_s: float
    ahead: SkyAhead | None = None
    skies: SkyExposure | None = None
    notes: tuple[str, ...] = ()
    objects: list[ObjectItem] | None = None

    def next_chance(self) -> NextChance | None:
        """The next start that can reach the target; a search of up to a year of light."""
        return next_chance(self.ask.scene.rate, self.exposure.looked_until_s, self.target.target_j_m2)

    def answer(self, chance: NextChance | None) -> ExposureAnswer:
        """All that the answer says; `chance` is for an exposure whose target is not reached."""
        exposure, target, scene, zone = self.exposure, self.target, self.ask.scene, self.ask.where.zone
        start_s, length = exposure.start_s, exposure.length_s
        if self.skies is not None and self.ahead is not None:
            sun_out, covered = self.skies.sun_out_s, self.skies.clouded_s
            if self.ahead.is_thin_at(start_s):  # a veil is not what "if cloud covers the sun" means
                covered = self._under(scene.covered)
        else:
            sun_out, covered = self._under(scene.sun_out), self._under(scene.covered)
        evenness = evenness_of(scene, exposure, target.target_j_m2)
        return ExposureAnswer(
            start=format_time(start_s, zone),
            end=None if length is None else format_time(start_s + length, zone),
            length_s=_round(length),
            length_low_s=_round(exposure.low_s),
            length_high_s=_round(exposure.high_s),
            reached=exposure.reached,
            dose_share=round(exposure.dose_share, 5),
            target_j_m2=target.target_j_m2,
            target_spread_stops=target.spread_stops,
            target_source=target.source,
            light_end=format_time(exposure.looked_until_s, zone) if exposure.dark_then else None,
            if_sun_stays_s=_round(sun_out),
            if_cloud_covers_s=_round(covered),
            next_start=None if chance is None else format_time(chance.start_s, zone),
            next_length_s=None if chance is None else _round(chance.length_s),
            evenness=evenness,
            objects=self.objects,
            moves=[],
            cautions=cautions_for(scene, exposure),
            basis=basis_under(self.ask, self.ahead, start_s, self.notes),
            summary=say_exposure(
                exposure,
                target,
                zone,
                self.now_s,
                covered_s=covered,
                chance=chance,
                bare=not scene.stack.materials,
                cloud=self._cloud_doubt(),
                uneven_stops=_spread_of(evenness),
            )
            + object_words(self.objects),
        )

    def _cloud_doubt(self) -> CloudDoubt | None:
        if self.ahead is None:
            return None
        other = math.hypot(self.target.spread_stops, self.ask.scene.cloudless_spread_stops)
        return CloudDoubt(other, self.ahead.answer.best is not None)

    def _under(self, scene: Scene) -> float | None:
        """Length of the same exposure in a scene under another sky; None when dark from the start."""
        if self.exposure.dose_share <= 0.0:
            return None
        if scene.sky.state == self.ask.scene.sky.state:
            return self.exposure.length_s
        return expose_in(scene, self.exposure.start_s, self.target.target_j_m2).length_s


def evenness_of(scene: Scene, exposure: Exposure, target_j_m2: float) -> Evenness | None:
    """How unevenly a sheet inside a window is lit when it stays; None in the open, or in the dark."""
    if isinstance(scene.spot, OpenSpot) or exposure.dose_share <= 0.0:
        return None
    time_s = np.linspace(exposure.start_s, exposure.end_s, _EVENNESS_POINTS)
    doses = np.trapezoid(scene.point_rates(time_s), time_s, axis=0)
    low, high = (float(dose) / target_j_m2 for dose in (doses.min(), doses.max()))
    return Evenness(
        lowest_stops=round(math.log2(low), 3) if low > 0.0 else None,
        highest_stops=round(math.log2(high), 3) if high > 0.0 else None,
    )


def _spread_of(evenness: Evenness | None) -> float:
    """Stops between the darkest and the brightest part of the sheet."""
    if evenness is None or evenness.lowest_stops is None or evenness.highest_stops is None:
        return 0.0
    return evenness.highest_stops - evenness.lowest_stops


def basis_under(
    ask: Ask, ahead: SkyAhead | None, start_s: float | None = None, notes: tuple[str, ...] = ()
) -> Basis:
    """What an answer rests on: with the forecast for its start, by default the present, and further notes."""
    if ahead is None:
        return ask.basis.model_copy(update={"notes": [*ask.basis.notes, *notes]}) if notes else ask.basis
    start_s = ahead.answer.asked_at_s if start_s is None else start_s
    evidence, says = ahead.says_at(start_s)
    spread = math.hypot(ask.scene.sky.air_spread_stops, ahead.spread_stops_at(start_s))
    told = {"evidence": evidence, "says": says, "spread_stops": round(spread, 3)}
    sky = ask.basis.sky.model_copy(update=told)
    weather = ahead.basis_at(start_s, ask.where.zone)
    return ask.basis.model_copy(update={"sky": sky, "weather": weather})


def _round(seconds: float | None) -> float | None:
    if seconds is None:
        return None
    return round(seconds, 3 if seconds >= _BRIEF_S else 6)  # a thousandth of a second is much of a brief one


def expose_in(scene: Scene, start_s: float, target_j_m2: float, spread_stops: float = 0.0) -> Exposure:
    """An exposure in a scene: outdoors read from the day's course, indoors followed from its start."""
    if isinstance(scene.spot, OpenSpot):
        return scene.course(start_s).dose.expose(start_s, target_j_m2, spread_stops)
    return expose(scene.rate, start_s, target_j_m2, spread_stops)


def cautions_for(scene: Scene, exposure: Exposure) -> list[str]:
    """Cautions for someone beside the frame during an exposure."""
    kinds = {material.kind for material in scene.stack.materials}
    glazed = bool(kinds - {"film", "object"})
    if not isinstance(scene.spot, OpenSpot):
        up = scene.track(np.linspace(exposure.start_s, exposure.end_s, _INDOOR_POINTS)).up
        return sun_cautions(0.0, math.degrees(math.asin(float(up.max()))), outdoors=False, glazed=glazed)
    highest_up, uv_index = scene.course(exposure.start_s).highest(exposure.start_s, exposure.end_s)
    return sun_cautions(uv_index, math.degrees(math.asin(highest_up)), outdoors=True, glazed=glazed)
