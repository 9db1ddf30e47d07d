"""Exposures during which the frame is moved, as chances of a session.

For a start every so often the dose room plans the moves, from that start on and for the sheet's own target;
the session then books the hands for them.  Other starts are not looked at with moves: the plan is exact among
those that are.  Under a forecast the moves are planned for its mean cloud.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from noonframe.bench.session import Chances
from noonframe.bench.session_light import SpotLight, chance_of, unsteady_s
from noonframe.dose.course import Course
from noonframe.dose.moves import Candidate, MovePlan, plan_moves
from noonframe.dose.plan import LONGEST_PLAN_S, PlaceChoice, candidate_rates
from noonframe.dose.scene import Scene, Target
from noonframe.sky.words import CloudPart
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.spot.plane import OpenSpot
from noonframe.types import FloatArray

STEP_S = 60.0
PLAN_EVERY_S = 900.0
MOST_PLANS = 60
Spot = OpenSpot | WindowSpot
_DIM_W_M2 = 1e-9
"""Keeps a carry from counting as the end of the light."""
_WORK = 3_000_000
"""For one plan, in the planner's units: about 30 ms.  A plan cut short there is still kept to."""


@dataclass(frozen=True)
class MoveAsk:
    """How a frame may be moved: seconds for each move, the most moves, and how even the sheet must be."""

    move_s: float
    most_moves: int
    evenness_stops: float | None


@dataclass(frozen=True, eq=False)
class MovedExposure:
    """An exposure with its moves: the plan, the places it chooses from and the course of light along it."""

    plan: MovePlan
    choices: Sequence[PlaceChoice]
    course: Course
    start_s: float
    end_s: float
    spread_stops: float

    def chance(self, by_s: float, target: Target) -> float:
        """The chance that the dose is there by an instant, where the frame stays at the last place."""
        dose = float(np.interp(by_s, self.course.time_s, self.course.dose_j_m2))
        return chance_of(dose, target.target_j_m2, self.spread_stops)

    @property
    def moves_s(self) -> tuple[float, ...]:
        """Unix seconds at which the frame is moved."""
        return tuple(self.start_s + move.time_s for move in self.plan.moves)


