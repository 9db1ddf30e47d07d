"""A strip or a wedge under a lamp, planned."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from noonframe.api.lamp_ask import LampAsk
from noonframe.api.lamp_cautions import lamp_cautions
from noonframe.api.outputs_bench import Ladder, StripAnswer, StripItem, WedgeItem
from noonframe.api.times import format_time
from noonframe.api.wording import say_clock, say_length
from noonframe.bench.ladder import DoseLadder
from noonframe.bench.lamp_strips import plan_lamp_strip
from noonframe.bench.strips import HANDY_GAP_S, StripPlan
from noonframe.bench.wording import dose_words, spread_words
from noonframe.dose.scene import Target

ShapeStrips = Callable[[StripPlan], list[StripItem]]
_LONGER_STEPS = (2 / 3, 0.75, 1.0, 1.5, 2.0)
_STRIP_ADVICE = [
    "Put the whole sheet under the lamp; then cover strip after strip, from strip 1 on, and leave each "
    "covered.",
    "Reach in with the lamp off, or with glasses and gloves on; a lamp that was off is weaker at first.",
]
_WEDGE_ADVICE = [
    "Lay the wedge on the sheet, under the glass, and expose once.",
    "After washing and drying, read the densest step under which the print is as dark as under the clear "
    "one, and the densest with any tone.",
]


@dataclass(frozen=True)
class LampBench:
    """The lamp that a strip is planned under, what is believed of the target, and when it begins."""

    ask: LampAsk
    target: Target
    start_s: float
    now_s: float


def lamp_strip_answer(bench: LampBench, ladder: DoseLadder, strips: ShapeStrips) -> StripAnswer:
    """A ladder planned under a lamp; `strips` puts the plan's covers into the answer's words."""
    ask, start_s = bench.ask, bench.start_s
    plan = plan_lamp_strip(ask.scene, start_s, ladder)
    advice = list(_STRIP_ADVICE)
    handier = None if plan.handy else _handier(ask, ladder, start_s)
    if not plan.handy and plan.shortest_gap_s is not None:
        than = f"step_stops {handier:.3g}" if handier is not None else "more distance, or a step wedge"
        advice.append(
            f"The covers come {plan.shortest_gap_s:.1f} s apart, too close for a hand: take {than}."
        )
    dose_j_m2 = ladder.totals_j_m2[-1]
    return _answer(bench, dose_j_m2, advice, plan=plan, strips=strips(plan), handier=handier)


def lamp_wedge_answer(bench: LampBench, dose_j_m2: float, doses_j_m2: Sequence[float]) -> StripAnswer:
    """A wedge exposed once under a lamp, `doses_j_m2` under its steps."""
    target = bench.target
    steps = [
        WedgeItem(step=step, dose_j_m2=under, target_stops=round(math.log2(under / target.target_j_m2), 4))
        for step, under in enumerate(doses_j_m2, start=1)
    ]
    return _answer(bench, dose_j_m2, list(_WEDGE_ADVICE), steps=steps)


def _answer(
    bench: LampBench,
    dose_j_m2: float,
    advice: list[str],
    *,
    plan: StripPlan | None = None,
    strips: list[StripItem] | None = None,
    steps: list[WedgeItem] | None = None,
    handier: float | None = None,
) -> StripAnswer:
    ask, target, start_s = bench.ask, bench.target, bench.start_s
    scene, zone = ask.scene, ask.where.zone
    length = scene.expose(start_s, dose_j_m2, scene.light_spread_stops).length_s
    reached = [item.step for item in steps or () if item.dose_j_m2 >= target.target_j_m2]
    ladder = None if plan is None else plan.ladder
    gap_s = None if plan is None else plan.shortest_gap_s
    return StripAnswer(
        kind="wedge" if plan is None else "strip",
        start=format_time(start_s, zone),
        end=None if length is None else format_time(start_s + length, zone),
        length_s=None if length is None else round(length, 3),
        complete=length is not None,
        dose_j_m2=dose_j_m2,
        ladder=None
        if ladder is None
        else Ladder(first_j_m2=ladder.first_j_m2, step_stops=ladder.step_stops, strip_count=ladder.count),
        strips=strips or [],
        steps=steps or [],
        expected_full_step=reached[-1] if reached else None,
        handy=plan is None or plan.handy,
        handy_gap_s=HANDY_GAP_S,
        shortest_gap_s=None if gap_s is None else round(gap_s, 3),
        handier_step_stops=handier,
        next_start=None,
        next_length_s=None,
        target_j_m2=target.target_j_m2,
        target_spread_stops=target.spread_stops,
        target_source=target.source,
        advice=advice,
        cautions=lamp_cautions(scene.lamp),
        basis=ask.basis,
        summary=_summary(bench, plan, dose_j_m2, length),
    )


def _summary(bench: LampBench, plan: StripPlan | None, dose_j_m2: float, length_s: float | None) -> str:
    if length_s is None:
        return "A whole day of this lamp is not enough for the last strip, or for the wedge."
    begin = say_clock(bench.start_s, bench.ask.where.zone, bench.now_s)
    if plan is None:
        said = f"Expose the wedge under the lamp from {begin} for {say_length(length_s)}"
        return f"{said}, to {dose_words(dose_j_m2)} on it."
    ladder, first_s = plan.ladder, plan.covers[0].at_s
    first = "" if first_s is None else say_length(first_s - bench.start_s)
    return (
        f"{ladder.count} strips, {spread_words(ladder.step_stops)} apart, from "
        f"{dose_words(ladder.totals_j_m2[0])} to {dose_words(dose_j_m2)}: begin at {begin}, cover the first "
        f"after {first}, the last after {say_length(length_s)}."
    )


def _handier(ask: LampAsk, ladder: DoseLadder, start_s: float) -> float | None:
    for step in _LONGER_STEPS:
        if step <= ladder.step_stops:
            continue
        count = max(math.ceil(ladder.span_stops / step - 1e-9), 1) + 1
        longer = DoseLadder(ladder.first_j_m2, step, count)
        if plan_lamp_strip(ask.scene, start_s, longer).handy:
            return round(step, 4)
    return None
