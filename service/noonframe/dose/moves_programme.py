"""Exact programme of moves for one weighted dose: Bellman's recursion, its plan, and when a level can first
be reached.

"Weighted" is any linear function of the doses at the points, so its rate may have either sign; the mean is
one.  Value less the position's own cumulative dose stays fixed from an arrival on, so each layer of the
recursion, one per move, is a running maximum over departures in place of a loop over time.
"""

from dataclasses import dataclass, replace

import numpy as np

from noonframe.dose.moves_grid import MoveProblem, Plan, as_arrays, evaluate
from noonframe.types import FloatArray, IntArray


def rows_of(problem: MoveProblem) -> range:
    """Rows of the cost table: one when a move costs the same from anywhere."""
    return range(problem.positions if problem.pairwise else 1)


def lit_before(problem: MoveProblem, rate: FloatArray, dose: FloatArray, row: int) -> FloatArray:
    """Cumulative dose of each position at the moment a sheet from `row` arrives there, (N, K)."""
    lit_s, landing = problem.arrival[0][:, row, :], problem.arrival[1][:, row, :]
    step = np.minimum(landing, problem.steps) - 1
    into = lit_s - problem.time_s[step]
    to = np.arange(problem.positions)
    first = rate[step, to]
    bend = into * into / (2.0 * problem.step_s[step])
    before: FloatArray = dose[step, to] + into * first + bend * (rate[step + 1, to] - first)
    return before


def peak_gain(first: FloatArray, last: FloatArray, span_s: FloatArray) -> FloatArray:
    """Most that a linear rate of either sign adds when stopped anywhere in a span from `first` to `last`."""
    whole = np.maximum(0.5 * (first + last), 0.0)
    turns = (first > 0.0) & (last < 0.0)
    drop = np.where(turns, first - last, 1.0)
    gain: FloatArray = np.where(turns, first * first / (2.0 * drop), whole) * span_s
    return gain


def arrival_peak(problem: MoveProblem, rate: FloatArray, row: int) -> FloatArray:
    """Most that is added between the return of the light and the next boundary, (N, K)."""
    lit_s, landing = problem.arrival[0][:, row, :], problem.arrival[1][:, row, :]
    to, landing = np.arange(problem.positions), np.minimum(landing, problem.steps)
    span = np.maximum(problem.time_s[landing] - lit_s, 0.0)
    last, before = rate[landing, to], rate[landing - 1, to]
    first = last - (last - before) * (span / problem.step_s[landing - 1])
    return peak_gain(first, last, span)


def forward(problem: MoveProblem, rate: FloatArray, dose: FloatArray, max_moves: int) -> FloatArray:
    """Greatest `dose` at boundary n in position k after exactly m moves, (M+1, N+1, K); -inf where
    impossible.

    `rate` and `dose` are (N+1, K).  With one cost for all moves a "move" to the same position is not
    excluded: for a dose that only rises it is never better than staying, for a signed one it can but loosen
    a bound, and `trace` leaves it out.
    """
    p, n = problem, problem.steps
    value = np.full((max_moves + 1, n + 1, p.positions), -np.inf)
    value[0][:, p.starts] = dose[:, p.starts]
    before = [lit_before(p, rate, dose, row) for row in rows_of(p)] if max_moves else []
    for m in range(1, max_moves + 1):
        offset = np.full((n + 1, p.positions), -np.inf)
        for row in rows_of(p):
            source = value[m - 1, :n, row] if p.pairwise else value[m - 1, :n].max(axis=1)
            if source[-1] == -np.inf:
                continue
            best = np.maximum.accumulate(source[:, None] - before[row], axis=0)
            latest = p.latest_departure[:, row, :]
            if p.pairwise:
                best[:, row] = -np.inf
                arrived = best[np.maximum(latest, 0), np.arange(p.positions)]
            else:
                arrived = best[np.maximum(latest[:, 0], 0)]
            np.maximum(offset, np.where(latest >= 0, arrived, -np.inf), out=offset)
        value[m] = offset + dose
    return value


@dataclass(frozen=True)
class _Reached:
    """Per number of moves allowed, (M+1,): earliest moment the level can be reached (inf: never), and its
    step.
    """

    time_s: FloatArray
    step: IntArray


