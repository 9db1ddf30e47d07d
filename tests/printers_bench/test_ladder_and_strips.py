"""Geometric test strips: their doses, their clock times in changing light, and a strip under way."""

import datetime as dt
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from noonframe.bench.ladder import DoseLadder, bracketing_ladder
from noonframe.bench.strips import follow_strip, plan_strip
from noonframe.dose.course import quantile_factor
from noonframe.dose.scene import Scene
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import OpenSpot
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

EXACT = 1e-9
"""Relative; closed forms on both sides."""

CLOSURE = 5e-4
"""The light between start and cover must be the strip's dose: 0.05 %, as for any exposure."""

STEADY = DoseLadder(4.0 * 60.0, 0.5, 5)  # at 1 W/m2 the seconds are the joules


def steady(unix_s):
    return np.ones(unix_s.shape)


@pytest.mark.reference
def test_a_half_stop_strip_from_four_minutes_has_the_handbook_times():
    # geometric test strip, printed to 0.01 min in darkroom handbooks; checked by 4 * 2**(k/2)
    minutes = [total / 60.0 for total in STEADY.totals_j_m2]
    assert minutes == pytest.approx([4.00, 5.66, 8.00, 11.31, 16.00], abs=0.005)
    added = [addition / 60.0 for addition in STEADY.additions_j_m2]
    assert added == pytest.approx([4.00, 1.66, 2.34, 3.31, 4.69], abs=0.006)  # differences of rounded totals


@pytest.mark.reference
@pytest.mark.parametrize(
    ("step_stops", "factor"), [(1 / 6, 1.122), (1 / 4, 1.189), (1 / 3, 1.260), (1 / 2, 1.414), (1, 2.0)]
)
def test_steps_in_stops_are_the_handbook_factors(step_stops, factor):  # darkroom handbooks, to 0.001
    first, second = DoseLadder(1000.0, step_stops, 2).totals_j_m2
    assert second / first == pytest.approx(factor, abs=0.0005)


@given(
    median=st.floats(100.0, 1e6),
    spread=st.floats(0.1, 2.0),
    step=st.one_of(st.none(), st.sampled_from([0.25, 1 / 3, 0.5, 1.0])),
)
def test_a_ladder_brackets_the_belief_and_is_centred_on_it(median, spread, step):
    if 4.0 * spread / (step or 0.5) > 29.0:
        return
    ladder = bracketing_ladder(median, spread, step_stops=step)
    totals = ladder.totals_j_m2
    assert math.sqrt(totals[0] * totals[-1]) == pytest.approx(median, rel=EXACT)
    assert ladder.span_stops >= 4.0 * spread - 1e-6
    assert ladder.count == 2 or ladder.span_stops - ladder.step_stops < 4.0 * spread


def test_a_given_number_of_strips_sets_the_step():
    ladder = bracketing_ladder(24000.0, 1.0, count=7)
    assert ladder.step_stops == pytest.approx(4.0 / 6.0)
    assert ladder.totals_j_m2[0] == pytest.approx(6000.0)
    assert ladder.totals_j_m2[-1] == pytest.approx(96000.0)
    assert bracketing_ladder(24000.0, 1.0, step_stops=0.5, count=5).span_stops == pytest.approx(2.0)
    assert bracketing_ladder(24000.0, 1.0).count == 9  # a whole number of steps gains none by rounding


def test_in_steady_light_the_covers_come_at_the_doses():
    plan = plan_strip(steady, 1000.0, STEADY)
    assert [cover.at_s for cover in plan.covers] == pytest.approx([1000.0 + t for t in STEADY.totals_j_m2])
    assert [cover.gap_s for cover in plan.covers] == pytest.approx(list(STEADY.additions_j_m2))
    assert [cover.strip for cover in plan.covers] == [1, 2, 3, 4, 5]
    assert plan.complete
    assert plan.end_s == plan.covers[-1].at_s
    assert plan.handy
    assert not plan_strip(lambda t: 50.0 * steady(t), 0.0, STEADY).handy


def test_in_rising_light_the_covers_solve_the_quadratic():
    plan = plan_strip(lambda t: 1.0 + t / 600.0, 0.0, STEADY)
    roots = [600.0 * (math.sqrt(1.0 + 2.0 * total / 600.0) - 1.0) for total in STEADY.totals_j_m2]
    assert [cover.at_s for cover in plan.covers] == pytest.approx(roots, rel=EXACT)


