"""Strips and wedges planned under the light of a scene, and strips followed."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np

from noonframe.api.ask import Ask, find_target, understand
from noonframe.api.ask_objects import refuse_objects
from noonframe.api.bench_names import named
from noonframe.api.bench_wedge import wedge_of
from noonframe.api.inputs_bench import StripBody, StripFollowBody
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.lamp_ask import understand_lamp
from noonframe.api.lamp_strip import LampBench, lamp_strip_answer, lamp_wedge_answer
from noonframe.api.outputs_bench import Ladder, StripAnswer, StripFollowAnswer, StripItem, WedgeItem
from noonframe.api.outputs_runs import RunAnswer
from noonframe.api.routes.exposure import basis_under, cautions_for, look_ahead
from noonframe.api.times import format_time
from noonframe.api.weather import SkyAhead, WeatherDesk
from noonframe.api.wording import say_clock, say_length
from noonframe.bench.ladder import STEP_STOPS, DoseLadder, bracketing_ladder
from noonframe.bench.lamp_strips import follow_lamp_strip
from noonframe.bench.strips import HANDY_GAP_S, Cover, StripPlan, follow_strip, plan_strip
from noonframe.bench.wedges import StepWedge
from noonframe.bench.wording import dose_words, spread_words
from noonframe.dose.exposure import expose, next_chance
from noonframe.dose.lamp_scene import LampScene
from noonframe.dose.scene import Rate, Scene, Target
from noonframe.dose.skies_rates import expected_rate
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings

WEDGE_MARGIN_SPREADS = 2.0
"""So far above the median lies the dose under a wedge's clear step, as a strip's last one does."""

_GIVEN_STRIPS = 9
_LONGER_STEPS = (2 / 3, 0.75, 1.0, 1.5, 2.0)
_NAMES = {"median_j_m2": "target_j_m2", "spread_stops": "target_spread_stops"}
_STRIP_ONLY = ("first_j_m2", "step_stops", "strip_count")


@dataclass(frozen=True)
class _Light:
    """The light that a strip is planned under."""

    ask: Ask
    target: Target
    start_s: float
    rate: Rate
    spread_stops: float
    ahead: SkyAhead | None
    notes: tuple[str, ...]


def answer_strip(
    body: StripBody,
    settings: Settings,
    now_s: float,
    spot: SpotBody | None,
    weather: WeatherDesk | None = None,
) -> StripAnswer:
    """The strip or wedge a request asks for, as an answer."""
    refuse_objects(body)
    start_s = now_s if body.start is None else body.start.timestamp()
    if body.lamp is not None:
        return _under_lamp(body, settings, start_s, now_s, spot)
    ask = understand(body, dt.datetime.fromtimestamp(start_s, dt.UTC), settings, spot)
    target = find_target(body, ask.scene.sensitizer)
    ahead, notes = look_ahead(body, ask, weather, now_s, from_s=start_s, to_s=start_s)
    rate: Rate = ask.scene.rate
    spread = ask.scene.light_spread_stops
    if ahead is not None:
        rate = expected_rate(ask.scene, ahead.course)
        spread = math.hypot(ask.scene.cloudless_spread_stops, ahead.spread_stops_at(start_s))
    light = _Light(ask, target, start_s, rate, spread, ahead, notes)
    _check_kind(body)
    if body.kind == "wedge":
        return _wedge_answer(light, wedge_of(body.wedge), now_s)
    return _strip_answer(light, ladder_for(body, target), now_s)


def _check_kind(body: StripBody) -> None:
    """Raise where what belongs to a strip is said of a wedge, or the other way round."""
    if body.kind == "wedge":
        for name in _STRIP_ONLY:
            if getattr(body, name) is not None:
                raise OutOfDomain(name, getattr(body, name), "left out for a wedge")
    elif body.wedge is not None:
        raise OutOfDomain("wedge", "an object", "left out for a strip")


def _under_lamp(
    body: StripBody, settings: Settings, start_s: float, now_s: float, spot: SpotBody | None
) -> StripAnswer:
    ask = understand_lamp(body, body.start, settings, spot)
    target, zone = find_target(body, ask.scene.sensitizer), ask.where.zone
    bench = LampBench(ask, target, start_s, now_s)
    _check_kind(body)
    if body.kind == "wedge":
        wedge = wedge_of(body.wedge)
        dose = _wedge_dose(wedge, target)
        return lamp_wedge_answer(bench, dose, wedge.doses_j_m2(dose))

    def strips(plan: StripPlan) -> list[StripItem]:
        return [strip_item(cover, zone, target.target_j_m2, start_s) for cover in plan.covers]

    return lamp_strip_answer(bench, ladder_for(body, target), strips)


def _wedge_dose(wedge: StepWedge, target: Target) -> float:
    """The dose on a wedge: its clear step gets as far beyond the median as a strip's last one."""
    above = target.target_j_m2 * 2.0 ** (WEDGE_MARGIN_SPREADS * target.spread_stops)
    with named(_NAMES):
        return wedge.dose_for(1, above)


