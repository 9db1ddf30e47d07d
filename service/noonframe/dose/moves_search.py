"""Earliest even finish over all plans of moves: exact programme, prices, local search, branch and bound.

Without the evenness tolerance the earliest finish is the exact programme's.  With it the state is the dose at every
point, and three things work together:

* the mean-only optimum is a lower bound, and the answer whenever its plan happens to be even;
* *prices* on the points (Lagrange multipliers [1]) turn "mean, lowest point and highest point are all met" into one
  weighted dose that no admissible plan can fail to reach, so the programme on that dose bounds every plan from below
  in time; multiplicative updates [2] raise the bound and propose plans on the way;
* branch and bound over departures and destinations, pruned by the same prices solved backwards from the best finish
  known, either proves that finish or stops at its work limit.

[1] A. M. Geoffrion, Lagrangean relaxation for integer programming, Math. Programming Study 2, 82-114 (1974).
[2] S. Arora, E. Hazan, S. Kale, The multiplicative weights update method, Theory of Computing 8, 121-164 (2012).
"""

import heapq
from dataclasses import dataclass, field

import numpy as np

from noonframe.dose.moves_grid import (
    MoveProblem,
    Plan,
    arrival_peak,
    as_arrays,
    evaluate,
    forward,
    judge,
    peak_gain,
    reach,
    trace,
)
from noonframe.types import FloatArray, IntArray

ROUNDS = 24
"""Price updates; more than this hardly raised the bound in trials."""
_THRESHOLD_SLACK = 1e-9
_NEIGHBOUR_STEPS = 8


@dataclass
class Answer:
    """Best known for at most m moves: even `plan` and its `finish_s` (inf: none known), and what bounds it."""

    plan: Plan
    finish_s: float
    bound_s: float
    proven: bool
    least_miss: tuple[float, float, Plan]
    """Smallest miss of evenness seen, the moment the mean is reached in that plan, and the plan."""


@dataclass
class Solution:
    """`answers[m]` for m = 0..max_moves; `mean_s[m]` when the mean alone can be reached with at most m moves."""

    answers: list[Answer]
    mean_s: list[float]


@dataclass
class _Known:
    """The best plans seen so far for exactly each number of moves."""

    finish_s: list[float]
    even: list[Plan]
    least: list[tuple[float, float, Plan]]
    seen: set[Plan] = field(default_factory=set)

    def note(self, plan: Plan, finish_s: float, miss: float, mean_s: float) -> None:
        m = len(plan.moves)
        if finish_s < self.finish_s[m]:
            self.finish_s[m], self.even[m] = finish_s, plan
        if (miss, mean_s) < self.least[m][:2] and np.isfinite(mean_s):
            self.least[m] = (miss, mean_s, plan)

    def look(self, problem: MoveProblem, plan: Plan) -> None:
        if plan not in self.seen:
            self.seen.add(plan)
            seen = evaluate(problem, *as_arrays(plan))
            self.note(plan, float(seen.finish_s[0]), float(seen.miss_stops[0]), float(seen.mean_s[0]))


def mean_plans(problem: MoveProblem, max_moves: int) -> list[tuple[float, Plan, float]]:
    """Per exact number of moves: earliest time the mean reaches the target, its plan, and the mean by the horizon."""
    p = problem
    stay = p.first_time(p.mean_dose, p.mean_rate, p.starts, np.full(len(p.starts), p.target))
    if np.isfinite(stay.min()):
        # No plan worth having outlasts the best stay, so the programme need not look beyond it.
        after = min(int(np.searchsorted(p.time_s, stay.min(), side="left")), p.steps)
        p = p.cut(float(p.time_s[max(after, 1)]))
    value = forward(p, p.mean_rate, p.mean_dose, max_moves)
    found = []
    for m in range(max_moves + 1):
        hit = value[m] >= p.target * (1 - 1e-12)
        best = float(value[m][-1].max())
        if not hit.any():
            k = int(np.argmax(value[m][-1]))
            plan = trace(p, p.mean_rate, p.mean_dose, value, m, p.steps, k) if np.isfinite(best) else None
            found.append((np.inf, plan or Plan(int(p.starts[0])), best))
            continue
        n = int(np.argmax(hit.any(axis=1)))
        at = np.flatnonzero(hit[n])
        level = np.minimum(p.target - (value[m][n, at] - p.mean_dose[n, at]), p.mean_dose[n, at])
        times = p.first_time(p.mean_dose, p.mean_rate, at, level)
        k = int(at[np.argmin(times)])
        found.append((float(times.min()), trace(p, p.mean_rate, p.mean_dose, value, m, n, k), best))
    return found


