"""Moves of a sheet during an exposure, against plans enumerated one by one in the test's own arithmetic."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest

from noonframe.dose.moves import Candidate, MovePlan, evenness_stops, plan_moves
from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

FREE = {"minimum_gain_s": 0.0, "minimum_gain_share": 0.0}
EXACT_S = 1e-6
"""Both sides are double precision on times below 1e3 s, so only rounding is allowed."""


@dataclass(frozen=True)
class Case:
    time_s: FloatArray
    rate: FloatArray  # (K, N+1, P)
    target: float
    cost: float | FloatArray
    max_moves: int
    tolerance: float | None
    start: int | None
    weights: FloatArray

    def planned(self, **changes: object) -> MovePlan:
        given: dict[str, object] = {
            "move_cost_s": self.cost,
            "max_moves": self.max_moves,
            "tolerance_stops": self.tolerance,
            "start_index": self.start,
            "weights": self.weights,
            **FREE,
            **changes,
        }
        return plan_moves(self.time_s, self.rate, self.target, **given)  # type: ignore[arg-type]


def random_case(seed: int) -> Case:
    draw = np.random.default_rng(seed)
    positions, steps = int(draw.integers(1, 5)), int(draw.integers(2, 9))
    points, max_moves = int(draw.choice([1, 4, 4, 4])), int(draw.integers(0, 4))
    if positions == 4 and max_moves == 3:
        steps = min(steps, 6)
    time_s = np.cumsum(np.r_[draw.integers(0, 50), draw.integers(5, 60, steps)]).astype(float)
    shape = (positions, steps + 1, points)
    rate = draw.uniform(0, 10, shape) * draw.choice([1, 1, 1, 0], (positions, steps + 1, 1))
    if draw.random() < 0.5:
        rate *= np.linspace(0.5, 1.5, positions)[:, None, None]
    if draw.random() < 0.5:
        rate = rate.mean(2, keepdims=True) * draw.uniform(0.6, 1.4, (positions, 1, points))
    cost: float | FloatArray = float(draw.choice([0.0, 7.0, 30.0, 45.0]))
    if draw.random() < 0.4:
        cost = draw.integers(0, 60, (positions, positions)).astype(float)
    weights = draw.uniform(0.5, 1, points)
    mean = rate @ (weights / weights.sum())
    most = np.trapezoid(mean, time_s, axis=1).max()
    return Case(
        time_s, rate, float(draw.uniform(0.1, 1.2) * most) + 1e-3, cost, max_moves,
        [None, 0.1, 0.3, 0.5, 1.0][int(draw.integers(5))],
        None if draw.random() < 0.5 else int(draw.integers(positions)), weights,
    )  # fmt: skip


def pieces(case: Case, stays: list[tuple[float, float, int]], until: float = math.inf):
    """Spans of linear rate (start, end, rates at start, rates at end) of a sheet that lies in `stays`."""
    for begin, end, k in stays:
        inner = case.time_s[(case.time_s > begin) & (case.time_s < min(end, until))]
        edges = [begin, *inner, min(end, until)]
        for a, b in pairwise(edges):
            if b > a:
                yield (
                    a,
                    b,
                    *(np.array([np.interp(t, case.time_s, r) for r in case.rate[k].T]) for t in (a, b)),
                )


def enumerated_finish(case: Case, stays: list[tuple[float, float, int]]) -> float:
    """First moment with mean and lowest point there, inf if never or if a point is overdone by then."""
    even = case.tolerance is not None and len(case.weights) > 1
    wanted = [(case.weights / case.weights.sum(), case.target)]
    if even:
        wanted += [(unit, case.target * 2**-case.tolerance) for unit in np.eye(len(case.weights))]
    moments, spans = [], list(pieces(case, stays))
    for weights, level in wanted:
        so_far, moment = 0.0, math.inf
        for a, b, first, last in spans:
            r0, r1 = float(first @ weights), float(last @ weights)
            gain = (r0 + r1) / 2 * (b - a)
            if so_far + gain >= level:
                roots = np.roots(np.trim_zeros([(r1 - r0) / (b - a) / 2, r0, so_far - level], "f"))
                real = [z.real for z in roots if abs(z.imag) < 1e-6 and -1e-9 <= z.real <= b - a + 1e-6]
                moment = a + min(real)
                break
            so_far += gain
        moments.append(moment)
    done = max(moments)
    if even and math.isfinite(done):
        dose = sum((first + last) / 2 * (b - a) for a, b, first, last in pieces(case, stays, done))
        if dose.max() > case.target * 2**case.tolerance * (1 + 1e-9):
            return math.inf
    return done


def enumerated(case: Case) -> list[float]:
    """Best finish over all plans of at most 0, 1, ... max_moves moves."""
    positions, steps = len(case.rate), len(case.time_s) - 1
    cost = np.broadcast_to(case.cost, (positions, positions))
    end = case.time_s[-1]
    best = [math.inf] * (case.max_moves + 1)

    def extend(stays: list[tuple[float, float, int]], lit: float, k: int, last: int, used: int) -> None:
        best[used] = min(best[used], enumerated_finish(case, [*stays, (lit, end, k)]))
        if used == case.max_moves:
            return
        for n in range(last + 1, steps):
            for to in range(positions):
                arrival = case.time_s[n] + cost[k, to]
                if to != k and case.time_s[n] >= lit - 1e-9 and arrival < end:
                    extend([*stays, (lit, case.time_s[n], k)], arrival, to, n, used + 1)

    for k in range(positions) if case.start is None else [case.start]:
        extend([], case.time_s[0], k, -1, 0)
    return list(np.minimum.accumulate(best))


@pytest.mark.parametrize("seed", range(220))
def test_finish_and_number_of_moves_equal_those_of_full_enumeration(seed):
    case = random_case(seed)
    best = enumerated(case)
    plan = case.planned()
    assert plan.proven
    if math.isinf(best[-1]):
        assert plan.best_finish_s is None
        assert plan.outcome != "reached"
        return
    assert plan.outcome == "reached"
    assert plan.finish_s == pytest.approx(best[-1], abs=EXACT_S)
    assert plan.bound_s == plan.best_finish_s == plan.finish_s
    assert len(plan.moves) == next(m for m, finish in enumerate(best) if finish <= best[-1] + EXACT_S)
    assert (plan.stay_finish_s is None) == math.isinf(best[0])


def test_random_cases_cover_what_they_are_meant_to():
    cases = [random_case(seed) for seed in range(220)]
    plans = [case.planned() for case in cases]
    assert {plan.outcome for plan in plans} == {"reached", "uneven", "out_of_light"}
    assert {len(plan.moves) for plan in plans} == {0, 1, 2, 3}
    binding = [p for p in plans if p.outcome == "reached" and p.finish_s > p.mean_finish_s + 1.0]
    assert sum(len(plan.moves) > 0 for plan in binding) >= 5
    assert any(np.ndim(case.cost) for case in cases)


@pytest.mark.parametrize("seed", range(300, 340))
def test_plan_played_out_gives_the_doses_and_the_finish_it_reports(seed):
    case = random_case(seed)
    plan = case.planned()
    cost = np.broadcast_to(case.cost, (len(case.rate),) * 2)
    stays, lit, here = [], case.time_s[0], plan.start_index
    for move in plan.moves:
        assert move.from_index == here
        stays.append((lit, move.time_s, here))
        lit, here = move.time_s + cost[here, move.to_index], move.to_index
    end = case.time_s[-1] if plan.finish_s is None else plan.finish_s
    dose = sum(
        (
            (a + b) / 2 * (t1 - t0)
            for t0, t1, a, b in pieces(case, [*stays, (lit, case.time_s[-1], here)], end)
        ),
        np.zeros(len(case.weights)),
    )
    assert plan.dose_j_m2 == pytest.approx(dose, rel=1e-9, abs=1e-9)
    assert plan.dose_mean_j_m2 == pytest.approx(dose @ case.weights / case.weights.sum(), rel=1e-9)
    assert (plan.dose_low_j_m2, plan.dose_high_j_m2) == (min(plan.dose_j_m2), max(plan.dose_j_m2))
    if plan.outcome == "reached":
        assert plan.finish_s == pytest.approx(
            enumerated_finish(case, [*stays, (lit, case.time_s[-1], here)]), abs=EXACT_S
        )
        if case.tolerance is not None and len(case.weights) > 1:
            assert plan.low_stops >= -case.tolerance - 1e-9
            assert plan.high_stops <= case.tolerance + 1e-9


def room(positions: int = 12, steps: int = 60, points: int = 9) -> tuple[FloatArray, FloatArray]:
    """A patch of sun that wanders along a table, seen by a row of positions; points lie across each."""
    time_s = np.arange(steps + 1) * 60.0
    centre = np.linspace(-1.0, 1.0, steps + 1)[None, :, None]
    place = np.linspace(-0.9, 0.9, positions)[:, None, None] + np.linspace(-0.12, 0.12, points)
    sun = np.clip((0.3 - np.abs(place - centre)) / 0.1 + 0.5, 0.0, 1.0)
    return time_s, 6.0 * sun + 0.8 * np.exp(-(place**2))


@pytest.mark.parametrize("tolerance", [None, 0.5, 0.25])
def test_more_moves_and_more_candidates_never_finish_later_and_no_plan_later_than_staying(tolerance):
    time_s, rate = room()
    given = {"move_cost_s": 20.0, "tolerance_stops": tolerance, "start_index": 0, **FREE}
    finishes = []
    for max_moves in range(4):
        plan = plan_moves(time_s, rate, 5000.0, max_moves=max_moves, **given)
        few = plan_moves(time_s, rate[:8], 5000.0, max_moves=max_moves, **given)
        finish = math.inf if plan.finish_s is None or plan.outcome != "reached" else plan.finish_s
        assert finish <= (few.best_finish_s or math.inf) + EXACT_S
        assert finish <= (plan.stay_finish_s or math.inf) + EXACT_S
        assert plan.mean_finish_s is None or finish >= plan.mean_finish_s - EXACT_S
        finishes.append(finish)
    assert all(later <= sooner + EXACT_S for sooner, later in pairwise(finishes))
    assert finishes[-1] < finishes[0]


def test_moves_that_cost_nothing_do_at_least_as_well_as_going_where_it_is_brightest_each_step():
    time_s, rate = room(positions=5, steps=10, points=1)
    gains = 30.0 * (rate[:, :-1, 0] + rate[:, 1:, 0])
    greedy = np.cumsum(gains.max(axis=0))
    target = float(greedy[7])
    plan = plan_moves(time_s, rate, target, move_cost_s=0.0, max_moves=10, **FREE)
    assert plan.finish_s == pytest.approx(time_s[8], abs=EXACT_S)


def test_equal_constant_light_everywhere_means_stay_put():
    plan = plan_moves([0, 60, 120], np.ones((3, 3, 2)), 90.0, move_cost_s=0.0, max_moves=3, **FREE)
    assert plan.moves == ()
    assert plan.start_index == 0
    assert plan.finish_s == pytest.approx(90.0, abs=1e-9)
    assert plan.advice.startswith("Stay put")


def test_finish_inside_a_step_is_the_root_of_its_parabola():
    # Rate 2 + 0.1 t: dose 2 t + 0.05 t^2 = 30; then the same falling, 8 t - 0.05 t^2 = 30.
    plan = plan_moves([0, 60], [[[2.0], [8.0]]], 30.0, move_cost_s=5.0, max_moves=2)
    assert plan.finish_s == pytest.approx((math.sqrt(4 + 4 * 0.05 * 30) - 2) / 0.1, abs=1e-9)
    falling = plan_moves([0, 60], [[[8.0], [2.0]]], 30.0, move_cost_s=5.0, max_moves=2)
    assert falling.finish_s == pytest.approx((8 - math.sqrt(64 - 4 * 0.05 * 30)) / 0.1, abs=1e-9)


def test_target_crossed_in_the_first_step_before_any_move_could_help():
    time_s, rate = room()
    plan = plan_moves(time_s, rate, 20.0, move_cost_s=30.0, max_moves=3, start_index=2, **FREE)
    assert plan.moves == ()
    assert 0 < plan.finish_s < 60


def test_unreachable_target_is_a_named_outcome_with_the_best_share():
    time_s = np.array([0.0, 100.0, 200.0])
    rate = np.array([[[1.0]] * 3, [[3.0]] * 3])
    plan = plan_moves(time_s, rate, 1000.0, move_cost_s=10.0, max_moves=1, start_index=0)
    # leave at once: 190 s at 3 W/m2
    assert plan.outcome == "out_of_light"
    assert plan.finish_s is None
    assert plan.bound_s is None
    assert plan.share == pytest.approx(0.57)
    assert [(m.time_s, m.to_index, m.saves_s) for m in plan.moves] == [(0.0, 1, None)]
    dark = plan_moves(time_s, np.zeros((2, 3, 1)), 1000.0, move_cost_s=10.0, max_moves=1)
    assert (dark.outcome, dark.moves, dark.share, dark.low_stops) == ("out_of_light", (), 0.0, -math.inf)


def test_sheet_that_no_plan_can_expose_evenly_gets_the_most_even_plan_and_says_so():
    # Point 1 gets half of point 0 in one place, a third in the other: best is a whole stop apart.
    rate = np.array([[[4.0, 2.0]] * 5, [[6.0, 2.0]] * 5])
    plan = plan_moves(np.arange(5) * 60.0, rate, 300.0, move_cost_s=0.0, max_moves=2, tolerance_stops=0.2)
    assert plan.outcome == "uneven"
    assert plan.proven
    assert plan.bound_s is None
    assert plan.start_index == 0
    assert plan.moves == ()
    assert plan.dose_j_m2 == pytest.approx((400.0, 200.0))
    assert plan.finish_s == pytest.approx(100.0)


def test_turning_the_sheet_evens_it_out():
    # Two aims, each favouring one point; the mean is reached at 80 s wherever, evenly only after a turn.
    rate = np.array([[[4.0, 2.0]] * 11, [[2.0, 4.0]] * 11])
    plan = plan_moves(
        np.arange(11) * 10.0, rate, 240.0, move_cost_s=0.0, max_moves=1, tolerance_stops=0.01, **FREE
    )
    assert plan.outcome == "reached"
    assert [(m.time_s, m.from_index, m.to_index, m.saves_s) for m in plan.moves] == [(40.0, 0, 1, None)]
    assert plan.finish_s == pytest.approx(80.0)
    assert plan.stay_finish_s is None
    assert plan.dose_j_m2 == pytest.approx((240.0, 240.0))


def test_exposure_goes_on_past_the_mean_until_the_lowest_point_is_there():
    # Mean 3 W/m2 reaches 300 at 100 s with point 1 at 200; its limit is 300 / 2**0.5 = 212.13, at 106.07 s,
    # when point 0 has 424.26 = 300 * 2**0.5, just allowed.
    rate = np.array([[[4.0, 2.0]] * 3])
    plan = plan_moves([0, 60, 120], rate, 300.0, move_cost_s=0.0, max_moves=0, tolerance_stops=0.5)
    assert plan.mean_finish_s == pytest.approx(100.0)
    assert plan.finish_s == pytest.approx(150.0 / math.sqrt(2.0))
    assert (plan.low_stops, plan.high_stops) == (pytest.approx(-0.5), pytest.approx(0.5))


def test_small_gain_is_not_worth_a_move_and_the_advice_says_what_it_would_save():
    time_s, rate = np.arange(21) * 60.0, np.array([[[1.0]] * 21, [[1.1]] * 21])
    given = {"move_cost_s": 10.0, "max_moves": 1, "start_index": 0}
    # Staying: 1000 s.  Moving at once: 10 + 1000 / 1.1 = 919.09 s, saves 80.9 s.  5 % is 50 s: 60 s rules.
    moved = plan_moves(time_s, rate, 1000.0, **given)
    assert moved.minimum_gain_s == 60.0
    assert moved.finish_s == pytest.approx(10 + 1000 / 1.1)
    assert moved.moves[0].saves_s == pytest.approx(990 - 1000 / 1.1)
    stayed = plan_moves(time_s, rate, 1000.0, **given, minimum_gain_share=0.09)
    assert stayed.minimum_gain_s == pytest.approx(90.0)
    assert stayed.moves == ()
    assert stayed.finish_s == stayed.stay_finish_s == pytest.approx(1000.0)
    assert stayed.best_finish_s == moved.finish_s
    assert "1 min 21 s" in stayed.advice


def test_saving_of_each_move_is_the_delay_when_it_is_left_out():
    # 0 -> 1 at 0 s and 1 -> 2 at 120 s, when the light in 1 fails and that in 2 begins.
    on, off = 4.0, 0.0
    rate = np.array([[[1.0]] * 7, [[on], [on], [on], [off], [off], [off], [off]], [[off]] * 3 + [[on]] * 4])
    time_s = np.arange(7) * 60.0
    plan = plan_moves(time_s, rate, 900.0, move_cost_s=0.0, max_moves=2, start_index=0, **FREE)
    # 480 J/m2 by 120 s, 120 on the ramp to 180 s, 300 at 4 W/m2: 255 s.  Without the first move: 120 by
    # 120 s, 120 on the ramp, 660 at 4 W/m2: 345 s.  Without the second the sheet ends in the dark.
    assert plan.finish_s == pytest.approx(255.0)
    first, second = plan.moves
    assert (first.time_s, first.to_index, first.saves_s) == (0.0, 1, pytest.approx(90.0))
    assert (second.time_s, second.to_index, second.saves_s) == (120.0, 2, None)


def test_cost_table_of_equal_costs_is_the_same_as_one_cost_and_dearer_pairs_are_avoided():
    time_s, rate = room(positions=6, steps=30)
    one = plan_moves(time_s, rate, 3000.0, move_cost_s=25.0, max_moves=2, start_index=0, **FREE)
    table = np.full((6, 6), 25.0)
    np.fill_diagonal(table, 999.0)
    assert plan_moves(time_s, rate, 3000.0, move_cost_s=table, max_moves=2, start_index=0, **FREE) == one
    table[0, one.moves[0].to_index] = 1e6
    dear = plan_moves(time_s, rate, 3000.0, move_cost_s=table, max_moves=2, start_index=0, **FREE)
    assert dear.finish_s > one.finish_s
    assert dear.moves[0].to_index != one.moves[0].to_index


def test_ties_go_to_fewer_moves_then_to_the_earlier_index():
    rate = np.array([[[1.0]] * 3, [[2.0]] * 3, [[2.0]] * 3])
    plan = plan_moves([0, 60, 120], rate, 100.0, move_cost_s=0.0, max_moves=2, start_index=0, **FREE)
    assert [(m.time_s, m.to_index) for m in plan.moves] == [(0.0, 1)]
    assert plan == plan_moves([0, 60, 120], rate, 100.0, move_cost_s=0.0, max_moves=2, start_index=0, **FREE)


def test_search_that_runs_out_of_work_says_so_with_an_honest_bound():
    time_s, rate = room(positions=20, steps=60)
    given = {"move_cost_s": 20.0, "max_moves": 3, "tolerance_stops": 0.02, **FREE}
    short = plan_moves(time_s, rate, 6000.0, **given, work_limit=0)
    longer = plan_moves(time_s, rate, 6000.0, **given, work_limit=400_000_000)
    assert not short.proven
    assert short.bound_s is not None
    assert longer.proven
    assert longer.best_finish_s is not None
    assert short.bound_s <= longer.best_finish_s + EXACT_S
    assert short.best_finish_s is None or short.best_finish_s >= longer.best_finish_s - EXACT_S
    assert short.mean_finish_s <= short.bound_s + EXACT_S


def test_times_may_start_anywhere_and_labels_are_used_in_the_advice():
    time_s, rate = room()
    labels = [Candidate(i, f"mark {i}") for i in range(12)]
    plan = plan_moves(time_s, rate, 5000.0, move_cost_s=20.0, max_moves=2, start_index=0, candidates=labels)
    later = plan_moves(time_s + 36000.0, rate, 5000.0, move_cost_s=20.0, max_moves=2, start_index=0)
    assert later.finish_s == pytest.approx(plan.finish_s + 36000.0, abs=EXACT_S)
    assert later.length_s == pytest.approx(plan.length_s, abs=EXACT_S)
    assert f"mark {plan.moves[0].to_index}" in plan.advice


def test_evenness_is_in_stops_from_the_target():
    even = evenness_stops([50.0, 100.0, 400.0], 100.0)
    assert (even.low_stops, even.high_stops, even.spread_stops) == (-1.0, 2.0, 3.0)
    assert evenness_stops([0.0, 100.0], 100.0).low_stops == -math.inf


GOOD = {
    "time_s": [0.0, 60.0, 120.0],
    "rate_w_m2": np.ones((2, 3, 4)),
    "target_j_m2": 50.0,
    "move_cost_s": 5.0,
    "max_moves": 1,
}
NAN_RATE = np.ones((2, 3, 4))
NAN_RATE[1, 2, 3] = math.nan


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("time_s", [0.0]),
        ("time_s", [0.0, 60.0, 60.0]),
        ("time_s", [0.0, math.nan, 60.0]),
        ("rate_w_m2", NAN_RATE),
        ("rate_w_m2", -np.ones((2, 3, 4))),
        ("rate_w_m2", np.ones((2, 4, 4))),
        ("rate_w_m2", np.ones((2, 3))),
        ("rate_w_m2", np.ones((0, 3, 4))),
        ("rate_w_m2", np.ones((2, 3, 0))),
        ("target_j_m2", 0.0),
        ("target_j_m2", math.inf),
        ("move_cost_s", -1.0),
        ("move_cost_s", math.nan),
        ("move_cost_s", np.ones((3, 3))),
        ("max_moves", -1),
        ("max_moves", 13),
        ("max_moves", 1.5),
        ("tolerance_stops", -0.1),
        ("tolerance_stops", math.nan),
        ("start_index", 2),
        ("start_index", -1),
        ("weights", [1.0, 1.0]),
        ("weights", [0.0, 0.0, 0.0, 0.0]),
        ("weights", [1.0, -1.0, 1.0, 1.0]),
        ("minimum_gain_s", -1.0),
        ("minimum_gain_share", 1.1),
        ("work_limit", -1),
        ("candidates", [Candidate(2, "nowhere")]),
    ],
)
def test_bad_input_is_refused_by_name(field, value):
    with pytest.raises(OutOfDomain, match=field) as refused:
        plan_moves(**{**GOOD, field: value})
    assert refused.value.field == field


@pytest.mark.parametrize(("dose", "target"), [([], 1.0), ([math.nan], 1.0), ([-1.0], 1.0), ([1.0], 0.0)])
def test_evenness_refuses_bad_input(dose, target):
    with pytest.raises(OutOfDomain):
        evenness_stops(dose, target)
