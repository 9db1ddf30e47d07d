"""Dose arithmetic for a sheet that may be moved: arrivals, crossings, and when a plan is done.

Shapes: N steps (N+1 boundaries), K candidate positions, P sample points.  Rates are linear between
boundaries, so cumulative dose is a parabola inside a step and every crossing has a closed form.
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
    `cost_s` (1, 1) or (K, K) from row to column, `starts` the positions a plan may begin in.  `low` and
    `high` are the dose every point must reach and keep under; `even` is False when they are not asked for.
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
        """Number of steps, N."""
        return len(self.time_s) - 1

    @property
    def positions(self) -> int:
        """Number of candidate positions, K."""
        return int(self.rate.shape[1])

    @property
    def pairwise(self) -> bool:
        """Whether the cost of a move depends on where from and where to."""
        return self.cost_s.size > 1

    @cached_property
    def step_s(self) -> FloatArray:
        """Length of each step, (N,)."""
        return np.diff(self.time_s)

    @cached_property
    def mean_rate(self) -> FloatArray:
        """Weighted mean rate, (N+1, K)."""
        return self.rate @ self.weights

    @cached_property
    def mean_dose(self) -> FloatArray:
        """Weighted mean cumulative dose, (N+1, K)."""
        return self.dose @ self.weights

    @cached_property
    def arrival(self) -> tuple[FloatArray, IntArray]:
        """When the light returns after leaving at boundary n, and the first boundary free to move again.

        Both (N, rows, columns); the boundary is N+1 when past the horizon.
        """
        leave = np.arange(self.steps)[:, None, None]
        rows, columns = (np.arange(size) for size in self.cost_s.shape)
        return self._transit(leave, rows[:, None], columns)

    @cached_property
    def latest_departure(self) -> IntArray:
        """Last departure that has arrived by boundary q, (N+1, rows, columns); -1 when none has."""
        landing = self.arrival[1]
        _, rows, columns = landing.shape
        pairs = rows * columns
        slot = np.minimum(landing, self.steps + 1).reshape(self.steps, pairs) * pairs + np.arange(pairs)
        counts = np.bincount(slot.ravel(), minlength=(self.steps + 2) * pairs).reshape(-1, pairs)
        return (np.cumsum(counts[:-1], axis=0) - 1).reshape(-1, rows, columns).astype(np.int64)

    def transit(self, departure: IntArray, source: IntArray, to: IntArray) -> tuple[FloatArray, IntArray]:
        """Time the light returns and first boundary free to move again, for moves `source` -> `to`."""
        if self.pairwise:
            return self._transit(departure, source, to)
        return self._transit(departure, np.zeros_like(source), np.zeros_like(to))

    def _transit(self, departure: IntArray, row: IntArray, column: IntArray) -> tuple[FloatArray, IntArray]:
        lit_s = self.time_s[departure] + self.cost_s[row, column]
        free = np.maximum(np.searchsorted(self.time_s, lit_s - SNAP_S, side="left"), departure + 1)
        snapped = np.minimum(lit_s, self.time_s[np.minimum(free, self.steps)])
        return np.where(free <= self.steps, snapped, lit_s), free

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

    def first_time(
        self, dose: FloatArray, rate: FloatArray, series: IntArray, level: FloatArray
    ) -> FloatArray:
        """First time the non-decreasing column `series` of `dose` (N+1, S) reaches `level`; inf when it
        never does.
        """
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


@dataclass(frozen=True)
class Verdict:
    """For X plans: when each is done (inf: never, or not evenly), when its mean is, and its miss of
    evenness (stops).
    """

    finish_s: FloatArray
    mean_s: FloatArray
    miss_stops: FloatArray


def judge(problem: MoveProblem, position: IntArray, lit_s: FloatArray, dose: FloatArray,
          limit_s: float = np.inf) -> Verdict:  # fmt: skip
    """Finish of X sheets that lie in `position` (X,) from `lit_s` (X,) on with `dose` (X, P) so far.

    A sheet already done before `lit_s` is refused (inf): its last move was for nothing.  Sheets whose mean
    comes no earlier than `limit_s` are not looked at further.
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


def _catch_up(
    problem: MoveProblem, position: IntArray, offset: FloatArray, since_s: FloatArray
) -> FloatArray:
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
    """Verdict on X plans of m moves: `places` (X, m+1), `departures` (X, m); an impossible plan never
    finishes.
    """
    k, lit_s, dose, possible = follow(problem, places, departures)
    verdict = judge(problem, k, lit_s, dose)
    for values in (verdict.finish_s, verdict.mean_s, verdict.miss_stops):
        values[~possible] = np.inf
    return verdict


def follow(problem: MoveProblem, places: IntArray,
           departures: IntArray) -> tuple[IntArray, FloatArray, FloatArray, BoolArray]:  # fmt: skip
    """Where X plans end up: last position, when its light begins, dose so far (X, P), and whether they can
    be done.
    """
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
