"""When and where to move a sheet during an exposure so that it is done soonest and evenly.

Definition of done.  A sheet is done at the first moment at which its weighted mean dose has reached the
target D *and* its lowest point has reached D*2**-tolerance; the plan is even if its highest point is then
at most D*2**tolerance.  Doses never fall, so both parts of "done" are single crossings, and a plan whose
highest point is over the limit at that moment can never be even later.  One number, the finish time,
therefore orders all even plans, and it is computed exactly: never rounded to a step.

Exact on its grid: positions are the candidates given, a move leaves at a step boundary (at most one per
boundary, and not before the sheet has arrived from the last one), rates are linear in between, and the
sheet gets no light on the way.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from noonframe.dose.moves_grid import MoveProblem, Plan, as_arrays, evaluate, follow
from noonframe.dose.moves_search import Solution, solve
from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

MAX_MOVES = 12
MINIMUM_GAIN_S = 60.0
MINIMUM_GAIN_SHARE = 0.05
"""Moving has to save a minute or 5 % of the exposure, whichever is more.  Our choice, no source."""
MINIMUM_EVENNESS_GAIN_STOPS = 0.1
"""When no plan is even: the smallest cut in unevenness worth another move.  Our choice, no source."""
WORK_LIMIT = 70_000_000
"""When the search gives up its proof: about 0.7 s on one core of 2.5 GHz, in units of ten nanoseconds."""
_SAME_S = 1e-6

Outcome = Literal["reached", "uneven", "out_of_light"]


@dataclass(frozen=True)
class Candidate:
    """A position or aim the frame can have: its row in the rates, and words for it."""

    index: int
    label: str


@dataclass(frozen=True)
class Evenness:
    """Lowest and highest dose of a sheet in stops from the target; -inf for a point that got no light."""

    low_stops: float
    high_stops: float

    @property
    def spread_stops(self) -> float:
        """Highest less lowest."""
        return self.high_stops - self.low_stops if math.isfinite(self.high_stops) else 0.0


@dataclass(frozen=True)
class PlannedMove:
    """One move, and how much later the plan would finish with this move left out and the others kept.

    `saves_s` is None when the sheet would then not be done, or not evenly; or when it is not done with the
    move either.
    """

    time_s: float
    from_index: int
    to_index: int
    saves_s: float | None


@dataclass(frozen=True)
class MovePlan:
    """The plan chosen, and what else was possible.  Times are on the axis of the `time_s` given.

    outcome          "reached"; "uneven": the mean gets to the target but no plan found keeps every point
                     within tolerance, so this is the most even plan found, ended when its mean is reached;
                     "out_of_light": the mean cannot be reached by the end of `time_s`, so this is the plan
                     that gets furthest by then
    moves            empty when staying put is the answer
    finish_s         end of the exposure; None when out of light
    dose_*_j_m2      at the end, weighted mean, lowest and highest point, and each point
    low_stops, high_stops   lowest and highest point against the target
    share            mean dose at the end / target
    stay_finish_s    finish without any move from `start_index`, or from the best start when none is given;
                     None: never
    best_stay_index, best_stay_finish_s   the best position to stay in, over all candidates
    best_finish_s    earliest finish found with moves allowed; earlier than `finish_s` when the gain was not
                     worth a move
    mean_finish_s    earliest time the mean alone can be reached, evenness left aside
    proven           `best_finish_s` (or that no plan is even, or reaches the target) is proven for all
                     plans on the grid
    bound_s          no even plan finishes earlier; None when it is proven that none exists
    minimum_gain_s   what the moves had to save in this case
    """

    outcome: Outcome
    moves: tuple[PlannedMove, ...]
    start_index: int
    finish_s: float | None
    length_s: float | None
    dose_mean_j_m2: float
    dose_low_j_m2: float
    dose_high_j_m2: float
    dose_j_m2: tuple[float, ...]
    low_stops: float
    high_stops: float
    share: float
    stay_finish_s: float | None
    best_stay_index: int | None
    best_stay_finish_s: float | None
    best_finish_s: float | None
    mean_finish_s: float | None
    proven: bool
    bound_s: float | None
    minimum_gain_s: float
    advice: str


def evenness_stops(dose_j_m2: npt.ArrayLike, target_j_m2: float) -> Evenness:
    """Lowest and highest of the doses (P,) as log2(dose/target); domain: doses >= 0, target > 0."""
    dose = _finite("dose_j_m2", dose_j_m2, 1)
    _positive("target_j_m2", target_j_m2)
    low, high = float(dose.min()), float(dose.max())
    return Evenness(*(math.log2(d / target_j_m2) if d > 0 else -math.inf for d in (low, high)))


def plan_moves(
    time_s: npt.ArrayLike,
    rate_w_m2: npt.ArrayLike,
    target_j_m2: float,
    *,
    move_cost_s: npt.ArrayLike,
    max_moves: int,
    tolerance_stops: float | None = None,
    start_index: int | None = None,
    weights: npt.ArrayLike | None = None,
    minimum_gain_s: float = MINIMUM_GAIN_S,
    minimum_gain_share: float = MINIMUM_GAIN_SHARE,
    candidates: Sequence[Candidate] = (),
    work_limit: int = WORK_LIMIT,
) -> MovePlan:
    """The plan of at most `max_moves` moves that finishes soonest with every point within tolerance.

    time_s           (N+1,) increasing step boundaries [s]; any origin
    rate_w_m2        (K, N+1, P) effective irradiance at each candidate, boundary and sample point, >= 0,
                     linear between
    move_cost_s      seconds without light per move: one number, or (K, K) from row to column (the diagonal
                     is not used)
    tolerance_stops  evenness asked for; None leaves evenness aside (always met with one point)
    start_index      where the sheet lies first; None: anywhere, chosen with the moves
    weights          (P,) share of the sheet each point stands for, in any unit; a point of weight 0 is
                     still held to the tolerance; None: equal

    Staying put is the answer unless moving saves at least max(`minimum_gain_s`, `minimum_gain_share` times
    the length without moves); nor is a further move added for less than that.  With both 0 the plan is the
    earliest possible.  Ties go to fewer moves, then to the earlier departure and the lower index.

    Without a tolerance, or when the fastest plan for the mean is even anyway, the plan is exact and
    `proven`.  Otherwise branch and bound runs until it is, or to `work_limit`, when `proven` is False and
    `bound_s` tells how much could be left.  Raises `OutOfDomain` naming the field.
    """
    problem = _problem(
        time_s, rate_w_m2, target_j_m2, move_cost_s=move_cost_s, tolerance_stops=tolerance_stops,
        start_index=start_index, weights=weights,
    )  # fmt: skip
    if isinstance(max_moves, bool) or not isinstance(max_moves, int) or not 0 <= max_moves <= MAX_MOVES:
        raise OutOfDomain("max_moves", max_moves, f"a whole number from 0 to {MAX_MOVES}")
    if not (math.isfinite(minimum_gain_s) and minimum_gain_s >= 0):
        raise OutOfDomain("minimum_gain_s", minimum_gain_s, "finite and 0 or more")
    if not 0 <= minimum_gain_share <= 1:
        raise OutOfDomain("minimum_gain_share", minimum_gain_share, "between 0 and 1")
    if work_limit < 0:
        raise OutOfDomain("work_limit", work_limit, "0 or more")
    for candidate in candidates:
        if not 0 <= candidate.index < problem.positions:
            raise OutOfDomain("candidates", candidate.index, f"indices from 0 to {problem.positions - 1}")
    solution = solve(problem, max_moves, work_limit)
    return _chosen(problem, solution, minimum_gain_s, minimum_gain_share,
                   {c.index: c.label for c in candidates})  # fmt: skip


def _problem(
    time_s: npt.ArrayLike,
    rate_w_m2: npt.ArrayLike,
    target_j_m2: float,
    *,
    move_cost_s: npt.ArrayLike,
    tolerance_stops: float | None,
    start_index: int | None,
    weights: npt.ArrayLike | None,
) -> MoveProblem:
    time = np.asarray(time_s, dtype=np.float64)
    if time.ndim != 1 or time.size < 2 or not np.isfinite(time).all() or (np.diff(time) <= 0).any():
        raise OutOfDomain("time_s", f"shape {time.shape}", "at least two finite, increasing times")
    rate = _finite("rate_w_m2", rate_w_m2, 3)
    positions, boundaries, points = rate.shape
    if boundaries != len(time):
        raise OutOfDomain(
            "rate_w_m2", f"shape {rate.shape}", f"(positions, {len(time)}, points), as in time_s"
        )
    _positive("target_j_m2", target_j_m2)
    cost = _finite("move_cost_s", move_cost_s, None)
    if cost.shape not in {(), (positions, positions)}:
        raise OutOfDomain("move_cost_s", f"shape {cost.shape}", f"one number or ({positions}, {positions})")
    if cost.ndim:
        off = cost[~np.eye(positions, dtype=np.bool_)]
        cost = off[:1] if off.size == 0 or np.all(off == off[0]) else cost
    if tolerance_stops is not None and not (math.isfinite(tolerance_stops) and tolerance_stops >= 0):
        raise OutOfDomain("tolerance_stops", tolerance_stops, "finite and 0 or more, or none")
    if start_index is not None and not 0 <= start_index < positions:
        raise OutOfDomain("start_index", start_index, f"from 0 to {positions - 1}, or none")
    share = np.ones(points) if weights is None else _finite("weights", weights, 1)
    if share.shape != (points,) or share.sum() <= 0:
        raise OutOfDomain("weights", f"shape {share.shape}", f"({points},) with a sum above 0")
    rate = np.ascontiguousarray(np.moveaxis(rate, 0, 1))
    dose = np.zeros_like(rate)
    gained = dose[1:]
    np.add(rate[:-1], rate[1:], out=gained)
    gained *= 0.5 * np.diff(time)[:, None, None]
    np.cumsum(gained, axis=0, out=gained)
    even = tolerance_stops is not None and points > 1
    factor = 2.0 ** (tolerance_stops or 0.0) if even else math.inf
    target = float(target_j_m2)
    return MoveProblem(
        time, rate, dose, share / share.sum(), target, target / factor, target * factor, even,
        cost if cost.ndim == 2 else np.full((1, 1), float(cost.max(initial=0.0))),
        np.arange(positions) if start_index is None else np.array([start_index], dtype=np.int64),
    )  # fmt: skip


def _finite(name: str, values: npt.ArrayLike, dimensions: int | None) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if (dimensions is not None and array.ndim != dimensions) or array.size == 0:
        raise OutOfDomain(name, f"shape {array.shape}", f"a filled array of {dimensions or 'any'} dimensions")
    if not (array.min() >= 0.0 and array.max() < math.inf):  # a NaN fails both
        bad = ~(np.isfinite(array) & (array >= 0))
        where = tuple(int(i) for i in np.argwhere(bad)[0])
        raise OutOfDomain(name, f"{array[where]} at {where}", "finite and 0 or more")
    return array


def _positive(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise OutOfDomain(name, value, "finite and above 0")


def _chosen(problem: MoveProblem, solution: Solution, gain_s: float, gain_share: float,
            labels: dict[int, str]) -> MovePlan:  # fmt: skip
    p, answers, start_s = problem, solution.answers, float(problem.time_s[0])
    finishes = [a.finish_s for a in answers]
    best, stay = finishes[-1], finishes[0]
    outcome: Outcome = "reached"
    gain = max(gain_s, gain_share * (stay - start_s if math.isfinite(stay) else 0.0))
    if math.isfinite(best):
        if not math.isfinite(stay):
            gain = max(gain_s, gain_share * (best - start_s))
        chosen = next(
            m for m, f in enumerate(finishes) if _near(f - best, gain) and (m == 0 or stay - f >= gain)
        )
        plan, end = answers[chosen].plan, finishes[chosen]
    elif math.isfinite(solution.mean_s):
        outcome = "uneven"
        enough = min(a.least.miss_stops for a in answers) + MINIMUM_EVENNESS_GAIN_STOPS
        least = next(a.least for a in answers if a.least.miss_stops <= enough)
        plan, end = least.plan, least.mean_s
    else:
        outcome = "out_of_light"
        end = float(p.time_s[-1])
        shares = [_doses(p, a.plan, end) @ p.weights / p.target for a in answers]
        plan = next(a.plan for a, s in zip(answers, shares, strict=True)
                    if s >= max(shares) - max(gain_share, 1e-12))  # fmt: skip
    dose = _doses(p, plan, end)
    low, high = float(dose.min()), float(dose.max())
    stops = evenness_stops(dose, p.target)
    stays = evaluate(p, np.arange(p.positions)[:, None], np.zeros((p.positions, 0), dtype=np.int64)).finish_s
    settled = int(np.argmin(stays))
    moves = _planned(p, plan, end if outcome == "reached" else math.inf)
    finish = None if outcome == "out_of_light" else end
    share = float(dose @ p.weights / p.target)
    return MovePlan(
        outcome=outcome, moves=moves, start_index=plan.start, finish_s=finish,
        length_s=None if finish is None else finish - start_s,
        dose_mean_j_m2=float(dose @ p.weights), dose_low_j_m2=low, dose_high_j_m2=high,
        dose_j_m2=tuple(dose.tolist()), low_stops=stops.low_stops, high_stops=stops.high_stops, share=share,
        stay_finish_s=_or_none(stay),
        best_stay_index=settled if math.isfinite(stays[settled]) else None,
        best_stay_finish_s=_or_none(float(stays[settled])),
        best_finish_s=_or_none(best), mean_finish_s=_or_none(solution.mean_s),
        proven=answers[-1].proven, bound_s=_or_none(answers[-1].bound_s), minimum_gain_s=gain,
        advice=_advice(outcome, moves, finish_s=finish, stay_s=stay, best_s=best, share=share, labels=labels),
    )  # fmt: skip


def _near(behind_s: float, gain_s: float) -> bool:
    return behind_s <= _SAME_S or behind_s < gain_s


def _or_none(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _doses(problem: MoveProblem, plan: Plan, end_s: float) -> FloatArray:
    """Dose of each point when the plan is ended at `end_s`, in its last position."""
    p = problem
    k, lit_s, dose, _ = follow(p, *as_arrays(plan))
    last: FloatArray = (
        dose[0] - p.at(p.dose, p.rate, k, lit_s)[0] + p.at(p.dose, p.rate, k, np.array([end_s]))[0]
    )
    return last


def _played(problem: MoveProblem, plan: Plan) -> float:
    """Finish of a plan that may be done before its last moves; inf when it never is, or not evenly."""
    for count in range(len(plan.moves) + 1):
        prefix = Plan(plan.start, plan.moves[:count])
        finish = float(evaluate(problem, *as_arrays(prefix)).finish_s[0])
        if count == len(plan.moves) or finish <= problem.time_s[plan.moves[count][0]]:
            return finish
    return math.inf


def _planned(problem: MoveProblem, plan: Plan, finish_s: float) -> tuple[PlannedMove, ...]:
    moves, here = [], plan.start
    for i, (n, k) in enumerate(plan.moves):
        saves = None
        if math.isfinite(finish_s):
            saves = _or_none(_played(problem, _without(plan, i)) - finish_s)
        moves.append(PlannedMove(float(problem.time_s[n]), here, k, saves))
        here = k
    return tuple(moves)


def _without(plan: Plan, left_out: int) -> Plan:
    """The plan less one move; a later move that would go where the sheet already lies goes too."""
    kept, here = [], plan.start
    for i, (n, k) in enumerate(plan.moves):
        if i != left_out and k != here:
            kept.append((n, k))
            here = k
    return Plan(plan.start, tuple(kept))


def _advice(
    outcome: Outcome, moves: tuple[PlannedMove, ...], *, finish_s: float | None, stay_s: float, best_s: float,
    share: float, labels: dict[int, str],
) -> str:  # fmt: skip
    count = f"{len(moves)} move{'s' if len(moves) != 1 else ''}"
    if outcome == "out_of_light":
        how = f"even with {count}" if moves else "wherever it lies"
        return f"The light goes first: {how} the sheet gets {share:.0%} of its dose."
    if outcome == "uneven":
        lead = f"The most even plan found has {count}" if moves else "Stay put"
        return f"{lead}, but no plan found keeps every part of the sheet within the tolerance."
    if not moves:
        saved = stay_s - best_s
        return (
            "Stay put: moving gains nothing."
            if saved < 1
            else f"Stay put: moving would save only {_words(saved)}."
        )
    to = labels.get(moves[0].to_index)
    first = f", first to {to}" if to else ""
    if finish_s is None or not math.isfinite(stay_s):
        return f"{count}{first}: without moving the sheet is not done, or not evenly."
    return f"{count}{first}: done {_words(stay_s - finish_s)} sooner than staying put."


def _words(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60} min {whole % 60:02d} s" if whole >= 60 else f"{whole} s"
