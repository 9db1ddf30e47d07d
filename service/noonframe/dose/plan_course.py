"""The light along a plan of moves, as one course that an exposure can be read from."""

import math
from dataclasses import replace

import numpy as np

from noonframe.dose.course import Course, Exposure
from noonframe.dose.plan import ScenePlan, candidate_rates
from noonframe.dose.scene import Scene
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.spot.plane import OpenSpot
from noonframe.spot.shadow import EdgeBlur, edge_blur
from noonframe.types import FloatArray

_STEP_S = 60.0
_JUMP_S = 1e-3
_DIM_W_M2 = 1e-9
"""Keeps a carry, or a night before the plan's end, from counting as the end of the light."""
_LONGEST_S = 16 * 3600.0
"""How far the last stage is followed: twice the longest plan, for the slow end of the range."""


def _stages(found: ScenePlan, move_cost_s: float) -> list[tuple[int, float, float]]:
    """Place and the first and last second (from the start) of each lit stage of a plan."""
    stages, place, begins = [], found.plan.start_index, 0.0
    for move in found.plan.moves:
        stages.append((place, begins, move.time_s))
        place, begins = move.to_index, move.time_s + move_cost_s
    done = found.plan.length_s is not None
    stages.append((place, begins, _LONGEST_S if done else found.looked_until_s - found.start_s))
    return [stage for stage in stages if stage[2] > stage[1]]


def plan_course(scene: Scene, found: ScenePlan, move_cost_s: float) -> Course:
    """The mean rate of dose along the plan: nothing while the frame is carried."""
    weights = sheet_view(scene.spot).weights if isinstance(scene.spot, WindowSpot) else np.ones(1)
    times, rates = [np.array([found.start_s])], [np.zeros(1)]
    for place, begins, ends in _stages(found, move_cost_s):
        steps = np.arange(begins, ends, _STEP_S)
        lit_s = found.start_s + np.unique(np.append(steps, ends))
        rate = candidate_rates(scene, (found.choices[place],), lit_s)[0] @ weights
        lit_s = lit_s + np.where(np.arange(lit_s.size) == 0, _JUMP_S, 0.0)
        times += [np.array([lit_s[0] - _JUMP_S / 2.0]), lit_s, np.array([lit_s[-1] + _JUMP_S / 2.0])]
        rates += [np.full(1, _DIM_W_M2), rate, np.full(1, _DIM_W_M2)]
    time_s, rate_w_m2 = np.concatenate(times), np.concatenate(rates)
    before_end = time_s <= found.start_s + (found.plan.length_s or 0.0)
    rate_w_m2 = np.where(before_end, np.maximum(rate_w_m2, _DIM_W_M2), rate_w_m2)
    kept = np.concatenate([[True], np.diff(time_s) > 0.0])
    return Course.of(time_s[kept], rate_w_m2[kept])


def expose_along(
    scene: Scene, found: ScenePlan, move_cost_s: float, target_j_m2: float, spread_stops: float
) -> Exposure:
    """The exposure along a plan, with its 10-90 % range; stretched where evenness asks for longer."""
    exposure = plan_course(scene, found, move_cost_s).expose(found.start_s, target_j_m2, spread_stops)
    length = found.plan.length_s
    if length is None or found.plan.outcome == "out_of_light":
        return exposure
    stretch = 1.0 if exposure.length_s is None else length / exposure.length_s
    return Exposure(
        start_s=exposure.start_s,
        length_s=length,
        low_s=None if exposure.low_s is None else exposure.low_s * stretch,
        high_s=None if exposure.high_s is None else exposure.high_s * stretch,
        dose_share=1.0,
        looked_until_s=exposure.looked_until_s,
        dark_then=exposure.dark_then,
    )


def edge_along(
    scene: Scene, found: ScenePlan, move_cost_s: float, end_s: float, object_height_mm: float
) -> EdgeBlur | None:
    """Blur of an object's edge over a plan on a level sheet; None without beam or on a tilted one."""
    spots = [found.choices[place].spot for place, _, _ in _stages(found, move_cost_s)]
    tilts = {spot.frame.tilt_deg if isinstance(spot, WindowSpot) else spot.aim.tilt_deg for spot in spots}
    if tilts != {0.0}:
        return None
    vectors, beams, rests = [], [], []
    for place, begins, ends in _stages(found, move_cost_s):
        last = min(found.start_s + ends, end_s)
        if last <= found.start_s + begins:
            continue
        count = max(math.ceil((last - found.start_s - begins) / _STEP_S), 2)
        time_s = np.linspace(found.start_s + begins, last, count)
        whole, sky = _shares(scene, found.choices[place].spot, time_s)
        vectors.append(scene.track(time_s).apparent_vector)
        step = (time_s[1] - time_s[0]) * np.ones(count)
        beams.append((whole - sky) * step)
        rests.append(sky * step)
    return edge_blur(np.concatenate(vectors), np.concatenate(beams), np.concatenate(rests), object_height_mm)


def _shares(scene: Scene, spot: OpenSpot | WindowSpot, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """UVA on the sheet (n,), and the part of it that is not the sun's disc."""
    light = replace(scene, spot=spot).light(time_s)
    return light.uva_w_m2, light.uva_diffuse_w_m2