@dataclass(frozen=True)
class _Prices:
    """Directions: weights on the points (B, P), and the value (B,) every admissible plan reaches when it finishes."""

    weights: FloatArray
    thresholds: FloatArray


def _price(problem: MoveProblem, max_moves: int, known: _Known, keep: int) -> tuple[_Prices, FloatArray]:
    """The `keep` strongest directions found, and the bound on the finish (M+1,) for at most m moves."""
    p, points = problem, problem.rate.shape[2]
    price = np.concatenate([[0.5], np.full(2 * points, 0.25 / points)])
    bound = np.full(max_moves + 1, p.time_s[0])
    directions: list[tuple[float, FloatArray, float]] = []
    for turn in range(ROUNDS):
        mean, low, high = price[0], price[1 : points + 1], price[points + 1 :]
        weights = mean * p.weights / p.target + low / p.low - high / p.high
        threshold = float(mean + low.sum() - high.sum()) - _THRESHOLD_SLACK
        rate, dose = p.rate @ weights, p.dose @ weights
        value = forward(p, rate, dose, max_moves)
        best = np.maximum.accumulate(reach(p, rate, dose, value), axis=0)  # at most m moves
        enough = best >= threshold
        first = np.where(enough.any(axis=1), p.time_s[np.argmax(enough, axis=1)], np.inf)
        bound = np.maximum(bound, first)
        directions.append((float(first[-1]), weights, threshold))
        if not np.isfinite(first[-1]):
            break
        plan = Plan(int(p.starts[0]))
        for m in range(max_moves + 1):
            n = int(np.argmax(enough[m])) + 1 if enough[m].any() else p.steps
            k = int(np.argmax(value[m, n]))
            if np.isfinite(value[m, n, k]):
                plan = trace(p, rate, dose, value, m, n, k)
                known.look(p, plan)
        n = int(np.argmax(enough[-1])) + 1
        m, k = (int(i) for i in np.unravel_index(int(np.argmax(value[:, n])), value[:, n].shape))
        price = _updated(p, price, _doses_at(p, trace(p, rate, dose, value, m, n, k), n), turn)
    order = sorted(range(len(directions)), key=lambda i: (-directions[i][0], -i))[: keep - 1]
    plain = (p.weights / p.target, 1.0 - _THRESHOLD_SLACK)
    chosen = [plain, *((directions[i][1], directions[i][2]) for i in order)]
    return _Prices(np.array([w for w, _ in chosen]), np.array([t for _, t in chosen])), bound


def _doses_at(problem: MoveProblem, plan: Plan, n: int) -> FloatArray:
    dose = np.zeros(problem.rate.shape[2])
    here, lit = plan.start, problem.time_s[0]
    for leave, there in (*plan.moves, (n, plan.start)):
        dose += problem.dose[leave, here] - problem.at(problem.dose, problem.rate, np.asarray(here), np.asarray(lit))
        if leave < problem.steps:
            lit_s, _ = problem.transit(np.asarray(leave), np.asarray(here), np.asarray(there))
            here, lit = there, float(lit_s)
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


def improve(problem: MoveProblem, known: _Known, m: int) -> None:
    """Shift each departure and change each place of the best plan of m moves while that helps; exact evaluation."""
    p = problem
    for _ in range(12):
        even = bool(np.isfinite(known.finish_s[m]))
        before = (known.finish_s[m], known.least[m][:2])
        if not even and not np.isfinite(known.least[m][0]):
            return
        base = known.even[m] if even else known.least[m][2]
        places, departures = (np.concatenate(a) for a in zip(*_neighbours(p, base), strict=True))
        verdict = evaluate(p, places, departures)
        values = verdict.finish_s if even or np.isfinite(verdict.finish_s.min()) else verdict.miss_stops
        i = int(np.argmin(values))
        if np.isfinite(values[i]):
            moves = tuple((int(n), int(k)) for n, k in zip(departures[i], places[i, 1:], strict=True))
            known.note(Plan(int(places[i, 0]), moves), *(float(v[i]) for v in (verdict.finish_s, verdict.miss_stops,
                                                                              verdict.mean_s)))  # fmt: skip
        if (known.finish_s[m], known.least[m][:2]) == before:
            return


