"""Prices on the points, and the bounds on even plans that follow from them.

A plan that is done evenly has mean >= target, every point >= low and every point <= high.  Prices (Lagrange
multipliers [1]) add these conditions up to one: a weighted dose, of either sign per point, that must have
reached a known level.  The exact programme on that dose bounds every even plan from below in time.
Multiplicative updates [2] of the prices raise the bound, and each round's plan is a proposal.  Solved
backwards, the same prices tell how much a partial plan can gain.

[1] A. M. Geoffrion, Lagrangean relaxation for integer programming, Math. Programming Study 2, 82-114
    (1974).
[2] S. Arora, E. Hazan, S. Kale, The multiplicative weights update method, Theory of Computing 8, 121-164
    (2012).
"""

from dataclasses import dataclass

import numpy as np

from noonframe.dose.moves_grid import MoveProblem, Plan
from noonframe.dose.moves_programme import (
    arrival_peak,
    first_reached,
    forward,
    lit_before,
    peak_gain,
    rows_of,
    trace,
)
from noonframe.types import FloatArray, IntArray

ROUNDS = 24
"""Price updates; more hardly raised the bound in trials."""
_LEVEL_SLACK = 1e-9


@dataclass(frozen=True)
class Prices:
    """Weights on the points (B, P), and the level (B,) of that weighted dose in every even plan when it is
    done.
    """

    weights: FloatArray
    levels: FloatArray


@dataclass(frozen=True)
class Priced:
    """The strongest prices, the bound on the finish for at most m moves (M+1,), and plans met on the way."""

    prices: Prices
    bound_s: FloatArray
    proposals: list[Plan]


def find_prices(problem: MoveProblem, max_moves: int, *, keep: int, rounds: int = ROUNDS) -> Priced:
    """Raise the bound for `rounds` rounds; a bound of inf says that no even plan fits within the horizon."""
    p, points = problem, problem.rate.shape[2]
    price = np.concatenate([[0.5], np.full(2 * points, 0.25 / points)])
    bound = np.full(max_moves + 1, p.time_s[0])
    found: list[tuple[float, FloatArray, float]] = []
    proposals: dict[Plan, None] = {}
    for turn in range(rounds):
        mean, low, high = price[0], price[1 : points + 1], price[points + 1 :]
        weights = mean * p.weights / p.target + low / p.low - high / p.high
        level = float(mean + low.sum() - high.sum()) - _LEVEL_SLACK
        rate, dose = p.rate @ weights, p.dose @ weights
        value = forward(p, rate, dose, max_moves)
        first = first_reached(p, rate, value, level)
        bound = np.maximum(bound, first.time_s)
        found.append((float(first.time_s[-1]), weights, level))
        if not np.isfinite(first.time_s[-1]):
            break
        for m, layer in enumerate(value):
            n = int(first.step[m]) + 1
            k = int(np.argmax(layer[n]))
            if np.isfinite(layer[n, k]):
                proposals[trace(p, rate, dose, value, m=m, n=n, k=k)] = None
        n = int(first.step[-1]) + 1
        m, k = (int(i) for i in np.unravel_index(int(np.argmax(value[:, n])), value[:, n].shape))
        plan = trace(p, rate, dose, value, m=m, n=n, k=k)
        price = _updated(p, price, _doses_at(p, plan, n), turn)
    strongest = sorted(found, key=lambda item: -item[0])[: keep - 1]
    chosen = [(p.weights / p.target, 1.0 - _LEVEL_SLACK), *((w, v) for _, w, v in strongest)]
    prices = Prices(np.array([w for w, _ in chosen]), np.array([v for _, v in chosen]))
    return Priced(prices, bound, list(proposals))


def bound_of(problem: MoveProblem, prices: Prices, max_moves: int, *, count: int) -> FloatArray:
    """The bound that the first `count` prices after the mean put on any even plan of at most m moves,
    (M+1,).
    """
    bound = np.full(max_moves + 1, problem.time_s[0])
    for weights, level in list(zip(prices.weights, prices.levels, strict=True))[1 : count + 1]:
        rate, dose = problem.rate @ weights, problem.dose @ weights
        value = forward(problem, rate, dose, max_moves)
        bound = np.maximum(bound, first_reached(problem, rate, value, float(level)).time_s)
    return bound