def test_the_light_between_start_and_each_cover_is_its_dose():
    place = Place(41.15, -8.61, 80.0)
    scene = Scene(
        place,
        assume_sky(place, dt.date(2026, 10, 3), sky="clear"),
        OpenSpot(),
        parse_stack("float-glass-4mm"),
        find_sensitizer("citrate-classic"),
        0.1,
    )
    start_s = dt.datetime(2026, 10, 3, 14, 0, tzinfo=dt.UTC).timestamp()
    plan = plan_strip(scene.rate, start_s, DoseLadder(5000.0, 0.5, 8), light_spread_stops=0.2)
    for cover in plan.covers:
        dose = quad(lambda t: float(scene.rate(np.array([t]))[0]), start_s, cover.at_s, epsrel=1e-6)[0]
        assert dose == pytest.approx(cover.total_j_m2, rel=CLOSURE)
        assert cover.early_s < cover.at_s < cover.late_s
    assert all(a.at_s < b.at_s for a, b in pairwise(plan.covers))


def test_the_early_and_late_covers_are_the_light_s_quantiles():
    plan = plan_strip(steady, 0.0, STEADY, light_spread_stops=0.5)
    factor = quantile_factor(0.5)
    assert plan.covers[2].early_s == pytest.approx(480.0 / factor)
    assert plan.covers[2].late_s == pytest.approx(480.0 * factor)


def test_strips_that_the_light_does_not_reach_have_no_time():
    def until_dark(unix_s):
        return np.where(unix_s < 600.0, 1.0, 0.0)

    plan = plan_strip(until_dark, 0.0, STEADY)
    assert [cover.at_s is None for cover in plan.covers] == [False, False, False, True, True]
    assert not plan.complete
    assert plan.end_s is None
    assert plan.covers[-1].gap_s is None
    night = plan_strip(lambda t: np.zeros(t.shape), 0.0, STEADY)
    assert all(cover.at_s is None and cover.early_s is None for cover in night.covers)
    assert night.shortest_gap_s is None


def test_light_that_comes_back_the_next_day_is_not_counted():
    def day_and_night(unix_s):
        return np.where(np.mod(unix_s, 7200.0) < 600.0, 1.0, 0.0)

    assert plan_strip(day_and_night, 0.0, STEADY).covers[-1].at_s is None


def test_a_strip_followed_live_counts_dose_and_not_minutes():
    # after 300 J/m2 the light halves: what is missing takes twice as long
    progress = follow_strip(lambda t: 0.5 * steady(t), 300.0, STEADY, 300.0, covered=1)
    assert progress.overdue == ()
    assert [cover.strip for cover in progress.covers] == [2, 3, 4, 5]
    missing = [total - 300.0 for total in STEADY.totals_j_m2[1:]]
    assert [cover.at_s - 300.0 for cover in progress.covers] == pytest.approx([2.0 * m for m in missing])
    assert progress.wait_s == pytest.approx(2.0 * missing[0])
    assert progress.covers[1].gap_s == pytest.approx(2.0 * STEADY.additions_j_m2[2])


def test_a_strip_followed_from_its_start_is_the_plan():
    assert follow_strip(steady, 0.0, STEADY, 0.0).covers == plan_strip(steady, 0.0, STEADY).covers


def test_a_strip_that_was_missed_is_said_to_be_overdue():
    progress = follow_strip(steady, 0.0, STEADY, 500.0, covered=1)
    assert progress.overdue == (2, 3)
    assert progress.next_cover.strip == 4
    done = follow_strip(steady, 0.0, STEADY, 2000.0, covered=5)
    assert done.next_cover is None
    assert done.wait_s is None
    assert done.overdue == ()


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: DoseLadder(0.0, 0.5, 5), "first_j_m2"),
        (lambda: DoseLadder(math.nan, 0.5, 5), "first_j_m2"),
        (lambda: DoseLadder(1000.0, 0.0, 5), "step_stops"),
        (lambda: DoseLadder(1000.0, math.inf, 5), "step_stops"),
        (lambda: DoseLadder(1000.0, 0.5, 1), "strip_count"),
        (lambda: DoseLadder(1000.0, 2.0, 31), "last_j_m2"),
        (lambda: bracketing_ladder(math.nan, 1.0), "median_j_m2"),
        (lambda: bracketing_ladder(1000.0, 0.0), "spread_stops"),
        (lambda: bracketing_ladder(1000.0, 1.0, sigmas=math.nan), "sigmas"),
        (lambda: bracketing_ladder(1000.0, 1.0, count=1), "strip_count"),
        (lambda: bracketing_ladder(1000.0, 4.0, count=3), "step_stops"),
        (lambda: bracketing_ladder(1000.0, 4.0, step_stops=0.25), "strip_count"),
        (lambda: plan_strip(steady, math.nan, STEADY), "start_s"),
        (lambda: plan_strip(steady, 0.0, STEADY, light_spread_stops=-0.1), "light_spread_stops"),
        (lambda: follow_strip(steady, 0.0, STEADY, -1.0), "dose_j_m2"),
        (lambda: follow_strip(steady, 0.0, STEADY, 1.0, covered=6), "covered"),
    ],
)
def test_a_strip_that_cannot_be_is_refused_by_field(make, field):
    with pytest.raises(OutOfDomain) as caught:
        make()
    assert caught.value.field == field
