"""Earliest even finish over all plans of moves: exact programme, bounds from prices, local search, branch
and bound.

Without the evenness tolerance the exact programme's plan for the mean is the answer.  With it the state is
the dose at every point, and that plan is a lower bound, and still the answer whenever it happens to be
even.  Otherwise local search looks for good even plans, and branch and bound over departures and
destinations, pruned by prices solved backwards from the best finish known, proves the best one or stops at
its work limit.  Nothing is random and no clock is read.
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from noonframe.dose.moves_bounds import Priced, Prices, Tables, bound_of, find_prices
from noonframe.dose.moves_grid import MoveProblem, Plan, Verdict, as_arrays, evaluate, judge
from noonframe.dose.moves_programme import MeanPlan, mean_plans
from noonframe.types import FloatArray, IntArray

_SAME_S = 1e-9
_CLOSE_STEPS, _FAR_STEPS = 2, 12
_SEEDS = 8
_INSERT_TIMES = 24
_OPEN_WORK = 20_000
"""Overhead of opening one partial plan, in the unit of the work limit (about ten nanoseconds)."""


@dataclass(frozen=True)
class Uneven:
    """A plan ended when its mean is reached: how far beyond the tolerance, and when."""

    miss_stops: float
    mean_s: float
    plan: Plan

    @property
    def rank(self) -> tuple[float, float]:
        """Smaller is better."""
        return self.miss_stops, self.mean_s


@dataclass(frozen=True)
class Answer:
    """Best known for at most m moves: an even `plan` and its `finish_s`, inf with the furthest-going plan
    if none.

    No even plan finishes before `bound_s`; `least` is the most even plan met.
    """

    plan: Plan
    finish_s: float
    bound_s: float
    proven: bool
    least: Uneven


@dataclass(frozen=True)
class Solution:
    """`answers[m]` for at most m = 0..max_moves moves; `mean_s` when the mean alone can be reached (inf:
    never).
    """

    answers: list[Answer]
    mean_s: float


@dataclass
class _Known:
    """Best even finish, its plan, and the most even plan met, for each exact number of moves."""

    finish_s: list[float]
    even: list[Plan]
    least: list[Uneven]
    work: int = 0
    local_limit: float = np.inf

    def note(self, verdict: Verdict, places: IntArray, departures: IntArray) -> None:
        """Keep the best of X plans, `places` (X, m+1) and `departures` (X, m)."""
        m = departures.shape[1]
        most_even = np.lexsort((verdict.mean_s, verdict.miss_stops))[0]
        for values, i in ((verdict.finish_s, np.argmin(verdict.finish_s)), (verdict.miss_stops, most_even)):
            if not np.isfinite(values[i]):
                continue
            moves = zip(departures[i].tolist(), places[i, 1:].tolist(), strict=True)
            plan = Plan(int(places[i, 0]), tuple(moves))
            if verdict.finish_s[i] < self.finish_s[m]:
                self.finish_s[m], self.even[m] = float(verdict.finish_s[i]), plan
            uneven = Uneven(float(verdict.miss_stops[i]), float(verdict.mean_s[i]), plan)
            if uneven.rank < self.least[m].rank:
                self.least[m] = uneven

    def best(self, m: int) -> Plan | None:
        """The plan of exactly m moves worth improving: even and earliest, else most even."""
        if np.isfinite(self.finish_s[m]):
            return self.even[m]
        return self.least[m].plan if np.isfinite(self.least[m].miss_stops) else None


def _tried(problem: MoveProblem, known: _Known, places: IntArray, departures: IntArray) -> FloatArray:
    """Evaluate X plans, keep the best, and rank all (X,): finish time of an even plan, else horizon plus
    its miss.
    """
    verdict = evaluate(problem, places, departures)
    known.note(verdict, places, departures)
    known.work += 3 * (places.shape[1] + 1) * places.shape[0] * problem.rate.shape[2] + _OPEN_WORK
    even = np.isfinite(verdict.finish_s)
    rank: FloatArray = np.where(even, verdict.finish_s, problem.time_s[-1] + verdict.miss_stops)
    return rank


def _improve(problem: MoveProblem, known: _Known, plan: Plan) -> None:
    """Shift each departure and change each place of `plan` while that helps."""
    places, departures = as_arrays(plan)
    best = np.inf
    for _ in range(12):
        if known.work > known.local_limit:
            return
        near = _neighbours(problem, places, departures)
        rank = _tried(problem, known, *near)
        i = int(np.argmin(rank))
        if not rank[i] < best:
            return
        best, places, departures = float(rank[i]), near[0][i : i + 1], near[1][i : i + 1]


def _neighbours(problem: MoveProblem, places: IntArray, departures: IntArray) -> tuple[IntArray, IntArray]:
    """Plans that differ from one plan, (1, m+1) and (1, m), in one place, one departure, or a little of
    both.
    """
    close, anywhere = _pairs(np.arange(-_CLOSE_STEPS, _CLOSE_STEPS + 1), np.arange(problem.positions))
    far = np.arange(-_FAR_STEPS, _FAR_STEPS + 1)
    near = [(places, departures)]
    for i in range(departures.shape[1]):
        shift = np.concatenate([close, far])
        to = np.concatenate([anywhere, np.full(len(far), places[0, i + 1])])
        new_places, new_departures = (np.repeat(a, len(to), axis=0) for a in (places, departures))
        new_places[:, i + 1] = to
        new_departures[:, i] += shift
        near.append((new_places, new_departures))
    new_places, new_departures = (np.repeat(a, len(problem.starts), axis=0) for a in (places, departures))
    new_places[:, 0] = problem.starts
    near.append((new_places, new_departures))
    return np.concatenate([a for a, _ in near]), np.concatenate([b for _, b in near])


def _insert(problem: MoveProblem, known: _Known, plan: Plan) -> None:
    """Try one extra move in `plan` at a coarse set of times."""
    p = problem
    times = np.unique(np.linspace(0, p.steps - 1, min(p.steps, _INSERT_TIMES)).astype(np.int64))
    when, to = _pairs(times, np.arange(p.positions))
    places, departures = (np.repeat(a, len(to), axis=0) for a in as_arrays(plan))
    for i in range(len(plan.moves) + 1):
        if known.work > known.local_limit:
            return
        _tried(p, known, np.insert(places, i + 1, to, axis=1), np.insert(departures, i, when, axis=1))


def _pairs(first: IntArray, second: IntArray) -> tuple[IntArray, IntArray]:
    a, b = np.meshgrid(first, second, indexing="ij")
    return a.ravel(), b.ravel()


@dataclass(frozen=True)
class _Partial:
    """A plan begun: where the sheet is, from which boundary it may move, doses less the position's own."""

    plan: Plan
    position: int
    free: int
    priced: FloatArray
    points: FloatArray


