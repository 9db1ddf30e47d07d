"""An exposure under a lamp, as an answer."""

import math

from noonframe.api.ask import find_target
from noonframe.api.ask_objects import object_words, objects_of
from noonframe.api.inputs import ExposureQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.lamp_ask import LampAsk, understand_lamp
from noonframe.api.lamp_cautions import lamp_cautions
from noonframe.api.outputs import Evenness, ExposureAnswer
from noonframe.api.times import format_time
from noonframe.api.wording import say_clock, say_length
from noonframe.dose.course import Exposure
from noonframe.dose.scene import Target
from noonframe.settings import Settings

_UNEVEN_STOPS = 0.5
_WORTH_SAYING_S = 20.0


def answer_lamp_exposure(
    query: ExposureQuery, settings: Settings, now_s: float, spot: SpotBody | None
) -> ExposureAnswer:
    """The exposure under a lamp that a request asks for."""
    ask = understand_lamp(query, query.start, settings, spot)
    scene, zone = ask.scene, ask.where.zone
    target = find_target(query, scene.sensitizer)
    start_s = now_s if query.start is None else query.start.timestamp()
    spread = math.hypot(target.spread_stops, scene.light_spread_stops)
    exposure = scene.expose(start_s, target.target_j_m2, spread)
    objects = None
    if query.objects is not None:
        weight = scene.lamp.kind.boxes * scene.sensitizer.action
        objects = objects_of(query.objects, weight, settings.spectra_dir)
    return ExposureAnswer(
        start=format_time(start_s, zone),
        end=None if exposure.length_s is None else format_time(exposure.end_s, zone),
        length_s=_round(exposure.length_s),
        length_low_s=_round(exposure.low_s),
        length_high_s=_round(exposure.high_s),
        reached=exposure.reached,
        dose_share=round(exposure.dose_share, 5),
        target_j_m2=target.target_j_m2,
        target_spread_stops=target.spread_stops,
        target_source=target.source,
        light_end=None,
        if_sun_stays_s=None,
        if_cloud_covers_s=None,
        next_start=None,
        next_length_s=None,
        evenness=evenness_under(ask, exposure),
        objects=objects,
        moves=[],
        cautions=lamp_cautions(scene.lamp),
        basis=ask.basis,
        summary=_say(ask, exposure, target, now_s) + object_words(objects),
    )


def evenness_under(ask: LampAsk, exposure: Exposure) -> Evenness | None:
    """How unevenly the sheet is lit, where the lamp's geometry tells; its middle has the target."""
    sheet = ask.scene.lamp.output.sheet
    if sheet is None or not exposure.reached:
        return None
    return Evenness(lowest_stops=round(sheet.lowest_stops, 3), highest_stops=round(sheet.highest_stops, 3))


def _say(ask: LampAsk, exposure: Exposure, target: Target, now_s: float) -> str:
    """One speakable sentence."""
    scene, zone, length = ask.scene, ask.where.zone, exposure.length_s
    if length is None:
        share = min(max(round(exposure.dose_share * 100), 1), 99)
        some = f"only {share}" if exposure.dose_share >= 0.005 else "under 1"
        return f"A whole day of this lamp gives {some} per cent of the dose."
    begins = "" if abs(exposure.start_s - now_s) < 90 else f" from {say_clock(exposure.start_s, zone, now_s)}"
    end = say_clock(exposure.end_s, zone, exposure.start_s if begins else now_s)
    sheet = "" if scene.stack.materials else " a bare sheet"
    parts = [f"Expose{sheet} {say_length(length)} under the lamp{begins}, until {end}"]
    warming_s = length - length / 2.0 ** scene.warm_up_stops(length)
    if warming_s >= _WORTH_SAYING_S:
        parts.append(f"its warm-up takes {say_length(warming_s)} of that")
    lamp_sheet = scene.lamp.output.sheet
    if lamp_sheet is not None and -lamp_sheet.lowest_stops > _UNEVEN_STOPS:
        parts.append(f"the sheet's edges get up to {-lamp_sheet.lowest_stops:.1f} stops less than its middle")
    if target.source.startswith("prior") or scene.light_spread_stops > target.spread_stops:
        what = "the sheet's need" if target.source.startswith("prior") else "the lamp's light"
        low = "some minutes" if exposure.low_s is None else say_length(exposure.low_s)
        high = "more than a day" if exposure.high_s is None else say_length(exposure.high_s)
        parts.append(f"{what} is a guess, {low} to {high}, until a test strip narrows it")
    return "; ".join(parts) + "."


def _round(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 3)