def _doses_at(problem: MoveProblem, plan: Plan, n: int) -> FloatArray:
    """Dose of each point when boundary n comes, (P,)."""
    p = problem
    dose = np.zeros(p.rate.shape[2])
    here, lit_s = plan.start, np.asarray(p.time_s[0])
    for leave, there in plan.moves:
        dose += p.dose[leave, here] - p.at(p.dose, p.rate, np.asarray(here), lit_s)
        lit_s, _ = p.transit(np.asarray(leave), np.asarray(here), np.asarray(there))
        here = there
    dose += p.dose[n, here] - p.at(p.dose, p.rate, np.asarray(here), lit_s)
    return dose


def _updated(problem: MoveProblem, price: FloatArray, dose: FloatArray, turn: int) -> FloatArray:
    """Dearer where the plan falls short or overdoes, cheaper where it has room."""
    p = problem
    lack = np.concatenate([[1.0 - dose @ p.weights / p.target], 1.0 - dose / p.low, dose / p.high - 1.0])
    scale = float(np.abs(lack).max())
    if scale == 0.0:
        return price
    dearer = price * np.exp(2.0 / np.sqrt(turn + 1.0) * lack / scale)
    updated: FloatArray = dearer / dearer.sum()
    return updated


class Tables:
    """Most each priced dose can still gain before the horizon, by moves left, boundary and position.

    `rate`, `dose` (B, N+1, K) are the priced light; `point_ahead` (N+1, P) is the most a point could still
    get if the sheet were always where that point is best off.
    """

    def __init__(self, problem: MoveProblem, prices: Prices, max_moves: int) -> None:
        p = self.problem = problem
        self.work = 0
        self.rate = np.ascontiguousarray(np.moveaxis(p.rate @ prices.weights.T, -1, 0))
        self.dose = np.ascontiguousarray(np.moveaxis(p.dose @ prices.weights.T, -1, 0))
        best = p.rate.max(axis=1)
        ahead = np.cumsum((np.maximum(best[:-1], best[1:]) * p.step_s[:, None])[::-1], axis=0)[::-1]
        self.point_ahead = np.concatenate([ahead, np.zeros((1, ahead.shape[1]))])
        self._arrivals: dict[tuple[int, int], FloatArray] = {}
        stop = self.dose.copy()
        stop[:, :-1] += peak_gain(self.rate[:, :-1], self.rate[:, 1:], p.step_s[:, None])
        self._ahead: list[FloatArray] = []
        for left in range(max_moves):
            most = stop.copy()
            for row in rows_of(p) if left else ():
                gain = self.arrival(left - 1, row).max(axis=2)[:, :, None]
                place = slice(row, row + 1) if p.pairwise else slice(None)
                view = most[:, :-1, place]
                np.maximum(view, self.dose[:, :-1, place] + gain, out=view)
            self._ahead.append(np.maximum.accumulate(most[:, ::-1], axis=1)[:, ::-1] - self.dose)

    @staticmethod
    def expected_work(problem: MoveProblem, prices: Prices, max_moves: int) -> int:
        """About what building the tables takes, in units of ten nanoseconds."""
        return 3 * len(prices.levels) * problem.steps * problem.positions * max_moves * len(rows_of(problem))

    def arrival(self, left: int, row: int) -> FloatArray:
        """Most gained after leaving at n for k with `left` moves to come, (B, N, K)."""
        kept = self._arrivals.get((left, row))
        if kept is not None:
            return kept
        p, to = self.problem, np.arange(self.problem.positions)
        landing: IntArray = np.broadcast_to(p.arrival[1][:, row, :], (p.steps, p.positions))
        there = np.minimum(landing, p.steps)
        gain = np.empty((len(self.rate), p.steps, p.positions))
        for b, (rate, dose) in enumerate(zip(self.rate, self.dose, strict=True)):
            at_rest = self._ahead[left][b][there, to] + dose[there, to] - lit_before(p, rate, dose, row)
            gain[b] = np.maximum(at_rest, arrival_peak(p, rate, row))
        gain = np.where(landing <= p.steps, np.maximum(gain, 0.0), 0.0)
        self.work += 3 * gain.size
        if len(self._arrivals) >= 64:
            self._arrivals.clear()
        self._arrivals[left, row] = gain
        return gain