def _neighbours(problem: MoveProblem, plan: Plan) -> list[tuple[IntArray, IntArray]]:
    places, departures = as_arrays(plan)
    shift = np.arange(-_NEIGHBOUR_STEPS, _NEIGHBOUR_STEPS + 1)
    every = np.arange(problem.positions)
    shifts, to = (g.ravel() for g in np.meshgrid(shift, every, indexing="ij"))
    near = [(places, departures)]
    for i in range(len(plan.moves)):
        new_places = np.repeat(places, len(to), axis=0)
        new_departures = np.repeat(departures, len(to), axis=0)
        new_places[:, i + 1], new_departures[:, i] = to, departures[0, i] + shifts
        near.append((new_places, new_departures))
    if len(problem.starts) > 1:
        new_places = np.repeat(places, len(problem.starts), axis=0)
        new_places[:, 0] = problem.starts
        near.append((new_places, np.repeat(departures, len(problem.starts), axis=0)))
    return near


def _with_one_more(problem: MoveProblem, plan: Plan, known: _Known) -> None:
    """Try one extra move in `plan` at a coarse set of times."""
    p, m = problem, len(plan.moves)
    times = np.unique(np.linspace(0, p.steps - 1, min(p.steps, 24)).astype(np.int64))
    when, to = (g.ravel() for g in np.meshgrid(times, np.arange(p.positions), indexing="ij"))
    places, departures = as_arrays(plan)
    for i in range(m + 1):
        new_places = np.insert(np.repeat(places, len(to), axis=0), i + 1, to, axis=1)
        new_departures = np.insert(np.repeat(departures, len(to), axis=0), i, when, axis=1)
        verdict = evaluate(p, new_places, new_departures)
        for values in (verdict.finish_s, verdict.miss_stops):
            b = int(np.argmin(values))
            if np.isfinite(values[b]):
                moves = tuple((int(n), int(k)) for n, k in zip(new_departures[b], new_places[b, 1:], strict=True))
                known.note(Plan(int(new_places[b, 0]), moves), float(verdict.finish_s[b]),
                           float(verdict.miss_stops[b]), float(verdict.mean_s[b]))  # fmt: skip


class _Tables:
    """Most each priced dose can still gain before the horizon, by moves left, boundary and position."""

    def __init__(self, problem: MoveProblem, prices: _Prices, max_moves: int) -> None:
        p = self.problem = problem
        self.prices = prices
        self.rate = np.moveaxis(p.rate @ prices.weights.T, -1, 0)  # (B, N+1, K)
        self.dose = np.moveaxis(p.dose @ prices.weights.T, -1, 0)
        best_rate = p.rate.max(axis=1)
        ahead = np.cumsum((np.maximum(best_rate[:-1], best_rate[1:]) * p.step_s[:, None])[::-1], axis=0)[::-1]
        self.point_ahead = np.concatenate([ahead, np.zeros((1, ahead.shape[1]))])  # (N+1, P)
        self._arrivals: dict[tuple[int, int], FloatArray] = {}
        stop = self.dose.copy()
        stop[:, :-1] += peak_gain(self.rate[:, :-1], self.rate[:, 1:], p.step_s[:, None])
        self.ahead: list[FloatArray] = []
        for left in range(max_moves):
            best = stop.copy()
            if left:
                for row in range(p.positions if p.pairwise else 1):
                    gain = self.arrival(left - 1, row).max(axis=2)
                    where = slice(row, row + 1) if p.pairwise else slice(None)
                    view = best[:, :-1, where]
                    np.maximum(view, self.dose[:, :-1, where] + gain[:, :, None], out=view)
            self.ahead.append(np.maximum.accumulate(best[:, ::-1], axis=1)[:, ::-1] - self.dose)

    def arrival(self, left: int, row: int) -> FloatArray:
        """Most gained after leaving at n for k with `left` moves to come, (B, N, K)."""
        kept = self._arrivals.get((left, row))
        if kept is not None:
            return kept
        p, everywhere = self.problem, np.arange(self.problem.positions)
        landing, lit_s = p.arrive_n[:, row, :], p.arrive_s[:, row, :]
        there = np.minimum(landing, p.steps)
        gain = np.empty((len(self.rate), p.steps, p.positions))
        for b, (rate, dose) in enumerate(zip(self.rate, self.dose, strict=True)):
            whole = self.ahead[left][b][there, everywhere] + dose[there, everywhere]
            whole = whole - p.at(dose, rate, everywhere, np.minimum(lit_s, p.time_s[-1]))
            gain[b] = np.maximum(np.maximum(whole, arrival_peak(p, rate, row, everywhere)), 0.0)
        gain[:, np.broadcast_to(landing > p.steps, gain.shape[1:])] = 0.0
        if len(self._arrivals) >= 64:
            self._arrivals.clear()
        self._arrivals[left, row] = gain
        return gain