def ladder_for(body: StripBody, target: Target) -> DoseLadder:
    """The ladder a request gives, or the one that brackets what is believed of the target."""
    with named(_NAMES):
        if body.first_j_m2 is not None:
            return DoseLadder(
                body.first_j_m2, body.step_stops or STEP_STOPS, body.strip_count or _GIVEN_STRIPS
            )
        return bracketing_ladder(
            target.target_j_m2, target.spread_stops, step_stops=body.step_stops, count=body.strip_count
        )


def _strip_answer(light: _Light, ladder: DoseLadder, now_s: float) -> StripAnswer:
    plan = plan_strip(light.rate, light.start_s, ladder, light.spread_stops)
    zone, target = light.ask.where.zone, light.target
    last_j_m2 = ladder.totals_j_m2[-1]
    handier = None if plan.handy else _handier(light, ladder)
    strips = [strip_item(cover, zone, target.target_j_m2, light.start_s) for cover in plan.covers]
    advice = [
        "Put the whole sheet into the light; then cover strip after strip, from strip 1 on, and leave each "
        "covered.",
        "A cloud moves the times: follow the strip live, or write down when each cover was made.",
    ]
    if not plan.handy and plan.shortest_gap_s is not None:
        gap = f"{plan.shortest_gap_s:.1f} s"
        than = f"step_stops {handier:.3g}" if handier is not None else "weaker light, or a step wedge"
        advice.append(f"The covers come {gap} apart, too close for a hand: take {than}.")
    return _answer(
        light,
        now_s,
        last_j_m2,
        kind="strip",
        ladder=ladder,
        strips=strips,
        plan=plan,
        handier=handier,
        advice=advice,
    )


def _wedge_answer(light: _Light, wedge: StepWedge, now_s: float) -> StripAnswer:
    target = light.target
    dose = _wedge_dose(wedge, target)
    doses = wedge.doses_j_m2(dose)
    reached = [step for step, under in enumerate(doses, start=1) if under >= target.target_j_m2]
    steps = [
        WedgeItem(step=step, dose_j_m2=under, target_stops=round(math.log2(under / target.target_j_m2), 4))
        for step, under in enumerate(doses, start=1)
    ]
    advice = [
        "Lay the wedge on the sheet, under the glass, and expose once.",
        "After washing and drying, read the densest step under which the print is as dark as under the clear "
        "one, and the densest with any tone.",
    ]
    return _answer(
        light,
        now_s,
        dose,
        kind="wedge",
        steps=steps,
        expected_full_step=reached[-1] if reached else None,
        advice=advice,
    )


def _answer(
    light: _Light,
    now_s: float,
    dose_j_m2: float,
    *,
    kind: str,
    advice: list[str],
    ladder: DoseLadder | None = None,
    strips: Sequence[StripItem] = (),
    steps: Sequence[WedgeItem] = (),
    plan: StripPlan | None = None,
    handier: float | None = None,
    expected_full_step: int | None = None,
) -> StripAnswer:
    scene, zone, start_s = light.ask.scene, light.ask.where.zone, light.start_s
    exposure = expose(light.rate, start_s, dose_j_m2, light.spread_stops)
    length = exposure.length_s
    chance = None if exposure.reached else next_chance(scene.rate, exposure.looked_until_s, dose_j_m2)
    return StripAnswer(
        kind="wedge" if kind == "wedge" else "strip",
        start=format_time(start_s, zone),
        end=None if length is None else format_time(start_s + length, zone),
        length_s=None if length is None else round(length, 3),
        complete=exposure.reached,
        dose_j_m2=dose_j_m2,
        ladder=None if ladder is None else ladder_item(ladder),
        strips=list(strips),
        steps=list(steps),
        expected_full_step=expected_full_step,
        handy=plan is None or plan.handy,
        handy_gap_s=HANDY_GAP_S,
        shortest_gap_s=None if plan is None else _round(plan.shortest_gap_s),
        handier_step_stops=handier,
        next_start=None if chance is None else format_time(chance.start_s, zone),
        next_length_s=None if chance is None else round(chance.length_s, 3),
        target_j_m2=light.target.target_j_m2,
        target_spread_stops=light.target.spread_stops,
        target_source=light.target.source,
        advice=advice,
        cautions=cautions_for(scene, exposure),
        basis=basis_under(light.ask, light.ahead, start_s, light.notes),
        summary=_summary(light, plan, dose_j_m2, length, now_s),
    )