class MovedLight:
    """The light of a spot at every place that its frame may have."""

    def __init__(self, light: SpotLight, choices: Sequence[PlaceChoice], ask: MoveAsk) -> None:
        self._light, self._choices, self._ask = light, tuple(choices), ask
        scene = light.scene
        self._weights = sheet_view(scene.spot).weights if isinstance(scene.spot, WindowSpot) else np.ones(1)
        self._rates = self._all_rates(scene)

    def _all_rates(self, scene: Scene) -> FloatArray:
        """Rates (n_choice, n_time, n_point) under the likely sky."""
        light = self._light
        time_s, course = light.time_s, light.course
        if course is None:
            rates = candidate_rates(scene, self._choices, time_s)
        else:
            piece = course.piece_of(np.clip(time_s, course.from_s, course.to_s))
            cover, depth = course.cover[piece], course.optical_depth[piece]
            mean = float(np.average(depth, weights=cover)) if cover.any() else 0.0
            clear = candidate_rates(scene.sun_out, self._choices, time_s)
            closed = candidate_rates(scene.under(CloudPart(1.0, mean)), self._choices, time_s)
            share = cover[None, :, None]
            rates = (1.0 - share) * clear + share * closed
        for told in light.told:
            during = (time_s >= told.from_s) & (time_s < told.until_s)
            if during.any():
                rates[:, during] = candidate_rates(scene.under(*told.cloud), self._choices, time_s[during])
        return rates

    def at(self, start_s: float, target: Target) -> MovedExposure | None:
        """The exposure from a start on a minute of the light; None when it is not done, or not evenly."""
        time_s = self._light.time_s
        first = round((start_s - float(time_s[0])) / STEP_S)
        last = min(first + round(LONGEST_PLAN_S / STEP_S) + 1, time_s.size)
        rates = self._rates[:, first:last]
        means = rates @ self._weights
        most = np.concatenate([[0.0], np.cumsum(means.max(axis=0)) * STEP_S])
        if last - first < 3 or most[-1] < target.target_j_m2:
            return None
        # Twice the time that the best place of every minute needs is looked at; the rest would be slow light.
        needed = int(np.searchsorted(most, target.target_j_m2))
        reach = min(max(2 * needed + 30, 60), last - first)
        plan = plan_moves(
            time_s[first : first + reach] - time_s[first],
            rates[:, :reach],
            target.target_j_m2,
            move_cost_s=self._ask.move_s,
            max_moves=self._ask.most_moves,
            tolerance_stops=self._ask.evenness_stops,
            start_index=None,
            weights=self._weights,
            candidates=[Candidate(index, choice.says) for index, choice in enumerate(self._choices)],
            work_limit=_WORK,
        )
        if plan.outcome != "reached" or plan.length_s is None:
            return None
        course = self._course(plan, first)
        spread = self._light.spread_stops(target)
        if self._light.course is not None:
            told = float(np.mean(self._light.course.spread_stops))
            spread = math.hypot(target.spread_stops, self._light.scene.cloudless_spread_stops, told)
        return MovedExposure(plan, self._choices, course, start_s, start_s + plan.length_s, spread)

    def _course(self, plan: MovePlan, first: int) -> Course:
        """The mean rate along a plan, nothing while the frame is carried, to the step."""
        time_s = self._light.time_s[first:]
        since_s = time_s - time_s[0]
        place = np.full(time_s.size, plan.start_index)
        carried = np.zeros(time_s.size, dtype=np.bool_)
        for move in plan.moves:
            place[since_s >= move.time_s] = move.to_index
            carried |= (since_s >= move.time_s) & (since_s < move.time_s + self._ask.move_s)
        rates = (self._rates[:, first:] @ self._weights)[place, np.arange(time_s.size)]
        return Course.of(time_s, np.where(carried, _DIM_W_M2, rates))


def moving(
    moved: MovedLight, spot: str, target: Target, start_s: FloatArray
) -> tuple[Chances, Mapping[int, MovedExposure]]:
    """The exposures of a sheet whose frame is moved, for starts on minutes of the light."""
    ends, costs = np.full(start_s.size, math.nan), np.zeros(start_s.size)
    found: dict[int, MovedExposure] = {}
    for index, each in enumerate(start_s.tolist()):
        exposure = moved.at(each, target)
        if exposure is not None:
            found[index] = exposure
            ends[index] = exposure.end_s
            costs[index] = unsteady_s(steadiness_along(exposure), exposure.end_s - exposure.start_s)
    moves_s = {index: exposure.moves_s for index, exposure in found.items() if exposure.plan.moves}
    return Chances(spot, start_s, ends, costs, moves_s), found


def steadiness_along(exposure: MovedExposure) -> float:
    """Lowest light over highest along the plan, its carries left out."""
    course = exposure.course
    during = course.rate_w_m2[(course.time_s >= exposure.start_s) & (course.time_s <= exposure.end_s)]
    lit = during[during > _DIM_W_M2]
    return float(lit.min() / lit.max()) if lit.size else 0.0


def course_along(light: SpotLight, stages: Sequence[tuple[float, Spot]], move_s: float) -> Course:
    """The likely light of a frame at each spot of `stages` from its unix second on; none while carried."""
    time_s = light.time_s
    rates = np.zeros(time_s.size)
    for number, (from_s, spot) in enumerate(stages):
        during = time_s >= (from_s if number else -math.inf)
        placed = replace(light, scene=replace(light.scene, spot=spot))
        rates[during] = placed.expected.rate_w_m2[during]
    for from_s, _ in stages[1:]:
        rates[(time_s >= from_s) & (time_s < from_s + move_s)] = _DIM_W_M2
    return Course.of(time_s, rates)