@dataclass
class _Branch:
    """Next moves of a partial plan still to be opened, most room under the bounds first."""

    partial: _Partial
    departure: IntArray
    to: IntArray
    room: FloatArray
    turn: int = 0


class _Search:
    """Branch and bound over plans of exactly `m` moves that finish before the best known."""

    def __init__(
        self, problem: MoveProblem, prices: Prices, known: _Known, *, m: int, finish_s: float
    ) -> None:
        self.whole, self.prices, self.known, self.m, self.finish_s = problem, prices, known, m, finish_s
        self.work = self.pushed = 0

    def _bring_forward(self) -> None:
        """Shorten the horizon to the best finish: whatever does not fit is no better."""
        self.built_s = min(self.finish_s, float(self.whole.time_s[-1]))
        self.problem = self.whole.cut(self.built_s)
        self.tables = Tables(self.problem, self.prices, self.m)

    def run(self, work_limit: int) -> bool:
        """True when every plan has been dealt with, False when the work limit came first."""
        if (
            Tables.expected_work(
                self.whole.cut(min(self.finish_s, self.whole.time_s[-1])), self.prices, self.m
            )
            > work_limit
        ):
            return False
        self._bring_forward()
        nothing = np.zeros(len(self.prices.levels)), np.zeros(self.problem.rate.shape[2])
        heap: list[tuple[float, int, _Branch]] = []
        for k in self.problem.starts.tolist():
            self._push(heap, self._open(_Partial(Plan(k), k, 0, *nothing)))
        while heap:
            if self.work > work_limit:
                return False
            branch = heapq.heappop(heap)[2]
            partial = self._next(branch)
            branch.turn += 1
            self._push(heap, branch if branch.turn < len(branch.to) else None)
            self._push(heap, self._open(partial) if partial is not None else None)
            if self.finish_s < self.built_s - 0.005 * (self.built_s - self.whole.time_s[0]):
                self._bring_forward()
        return True

    def _push(self, heap: list[tuple[float, int, _Branch]], branch: _Branch | None) -> None:
        if branch is not None:
            # Room shrinks with depth as bounds tighten; dividing by moves left gives deep ones their turn.
            left = self.m - len(branch.partial.plan.moves)
            self.pushed += 1
            heapq.heappush(heap, (-float(branch.room[branch.turn]) / (left + 1), self.pushed, branch))

    def _next(self, branch: _Branch) -> _Partial | None:
        """The branch's next partial plan, unless the bounds have caught up with it."""
        p, before, t = self.problem, branch.partial, self.tables
        n, k = int(branch.departure[branch.turn]), int(branch.to[branch.turn])
        self.work += _OPEN_WORK // 4
        if n >= p.steps:
            return None
        lit_s, free = p.transit(np.asarray(n), np.asarray(before.position), np.asarray(k))
        if int(free) >= p.steps:
            return None
        left = self.m - len(before.plan.moves) - 1
        ahead = t.arrival(left, before.position if p.pairwise else 0)[:, n, k]
        priced = before.priced + t.dose[:, n, before.position]
        if (priced + ahead < self.prices.levels).any():
            return None
        own = p.at(p.dose, p.rate, np.asarray(k), lit_s)
        points = before.points + p.dose[n, before.position] - own
        plan = Plan(before.plan.start, (*before.plan.moves, (n, k)))
        return _Partial(plan, k, int(free), priced - self.prices.weights @ own, points)

    def _open(self, partial: _Partial) -> _Branch | None:
        """Next moves of `partial` that no bound rules out; whole plans among them are judged at once."""
        p, t, here = self.problem, self.tables, partial.position
        leave = np.arange(partial.free, p.steps)
        self.work += _OPEN_WORK + len(leave) * (p.positions + p.rate.shape[2])
        points = partial.points + p.dose[leave, here]
        can = (points <= p.high * (1 + 1e-9)).all(axis=1)
        can &= (points + t.point_ahead[leave] >= p.low * (1 - 1e-9)).all(axis=1)
        leave, points = leave[can], points[can]
        left = self.m - len(partial.plan.moves) - 1
        ahead = t.arrival(left, here if p.pairwise else 0)
        self.work, t.work = self.work + t.work, 0
        row, k = _pairs(np.arange(len(leave)), np.arange(p.positions))
        row, k = row[k != here], k[k != here]
        n, room = leave[row], np.full(len(row), np.inf)
        for b, level in enumerate(self.prices.levels):
            self.work += len(n)
            room = np.minimum(room, partial.priced[b] + t.dose[b, n, here] + ahead[b, n, k] - level)
            keep = room >= 0.0
            n, k, row, room = n[keep], k[keep], row[keep], room[keep]
        if n.size and left == 0:
            self._judge(partial, n, k, points[row])
        if not n.size or left == 0:
            return None
        order = np.argsort(-room, kind="stable")
        return _Branch(partial, n[order], k[order], room[order])

    def _judge(self, partial: _Partial, n: IntArray, k: IntArray, dose: FloatArray) -> None:
        p = self.problem
        self.work += _OPEN_WORK + 20 * dose.size
        lit_s, free = p.transit(n, np.full(len(n), partial.position), k)
        verdict = judge(p, k, np.minimum(lit_s, p.time_s[-1]), dose, self.finish_s)
        verdict.finish_s[free > p.steps] = verdict.miss_stops[free > p.steps] = np.inf
        begun = [partial.plan.start, *(to for _, to in partial.plan.moves)]
        places = np.column_stack([np.tile(begun, (len(k), 1)), k])
        departures = np.column_stack([np.tile([d for d, _ in partial.plan.moves], (len(n), 1)), n]).astype(
            np.int64
        )
        self.known.note(verdict, places, departures)
        self.finish_s = min(self.finish_s, float(verdict.finish_s.min()))


