"""Dose and the moment a target is reached, against closed forms and an independent quadrature."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from noonframe.dose.integrate import crossing_time_s, cumulative_dose

steady = settings(
    max_examples=80,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def crossing(time_s: np.ndarray, rate: np.ndarray, target: float) -> float | None:
    return crossing_time_s(time_s, rate, cumulative_dose(time_s, rate), target)


def test_constant_light_takes_target_over_light():
    time_s = np.arange(0.0, 3601.0, 60.0)
    for target in (1.0, 599.9, 600.0, 12345.6, 36000.0):
        assert crossing(time_s, np.full(time_s.size, 10.0), target) == pytest.approx(target / 10.0, abs=1e-9)


@pytest.mark.parametrize("step_s", [1.0, 60.0, 700.0])
def test_a_linear_ramp_is_exact_whatever_the_step(step_s):
    """E = a t, so the dose is a t^2/2 and the target comes at sqrt(2 H/a)."""
    time_s = np.arange(0.0, 7001.0, step_s)
    for target in (3.0, 5000.0, 80000.0):
        assert crossing(time_s, 0.01 * time_s, target) == pytest.approx(
            np.sqrt(2.0 * target / 0.01), rel=1e-9
        )


def test_fading_light_is_exact_and_may_fall_short():
    """E = 10 - t/60 reaches 3000 J/m2 at most, at 600 s; before that t = 600 - sqrt(360000 - 120 H)."""
    time_s = np.arange(0.0, 601.0, 60.0)
    rate = 10.0 - time_s / 60.0
    for target in (100.0, 2000.0, 2999.0):
        assert crossing(time_s, rate, target) == pytest.approx(
            600.0 - np.sqrt(360000.0 - 120.0 * target), rel=1e-9
        )
    assert crossing(time_s, rate, 3000.0) == pytest.approx(600.0, abs=1e-6)
    assert crossing(time_s, rate, 3000.1) is None


def test_a_smooth_course_agrees_with_quadrature():
    """A minute's step on a half-day sine: straight pieces lose (step/period)^2, some 1e-5 of the dose."""

    def light(t: float) -> float:
        return 40.0 * np.sin(np.pi * t / 43200.0)

    time_s = np.arange(0.0, 43201.0, 60.0)
    for target in (1e3, 2e5, 1e6):
        exact = brentq(
            lambda t, goal=target: quad(light, 0.0, t, epsabs=1e-6)[0] - goal, 1.0, 43200.0, xtol=1e-6
        )
        assert crossing(time_s, light(time_s), target) == pytest.approx(exact, rel=3e-5)


def test_dose_starts_at_nothing_and_one_instant_gathers_none():
    assert cumulative_dose(np.array([5.0]), np.array([3.0])).tolist() == [0.0]
    assert crossing(np.array([5.0]), np.array([3.0]), 1.0) is None


def test_darkness_at_the_start_waits_without_dividing_by_zero():
    time_s = np.arange(0.0, 601.0, 60.0)
    rate = np.where(time_s < 300.0, 0.0, 10.0)
    assert crossing(time_s, rate, 300.0) == pytest.approx(
        300.0, abs=1e-9
    )  # the ramp 240-300 s gathers just that


rates = st.lists(st.floats(0.0, 100.0), min_size=3, max_size=60).map(np.array)


@steady
@given(rate=rates, step_s=st.floats(1.0, 600.0))
def test_dose_never_falls_with_time(rate, step_s):
    dose = cumulative_dose(step_s * np.arange(rate.size), rate)
    assert np.all(np.diff(dose) >= 0.0)
    assert np.isfinite(dose).all()


@steady
@given(rate=rates, step_s=st.floats(1.0, 600.0), share=st.floats(0.001, 0.999))
def test_dose_at_the_crossing_is_the_target(rate, step_s, share):
    time_s = step_s * np.arange(rate.size)
    dose = cumulative_dose(time_s, rate)
    target = share * float(dose[-1])
    if target < 1e-3:
        return
    found = crossing_time_s(time_s, rate, dose, target)
    assert found is not None
    inside = np.concatenate([time_s[time_s < found], [found]])
    gathered = float(np.trapezoid(np.interp(inside, time_s, rate), inside))
    assert gathered == pytest.approx(target, rel=1e-6, abs=1e-6)