@dataclass(frozen=True)
class _Label:
    """A partial plan: where the sheet is, from which boundary it may move, and doses less the position's own."""

    plan: Plan
    position: int
    free: int
    priced: FloatArray
    points: FloatArray


@dataclass
class _Branch:
    """Children of a label still to be opened, most room first."""

    label: _Label
    departure: IntArray
    to: IntArray
    room: FloatArray
    turn: int = 0


class _Search:
    """Branch and bound over plans of exactly `m` moves that finish before the best known."""

    def __init__(self, problem: MoveProblem, prices: _Prices, m: int, known: _Known, finish_s: float) -> None:
        self.whole, self.prices, self.m, self.known = problem, prices, m, known
        self.finish_s = finish_s
        self.work = 0
        self._build()

    def _build(self) -> None:
        self.built_s = min(self.finish_s, float(self.whole.time_s[-1]))
        self.problem = self.whole.cut(self.built_s)
        self.tables = _Tables(self.problem, self.prices, self.m)
        self.work += self.tables.rate.size * self.m * (self.problem.positions if self.problem.pairwise else 1) // 4

    def run(self, work_limit: int) -> bool:
        """True when every plan has been dealt with, False when the work limit came first."""
        zeros = np.zeros(len(self.prices.thresholds)), np.zeros(self.problem.rate.shape[2])
        count = 0
        heap: list[tuple[float, int, _Branch]] = []
        for k in self.problem.starts:
            branch = self._open(_Label(Plan(int(k)), int(k), 0, *zeros))
            if branch is not None:
                heap.append((-float(branch.room[0]), count, branch))
                count += 1
        heapq.heapify(heap)
        while heap:
            if self.work > work_limit:
                return False
            _, _, branch = heapq.heappop(heap)
            label = self._child(branch)
            branch.turn += 1
            if branch.turn < len(branch.to):
                heapq.heappush(heap, (self._key(branch), count, branch))
                count += 1
            opened = self._open(label) if label is not None else None
            if opened is not None:
                heapq.heappush(heap, (self._key(opened), count, opened))
                count += 1
            if self.finish_s < self.built_s - 0.005 * (self.built_s - self.whole.time_s[0]):
                self._build()
        return True

    def _key(self, branch: _Branch) -> float:
        # Room shrinks with depth as bounds tighten; dividing by the moves left lets deep branches have their turn.
        left = self.m - len(branch.label.plan.moves)
        return -float(branch.room[branch.turn]) / (left + 1)

    def _child(self, branch: _Branch) -> _Label | None:
        p, label, t = self.problem, branch.label, self.tables
        n, k = int(branch.departure[branch.turn]), int(branch.to[branch.turn])
        if n >= p.steps:
            return None
        lit_s, free = p.transit(np.asarray(n), np.asarray(label.position), np.asarray(k))
        if int(free) >= p.steps:
            return None
        left = self.m - len(label.plan.moves) - 1
        ahead = t.arrival(left, label.position if p.pairwise else 0)[:, n, k]
        priced = label.priced + t.dose[:, n, label.position]
        if (priced + ahead < self.prices.thresholds).any():
            return None
        lit_before = p.at(p.dose, p.rate, np.asarray(k), lit_s)
        points = label.points + p.dose[n, label.position] - lit_before
        plan = Plan(label.plan.start, (*label.plan.moves, (n, k)))
        return _Label(plan, k, int(free), priced - self.prices.weights @ lit_before, points)

    def _open(self, label: _Label) -> _Branch | None:
        """Children of `label` that no bound rules out; whole plans among them are judged at once."""
        p, t, here = self.problem, self.tables, label.position
        self.work += (p.steps - label.free) * p.positions
        leave = np.arange(label.free, p.steps)
        points = label.points + p.dose[leave, here]
        can = (points <= p.high * (1 + 1e-9)).all(axis=1)
        can &= (points + t.point_ahead[leave] >= p.low * (1 - 1e-9)).all(axis=1)
        leave, points = leave[can], points[can]
        left = self.m - len(label.plan.moves) - 1
        ahead = t.arrival(left, here if p.pairwise else 0)
        n, k = (a.ravel() for a in np.meshgrid(leave, np.arange(p.positions), indexing="ij"))
        row = np.repeat(np.arange(len(leave)), p.positions)
        stay = k != here
        n, k, row = n[stay], k[stay], row[stay]
        room = np.full(len(n), np.inf)
        for b, threshold in enumerate(self.prices.thresholds):
            spare = label.priced[b] + t.dose[b, n, here] + ahead[b, n, k] - threshold
            room = np.minimum(room, spare)
            keep = room >= 0.0
            n, k, row, room = n[keep], k[keep], row[keep], room[keep]
        self.work += 4 * len(n)
        if not n.size:
            return None
        if left == 0:
            self._judge(label, n, k, points[row])
            return None
        order = np.argsort(-room, kind="stable")
        return _Branch(label, n[order], k[order], room[order])

    def _judge(self, label: _Label, n: IntArray, k: IntArray, dose: FloatArray) -> None:
        p = self.problem
        self.work += 4 * dose.size
        lit_s, free = p.transit(n, np.full(len(n), label.position), k)
        ok = free <= p.steps
        n, k = n[ok], k[ok]
        if not n.size:
            return
        verdict = judge(p, k, lit_s[ok], dose[ok], self.finish_s)
        for values in (verdict.finish_s, verdict.miss_stops):
            i = int(np.argmin(values))
            if np.isfinite(values[i]):
                plan = Plan(label.plan.start, (*label.plan.moves, (int(n[i]), int(k[i]))))
                self.known.note(plan, float(verdict.finish_s[i]), float(verdict.miss_stops[i]), float(verdict.mean_s[i]))
        self.finish_s = min(self.finish_s, float(verdict.finish_s.min()))