def solve(problem: MoveProblem, max_moves: int, work_limit: int) -> Solution:
    """Best plans for at most 0..max_moves moves, within about `work_limit` units of ten nanoseconds."""
    p = problem
    size, nothing = max_moves + 1, Plan(int(p.starts[0]))
    known = _Known([np.inf] * size, [nothing] * size, [Uneven(np.inf, np.inf, nothing)] * size)
    mean = mean_plans(p, max_moves)
    _tried(p, known, p.starts[:, None], np.zeros((p.starts.size, 0), dtype=np.int64))
    for plan in (m.plan for m in mean):
        _tried(p, known, *as_arrays(plan))
    bound = np.minimum.accumulate([m.finish_s for m in mean])
    solution = Solution([], float(bound[-1]))
    priced: Priced | None = None
    all_seen = True
    for m in range(size):
        if m and p.even and _open_question(known, bound, m):
            known.local_limit = 0.5 * work_limit * m / size
            _look_around(p, known, m, ())
            if priced is None:
                priced, bound = _priced(p, known, bound, m, work_limit // 4)
            _look_around(p, known, m, priced.proposals)
            if _open_question(known, bound, m):
                search = _Search(p, priced.prices, known, m=m, finish_s=min(known.finish_s[: m + 1]))
                all_seen &= search.run(max(work_limit - known.work, 0) // (size - m))
                known.work += search.work
        finish_s = min(known.finish_s[: m + 1])
        proven = all_seen or not _open_question(known, bound, m)
        solution.answers.append(
            _answer(known, mean, m, finish_s if proven else float(bound[m]), proven=proven)
        )
    return solution


def _open_question(known: _Known, bound_s: FloatArray, m: int) -> bool:
    best = min(known.finish_s[: m + 1])
    return bool(np.isfinite(bound_s[m]) and best > bound_s[m] + _SAME_S)


def _look_around(problem: MoveProblem, known: _Known, m: int, proposals: Sequence[Plan]) -> None:
    """Local search for m moves: from the best of m - 1 with one inserted, and from the most promising
    proposals.
    """
    base = known.best(m - 1)
    if base is not None and not proposals:
        _insert(problem, known, base)
    fitting = [plan for plan in proposals if len(plan.moves) == m]
    ranks = [float(_tried(problem, known, *as_arrays(plan))[0]) for plan in fitting]
    order = sorted(range(len(fitting)), key=ranks.__getitem__)[:_SEEDS]
    seeds = dict.fromkeys(fitting[i] for i in order if np.isfinite(ranks[i]))
    best = known.best(m)
    for plan in seeds | ({best: None} if best is not None else {}):
        _improve(problem, known, plan)


def _priced(problem: MoveProblem, known: _Known, bound_s: FloatArray, m: int,
            work_limit: int) -> tuple[Priced, FloatArray]:  # fmt: skip
    """Prices, and the bounds raised by them, on the horizon that the best even finish leaves."""
    finish_s = min(known.finish_s[: m + 1])
    p = problem.cut(min(finish_s, float(problem.time_s[-1])))
    max_moves = len(bound_s) - 1
    size = p.steps * p.positions * max_moves
    if p.pairwise:
        # Prices found with one middling cost serve as well; only the bound has to be taken at the true costs.
        off = p.cost_s[~np.eye(p.positions, dtype=np.bool_)]
        priced = find_prices(replace(p, cost_s=np.full((1, 1), np.median(off))), max_moves, keep=4)
        count = int(np.clip(work_limit // (3 * size * p.positions), 1, 3))
        priced = replace(priced, bound_s=bound_of(p, priced.prices, max_moves, count=count))
        known.work += 3 * size * p.positions * count
    else:
        priced = find_prices(p, max_moves, keep=10)
    known.work += 70 * size
    # On a horizon shortened to the best finish, "never" means no more than "not before that".
    return priced, np.maximum(bound_s, np.minimum(priced.bound_s, finish_s))


def _answer(known: _Known, mean: list[MeanPlan], m: int, bound_s: float, *, proven: bool) -> Answer:
    finish_s = min(known.finish_s[: m + 1])
    least = min(known.least[: m + 1], key=lambda uneven: uneven.rank)
    if np.isfinite(finish_s):
        plan = known.even[known.finish_s.index(finish_s)]
    else:
        plan = max(mean[: m + 1], key=lambda each: each.dose_j_m2).plan
    return Answer(plan, finish_s, min(bound_s, finish_s), proven, least)