def first_reached(problem: MoveProblem, rate: FloatArray, value: FloatArray, level: float) -> _Reached:
    """Earliest moment any plan of at most m moves can have `level`; no plan has it earlier.

    Exact for a sheet at rest through the step; for one that arrives within the step, the moment its light
    returns.
    """
    p, n = problem, problem.steps
    peak = peak_gain(rate[:-1], rate[1:], p.step_s[:, None])
    time_s, step = np.full(len(value), np.inf), np.full(len(value), n - 1, dtype=np.int64)
    for m, layer in enumerate(value):
        enough = layer[:n] + peak >= level
        if enough.any():
            at = int(np.argmax(enough.any(axis=1)))
            k = np.flatnonzero(enough[at])
            need, first = np.maximum(level - layer[at, k], 0.0), rate[at, k]
            slope = (rate[at + 1, k] - first) / p.step_s[at]
            root = first + np.sqrt(np.maximum(first * first + 2.0 * slope * need, 0.0))
            into = np.divide(2.0 * need, root, out=np.zeros_like(need), where=root > 0.0)
            time_s[m], step[m] = p.time_s[at] + min(float(into.min()), p.step_s[at]), at
    for row in rows_of(p) if len(value) > 1 else ():
        part = arrival_peak(p, rate, row)
        lit_s, landing = (np.broadcast_to(a[:, row, :], part.shape) for a in p.arrival)
        for m in range(1, len(value)):
            source = value[m - 1, :n, row] if p.pairwise else value[m - 1, :n].max(axis=1)
            enough = (source[:, None] + part >= level) & (landing <= n)
            if enough.any():
                moment = np.where(enough, lit_s, np.inf)
                i = int(np.argmin(moment))
                if moment.flat[i] < time_s[m]:
                    time_s[m], step[m] = moment.flat[i], landing.flat[i] - 1
    for m in range(1, len(value)):
        if time_s[m - 1] <= time_s[m]:
            time_s[m], step[m] = time_s[m - 1], step[m - 1]
    return _Reached(time_s, step)


def trace(
    problem: MoveProblem, rate: FloatArray, dose: FloatArray, value: FloatArray, *, m: int, n: int, k: int
) -> Plan:
    """The plan behind `value[m, n, k]`; ties go to the earliest departure, then the lowest position."""
    p = problem
    moves: list[tuple[int, int]] = []
    while m > 0:
        column = k if p.pairwise else 0
        lit_s, landing = p.arrival[0][:, :, column], p.arrival[1][:, :, column]  # (N, rows)
        gain = value[m - 1, : p.steps] - p.at(dose, rate, np.asarray(k), lit_s)
        gain[np.broadcast_to(landing > n, gain.shape)] = -np.inf
        if p.pairwise:
            gain[:, k] = -np.inf
        departure, source = (int(i) for i in np.unravel_index(int(np.argmax(gain)), gain.shape))
        if source != k:
            moves.append((departure, k))
        n, k, m = departure, source, m - 1
    return Plan(k, tuple(reversed(moves)))


@dataclass(frozen=True)
class MeanPlan:
    """Earliest plan for the mean alone: `finish_s` (inf: not by the horizon) and the mean dose by the
    horizon.
    """

    finish_s: float
    plan: Plan
    dose_j_m2: float


def mean_plans(problem: MoveProblem, max_moves: int) -> list[MeanPlan]:
    """The best for the mean alone per exact number of moves; inf where fewer moves are at least as quick."""
    p = replace(problem, even=False, low=0.0, high=np.inf)
    stay = p.first_time(p.mean_dose, p.mean_rate, p.starts, np.full(len(p.starts), p.target))
    if np.isfinite(stay.min()):
        # No plan worth having outlasts the best stay, so the programme need not look beyond it.
        after = int(np.searchsorted(p.time_s, stay.min(), side="left"))
        p = p.cut(float(p.time_s[np.clip(after, 1, p.steps)]))
    rate, dose = p.mean_rate, p.mean_dose
    value = forward(p, rate, dose, max_moves)
    found = []
    for m, layer in enumerate(value):
        hit = layer >= p.target * (1 - 1e-12)
        best = float(layer[-1].max())
        if not hit.any():
            possible = np.isfinite(best)
            k = int(np.argmax(layer[-1]))
            plan = trace(p, rate, dose, value, m=m, n=p.steps, k=k) if possible else Plan(int(p.starts[0]))
            found.append(MeanPlan(np.inf, plan, best))
            continue
        n = int(np.argmax(hit.any(axis=1)))
        at = np.flatnonzero(hit[n])
        level = np.minimum(p.target - (layer[n, at] - dose[n, at]), dose[n, at])
        times = p.first_time(dose, rate, at, level)
        plan = trace(p, rate, dose, value, m=m, n=n, k=int(at[np.argmin(times)]))
        # A plan whose last move comes after the target is refused here: fewer moves are then as quick.
        found.append(MeanPlan(float(evaluate(p, *as_arrays(plan)).finish_s[0]), plan, best))
    return found