def solve(problem: MoveProblem, max_moves: int, work_limit: int) -> Solution:
    """Best plans for at most 0..max_moves moves."""
    p = problem
    nothing = Plan(int(p.starts[0]))
    size = max_moves + 1
    known = _Known([np.inf] * size, [nothing] * size, [(np.inf, np.inf, nothing)] * size)
    mean = mean_plans(p, max_moves)
    for k in p.starts:
        known.look(p, Plan(int(k)))
    for _, plan, _ in mean:
        known.look(p, plan)
    mean_s = [float(t) for t in np.minimum.accumulate([t for t, _, _ in mean])]
    bound = np.array(mean_s)
    answers: list[Answer] = []
    prices: _Prices | None = None
    proven, spent = True, 0
    for m in range(size):
        finish_s = min(known.finish_s[: m + 1])
        settled = m == 0 or not p.even or finish_s <= bound[m] + 1e-9 or not np.isfinite(mean_s[m])
        if not settled and prices is None:
            horizon = p.cut(min(finish_s, float(p.time_s[-1])))
            prices, priced = _price(horizon, max_moves, known, 4 if p.pairwise else 10)
            # A bound from the shortened horizon says "not before the best known", never more than that.
            bound = np.maximum(bound, np.minimum(priced, finish_s))
        if not settled and prices is not None:
            for seed in {known.even[m - 1], known.least[m - 1][2]}:
                if len(seed.moves) == m - 1:
                    _with_one_more(p, seed, known)
            improve(p, known, m)
            finish_s = min(known.finish_s[: m + 1])
            if finish_s > bound[m] + 1e-9 and proven:
                search = _Search(p, prices, m, known, finish_s)
                proven = search.run((work_limit - spent) // (size - m))
                spent += search.work
            elif finish_s > bound[m] + 1e-9:
                search = _Search(p, prices, m, known, finish_s)
                search.run((work_limit - spent) // (size - m))
                spent += search.work
            finish_s = min(known.finish_s[: m + 1])
        settled = proven or finish_s <= bound[m] + 1e-9
        answers.append(_answer(known, m, finish_s, float(bound[m]), settled, mean))
    return Solution(answers, mean_s)


def _answer(known: _Known, m: int, finish_s: float, bound_s: float, proven: bool,
            mean: list[tuple[float, Plan, float]]) -> Answer:  # fmt: skip
    least = min(known.least[: m + 1], key=lambda item: item[:2])
    if np.isfinite(finish_s):
        plan = known.even[known.finish_s.index(finish_s)]
    elif np.isfinite(least[0]):
        plan = least[2]
    else:
        plan = max(mean[: m + 1], key=lambda item: item[2])[1]
    return Answer(plan, finish_s, finish_s if proven else min(bound_s, finish_s), proven, least)
