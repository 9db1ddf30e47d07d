"""Dose arithmetic for a sheet that may be moved: arrivals, crossings and the exact programme for one weighted dose.

Shapes: N steps (N+1 boundaries), K candidate positions, P sample points.  Rates are linear between boundaries, so
cumulative dose is a parabola inside a step and every crossing has a closed form.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noonframe.types import BoolArray, FloatArray, IntArray

SNAP_S = 1e-6
"""An arrival this close after a boundary counts as at the boundary, so that sums of decimal times behave."""
EVEN_STOPS = 1e-9
"""Rounding allowance on evenness; a billionth of a stop."""
_RELATIVE = 1e-12


@dataclass(frozen=True)
class Plan:
    """Start position and moves as (boundary of departure, position moved to), in order."""

    start: int
    moves: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class MoveProblem:
    """Light per position and point, what a moved sheet needs, and what a move costs.

    `time_s` (N+1,), `rate` W/m2 and `dose` J/m2 since the start (N+1, K, P), `weights` (P,) summing to 1,
    `cost_s` (1, 1) or (K, K) from row to column, `starts` the positions a plan may begin in.
    `low` and `high` are the dose every point must reach and keep under; `even` is False when they are not asked for.
    """

    time_s: FloatArray
    rate: FloatArray
    dose: FloatArray
    weights: FloatArray
    target: float
    low: float
    high: float
    even: bool
    cost_s: FloatArray
    starts: IntArray

    @property
    def steps(self) -> int:
        return len(self.time_s) - 1

    @property
    def positions(self) -> int:
        return int(self.rate.shape[1])

    @property
    def pairwise(self) -> bool:
        return self.cost_s.size > 1

    @cached_property
    def step_s(self) -> FloatArray:
        return np.diff(self.time_s)

    @cached_property
    def mean_rate(self) -> FloatArray:
        return self.rate @ self.weights

    @cached_property
    def mean_dose(self) -> FloatArray:
        return self.dose @ self.weights

    @cached_property
    def arrive_s(self) -> FloatArray:
        """When the light returns after leaving at boundary n, (N, rows, columns)."""
        leave = self.time_s[:-1, None, None] + self.cost_s
        at = self.time_s[np.minimum(self.arrive_n, self.steps)]
        return np.where(self.arrive_n <= self.steps, np.minimum(leave, at), leave)

    @cached_property
    def arrive_n(self) -> IntArray:
        """First boundary at which the sheet may move again, (N, rows, columns); N+1 when past the horizon."""
        leave = self.time_s[:-1, None, None] + self.cost_s
        first = np.searchsorted(self.time_s, leave - SNAP_S, side="left")
        return np.maximum(first, np.arange(1, self.steps + 1)[:, None, None]).astype(np.int64)

    @cached_property
    def latest_departure(self) -> IntArray:
        """Last departure that has arrived by boundary q, (N+1, rows, columns); -1 when none has."""
        _, rows, columns = self.arrive_n.shape
        pairs = rows * columns
        slot = np.minimum(self.arrive_n, self.steps + 1).reshape(self.steps, pairs) * pairs + np.arange(pairs)
        counts = np.bincount(slot.ravel(), minlength=(self.steps + 2) * pairs).reshape(-1, pairs)
        return (np.cumsum(counts[:-1], axis=0) - 1).reshape(-1, rows, columns).astype(np.int64)

    def transit(self, departure: IntArray, source: IntArray, to: IntArray) -> tuple[FloatArray, IntArray]:
        """Time the light returns and first boundary free to move again, for moves `source` -> `to`."""
        row, column = (source, to) if self.pairwise else (np.zeros_like(source), np.zeros_like(to))
        return self.arrive_s[departure, row, column], self.arrive_n[departure, row, column]

    def at(self, dose: FloatArray, rate: FloatArray, position: IntArray, time_s: FloatArray) -> FloatArray:
        """Cumulative dose of `position` at any time; `dose`, `rate` are (N+1, K) or (N+1, K, P)."""
        step = np.clip(np.searchsorted(self.time_s, time_s, side="right") - 1, 0, self.steps - 1)
        into = np.asarray(time_s - self.time_s[step])
        bend = into * into / (2.0 * self.step_s[step])
        if dose.ndim == 3:
            into, bend = into[..., None], bend[..., None]
        first = rate[step, position]
        gained: FloatArray = dose[step, position] + into * first + bend * (rate[step + 1, position] - first)
        return gained

    def first_time(self, dose: FloatArray, rate: FloatArray, series: IntArray, level: FloatArray) -> FloatArray:
        """First time the non-decreasing column `series` of `dose` (N+1, S) reaches `level`; inf when it never does."""
        level = level - _RELATIVE * self.target
        below = np.zeros(level.shape, dtype=np.int64)
        above = np.full(level.shape, self.steps, dtype=np.int64)
        for _ in range(self.steps.bit_length() + 1):
            middle = (below + above) // 2
            short = dose[middle, series] < level
            below, above = np.where(short, middle + 1, below), np.where(short, above, middle)
            below = np.minimum(below, above)
        step = np.maximum(above - 1, 0)
        need = level - dose[step, series]
        start = rate[step, series]
        slope = (rate[step + 1, series] - start) / self.step_s[step]
        # Root of start*s + slope*s^2/2 = need in the form that keeps its digits when slope is near zero.
        below_root = start + np.sqrt(np.maximum(start * start + 2.0 * slope * need, 0.0))
        into = np.divide(2.0 * need, below_root, out=np.zeros_like(need), where=below_root > 0.0)
        into = np.clip(into, 0.0, self.step_s[step])
        found: FloatArray = np.where(dose[-1, series] < level, np.inf, self.time_s[step] + into)
        return found

    def cut(self, end_s: float) -> "MoveProblem":
        """The same problem with its horizon brought forward to `end_s`."""
        if end_s >= self.time_s[-1]:
            return self
        last = int(np.searchsorted(self.time_s, end_s, side="left"))
        share = (end_s - self.time_s[last - 1]) / self.step_s[last - 1]
        time_s, rate, dose = (a[: last + 1].copy() for a in (self.time_s, self.rate, self.dose))
        dose[last] = self.at(self.dose, self.rate, np.arange(self.positions), np.full(self.positions, end_s))
        time_s[last] = end_s
        rate[last] = self.rate[last - 1] + share * (self.rate[last] - self.rate[last - 1])
        return MoveProblem(time_s, rate, dose, self.weights, self.target, self.low, self.high, self.even,
                           self.cost_s, self.starts)  # fmt: skip


def peak_gain(first: FloatArray, last: FloatArray, span_s: FloatArray) -> FloatArray:
    """Most that a linear rate, of either sign, can add when stopped anywhere in a span that starts with it."""
    whole = np.maximum(0.5 * (first + last), 0.0)
    turns = (first > 0.0) & (last < 0.0)
    drop = np.where(turns, first - last, 1.0)
    gain: FloatArray = np.where(turns, first * first / (2.0 * drop), whole) * span_s
    return gain


def forward(problem: MoveProblem, rate: FloatArray, dose: FloatArray, max_moves: int) -> FloatArray:
    """Greatest `dose` at boundary n in position k after exactly m moves, (M+1, N+1, K); -inf where impossible.

    Bellman's recursion for an additive reward.  In a position, value minus the position's own cumulative dose is fixed
    from the arrival on, so each layer of m is a running maximum over departures instead of a loop over time.
    """
    n = problem.steps
    everywhere = np.arange(problem.positions)
    value = np.full((max_moves + 1, n + 1, problem.positions), -np.inf)
    value[0][:, problem.starts] = dose[:, problem.starts]
    rows = range(problem.positions if problem.pairwise else 1)
    for m in range(1, max_moves + 1):
        offset = np.full((n + 1, problem.positions), -np.inf)
        for row in rows:
            source = value[m - 1, :n, row] if problem.pairwise else value[m - 1, :n].max(axis=1)
            if source[-1] == -np.inf:
                continue
            lit_before = problem.at(dose, rate, everywhere, problem.arrive_s[:, row, :])
            best = np.maximum.accumulate(source[:, None] - lit_before, axis=0)
            if problem.pairwise:
                best[:, row] = -np.inf
            latest = problem.latest_departure[:, row, :]
            arrived = np.take_along_axis(best, np.maximum(latest, 0), axis=0) if problem.pairwise else best[latest[:, 0]]
            np.maximum(offset, np.where(latest >= 0, arrived, -np.inf), out=offset)
        value[m] = offset + dose
    return value


def reach(problem: MoveProblem, rate: FloatArray, dose: FloatArray, value: FloatArray) -> FloatArray:
    """Greatest weighted dose at any moment of step n after exactly m moves, (M+1, N), for rates of either sign."""
    n, everywhere = problem.steps, np.arange(problem.positions)
    peak = peak_gain(rate[:-1], rate[1:], problem.step_s[:, None])
    top: FloatArray = (value[:, :n] + peak).max(axis=2)
    for row in range(problem.positions if problem.pairwise else 1):
        part = arrival_peak(problem, rate, row, everywhere)
        landing = np.broadcast_to(problem.arrive_n[:, row, :] - 1, part.shape)
        inside = landing < n
        for m in range(1, len(value)):
            source = value[m - 1, :n, row] if problem.pairwise else value[m - 1, :n].max(axis=1)
            np.maximum.at(top[m], landing[inside], (source[:, None] + part)[inside])
    return top


def arrival_peak(problem: MoveProblem, rate: FloatArray, row: int, to: IntArray) -> FloatArray:
    """Most that can be added between the return of the light and the next boundary, (N, K)."""
    landing = np.minimum(problem.arrive_n[:, row, :], problem.steps)
    end_s = problem.time_s[landing]
    span = np.maximum(end_s - problem.arrive_s[:, row, :], 0.0)
    last, before = rate[landing, to], rate[landing - 1, to]
    first = last - (last - before) * (span / problem.step_s[landing - 1])
    return peak_gain(first, last, span)


def trace(problem: MoveProblem, rate: FloatArray, dose: FloatArray, value: FloatArray, m: int, n: int, k: int) -> Plan:
    """The plan behind `value[m, n, k]`; ties go to the earliest departure, then the lowest position."""
    moves: list[tuple[int, int]] = []
    while m > 0:
        column = k if problem.pairwise else 0
        lit_before = problem.at(dose, rate, np.asarray(k), problem.arrive_s[:, :, column])  # (N, rows)
        gain = value[m - 1, : problem.steps] - lit_before
        gain[np.broadcast_to(problem.arrive_n[:, :, column] > n, gain.shape)] = -np.inf
        if problem.pairwise:
            gain[:, k] = -np.inf
        departure, source = (int(i) for i in np.unravel_index(int(np.argmax(gain)), gain.shape))
        if source != k:
            moves.append((departure, k))
        n, k, m = departure, source, m - 1
    return Plan(k, tuple(reversed(moves)))


@dataclass(frozen=True)
class Verdict:
    """For X plans: when each is done (inf: never, or not evenly), when its mean is, and its miss of evenness (stops)."""

    finish_s: FloatArray
    mean_s: FloatArray
    miss_stops: FloatArray


def judge(problem: MoveProblem, position: IntArray, lit_s: FloatArray, dose: FloatArray,
          limit_s: float = np.inf) -> Verdict:  # fmt: skip
    """Finish of X sheets that lie in `position` (X,) from `lit_s` (X,) on with `dose` (X, P) so far.

    A sheet already done before `lit_s` is refused (inf): its last move was for nothing.  Sheets whose mean comes no
    earlier than `limit_s` are not looked at further.
    """
    p = problem
    finish = np.full(len(position), np.inf)
    miss = np.full(len(position), np.inf)
    offset = dose - p.at(p.dose, p.rate, position, lit_s)
    mean_s = p.first_time(p.mean_dose, p.mean_rate, position, p.target - offset @ p.weights)
    already = dose @ p.weights >= p.target * (1 - _RELATIVE)
    mean_s[already & (dose.min(axis=1) >= p.low * (1 - _RELATIVE))] = np.inf
    look = np.flatnonzero(mean_s < limit_s)
    if not p.even:
        finish[look], miss[look] = mean_s[look], 0.0
        return Verdict(finish, mean_s, miss)
    k, off = position[look], offset[look]
    since = np.maximum(mean_s[look], lit_s[look])
    points = off + p.at(p.dose, p.rate, k, since)
    short = np.log2(p.low / np.maximum(points.min(axis=1), 1e-300))
    over = np.log2(np.maximum(points.max(axis=1), 1e-300) / p.high)
    miss[look] = np.where(already[look], np.inf, np.maximum(np.maximum(short, over), 0.0))
    done = (short <= EVEN_STOPS) & (over <= EVEN_STOPS)
    finish[look[done]] = since[done]
    wait = np.flatnonzero((short > EVEN_STOPS) & (over <= EVEN_STOPS))
    if wait.size:
        finish[look[wait]] = _catch_up(p, k[wait], off[wait], since[wait])
    return Verdict(finish, mean_s, miss)


def _catch_up(problem: MoveProblem, position: IntArray, offset: FloatArray, since_s: FloatArray) -> FloatArray:
    """When the lowest point reaches its dose, if no point is overdone by then."""
    p = problem
    width = offset.shape[1]
    series = (position[:, None] * width + np.arange(width)).ravel()
    flat = (len(p.time_s), -1)
    low_s = p.first_time(p.dose.reshape(flat), p.rate.reshape(flat), series, (p.low - offset).ravel())
    end = np.maximum(low_s.reshape(offset.shape).max(axis=1), since_s)
    there = np.isfinite(end)
    points = offset + p.at(p.dose, p.rate, position, np.where(there, end, p.time_s[-1]))
    keeps = points.max(axis=1) <= p.high * 2.0**EVEN_STOPS
    done: FloatArray = np.where(there & keeps, end, np.inf)
    return done


def evaluate(problem: MoveProblem, places: IntArray, departures: IntArray) -> Verdict:
    """Verdict on X plans of m moves: `places` (X, m+1), `departures` (X, m); an impossible plan never finishes."""
    k, lit_s, dose, possible = follow(problem, places, departures)
    verdict = judge(problem, k, lit_s, dose)
    for values in (verdict.finish_s, verdict.mean_s, verdict.miss_stops):
        values[~possible] = np.inf
    return verdict


def follow(problem: MoveProblem, places: IntArray,
           departures: IntArray) -> tuple[IntArray, FloatArray, FloatArray, BoolArray]:  # fmt: skip
    """Where X plans end up: last position, when its light begins, dose so far (X, P), and whether they can be done."""
    p = problem
    count, m = departures.shape
    dose = np.zeros((count, p.rate.shape[2]))
    lit_s = np.full(count, p.time_s[0])
    free = np.zeros(count, dtype=np.int64)
    possible = np.ones(count, dtype=np.bool_)
    for i in range(m):
        here, there, leave = places[:, i], places[:, i + 1], departures[:, i]
        possible &= (leave >= free) & (leave < p.steps) & (leave >= 0) & (here != there)
        leave = np.clip(leave, 0, p.steps - 1)
        dose += p.dose[leave, here] - p.at(p.dose, p.rate, here, lit_s)
        lit_s, free = p.transit(leave, here, there)
        possible &= free <= p.steps
    lit_s = np.minimum(lit_s, p.time_s[-1])
    return places[:, m], lit_s, dose, possible


def as_arrays(plan: Plan) -> tuple[IntArray, IntArray]:
    """`places` (1, m+1) and `departures` (1, m) of one plan."""
    places = np.array([[plan.start, *(k for _, k in plan.moves)]], dtype=np.int64)
    return places, np.array([n for n, _ in plan.moves], dtype=np.int64).reshape(1, -1)