def _summary(
    light: _Light,
    plan: StripPlan | None,
    dose_j_m2: float,
    length_s: float | None,
    now_s: float,
) -> str:
    if length_s is None:
        reached = 0 if plan is None else sum(cover.at_s is not None for cover in plan.covers)
        what = "The wedge does not get its dose" if plan is None else f"Only {reached} strips get their dose"
        return f"{what} before the light goes."
    begin = say_clock(light.start_s, light.ask.where.zone, now_s)
    if plan is None:
        return f"Expose the wedge from {begin} for {say_length(length_s)}, to {dose_words(dose_j_m2)} on it."
    ladder, first_s = plan.ladder, plan.covers[0].at_s
    first = "" if first_s is None else say_length(first_s - light.start_s)
    return (
        f"{ladder.count} strips, {spread_words(ladder.step_stops)} apart, from "
        f"{dose_words(ladder.totals_j_m2[0])} to {dose_words(dose_j_m2)}: begin at {begin}, cover the first "
        f"after {first}, the last after {say_length(length_s)}."
    )


def _handier(light: _Light, ladder: DoseLadder) -> float | None:
    """The shortest of the usual longer steps, over the same span or a little more, that a hand can follow."""
    for step in _LONGER_STEPS:
        if step <= ladder.step_stops:
            continue
        count = max(math.ceil(ladder.span_stops / step - 1e-9), 1) + 1
        longer = DoseLadder(ladder.first_j_m2, step, count)
        if plan_strip(light.rate, light.start_s, longer, light.spread_stops).handy:
            return round(step, 4)
    return None


def answer_follow(
    body: StripFollowBody, run: RunAnswer, scene: Scene | LampScene, zone: dt.tzinfo
) -> StripFollowAnswer:
    """The strips still to be covered in a run; the light ahead stays as now, but for the sun's course."""
    with named():
        ladder = DoseLadder(body.first_j_m2, body.step_stops, body.strip_count)
    now_s = dt.datetime.fromisoformat(run.at).timestamp()
    if isinstance(scene, LampScene):
        progress = follow_lamp_strip(scene, now_s, ladder, run.dose_j_m2, covered=body.covered)
    else:
        rate = _as_now(scene, now_s, run.effective_w_m2)
        progress = follow_strip(rate, now_s, ladder, run.dose_j_m2, covered=body.covered)
    lit = run.status == "running"
    strips = [strip_item(cover, zone, None, now_s) for cover in progress.covers]
    if not lit:
        strips = [
            strip.model_copy(
                update=dict.fromkeys(("cover_at", "cover_low", "cover_high", "after_s", "gap_s"))
            )
            for strip in strips
        ]
    following = progress.next_cover
    wait_s = progress.wait_s if lit else None
    return StripFollowAnswer(
        run_id=str(UUID(run.id)),
        status=run.status,
        at=run.at,
        dose_j_m2=run.dose_j_m2,
        covered=body.covered,
        overdue=list(progress.overdue),
        strips=strips,
        next_strip=None if following is None else following.strip,
        wait_s=_round(wait_s),
        advice=_next_words(progress.overdue, following, wait_s, run.status),
    )


def _as_now(scene: Scene, now_s: float, effective_w_m2: float) -> Rate:
    here = float(scene.rate(np.array([now_s]))[0])
    factor = effective_w_m2 / here if here > 0.0 and effective_w_m2 > 0.0 else 1.0
    return lambda unix_s: factor * scene.rate(unix_s)


def _next_words(overdue: Sequence[int], following: Cover | None, wait_s: float | None, status: str) -> str:
    if overdue:
        which = f"strip {overdue[0]}" if len(overdue) == 1 else f"strips {overdue[0]} to {overdue[-1]}"
        return f"Cover {which} now, and note the time: the dose is passed."
    if following is None:
        return "Every strip has its dose: take the sheet out of the light."
    if status == "covered":
        return f"The frame is covered; strip {following.strip} comes next once it is back in the light."
    if status in ("finished", "discarded"):
        return f"The exposure has ended before strip {following.strip} had its dose."
    if wait_s is None:
        return f"The light goes before strip {following.strip} has its dose."
    return f"Cover strip {following.strip} in {say_length(wait_s)}."


def strip_item(cover: Cover, zone: dt.tzinfo, target_j_m2: float | None, start_s: float) -> StripItem:
    """A cover as it is told."""

    def when(unix_s: float | None) -> str | None:
        return None if unix_s is None else format_time(unix_s, zone)

    return StripItem(
        strip=cover.strip,
        total_j_m2=cover.total_j_m2,
        added_j_m2=cover.added_j_m2,
        target_stops=None if target_j_m2 is None else round(math.log2(cover.total_j_m2 / target_j_m2), 4),
        cover_at=when(cover.at_s),
        cover_low=when(cover.early_s),
        cover_high=when(cover.late_s),
        after_s=None if cover.at_s is None else round(cover.at_s - start_s, 3),
        gap_s=_round(cover.gap_s),
    )


def ladder_item(ladder: DoseLadder) -> Ladder:
    """A ladder as it is told."""
    return Ladder(first_j_m2=ladder.first_j_m2, step_stops=ladder.step_stops, strip_count=ladder.count)


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
