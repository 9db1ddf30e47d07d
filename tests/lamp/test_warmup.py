"""The dose of a lamp that is warming up, exact, and back to the time it takes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from noonframe.errors import OutOfDomain
from noonframe.lamp.warmup import WarmUp

TUBE = WarmUp(0.65, 120.0)
shares = st.floats(0.05, 1.0)
constants = st.floats(0.0, 3600.0)
colds = st.floats(0.0, 1.0)
lengths = st.floats(0.0, 86400.0)


@pytest.mark.parametrize("power", [1.0, 1 / 0.85, 1 / 1.1])
@pytest.mark.parametrize("length_s", [0.5, 60.0, 700.0, 20000.0])
@pytest.mark.parametrize("coldness", [1.0, 0.3])
def test_what_burning_is_worth_is_the_integral_of_the_output(length_s, coldness, power):
    whole = quad(lambda t: (1 - 0.35 * coldness * math.exp(-t / 120.0)) ** power, 0, length_s, limit=500)[0]
    assert TUBE.full_s(length_s, coldness, power) == pytest.approx(whole, rel=1e-9)


@given(shares, constants, colds, lengths, st.sampled_from([1.0, 1.25, 0.92]))
def test_the_time_is_the_inverse_of_the_worth(start, constant, cold, length_s, power):
    warm_up = WarmUp(start, constant)
    full_s = warm_up.full_s(length_s, cold, power)
    assert warm_up.time_s(full_s, cold, power) == pytest.approx(length_s, rel=1e-9, abs=1e-9)


@given(shares, constants, colds, lengths, lengths)
def test_a_longer_burn_is_worth_more_and_never_more_than_full_output(start, constant, cold, one, other):
    warm_up = WarmUp(start, constant)
    short, long = sorted((one, other))
    assert warm_up.full_s(short, cold) <= warm_up.full_s(long, cold) + 1e-9
    assert warm_up.full_s(long, cold) <= long + 1e-9


@given(shares, constants, colds, lengths, lengths)
def test_burning_in_two_parts_is_burning_once(start, constant, cold, first, second):
    warm_up = WarmUp(start, constant)
    parts = warm_up.full_s(first, cold) + warm_up.full_s(second, warm_up.burning(cold, first))
    assert warm_up.full_s(first + second, cold) == pytest.approx(parts, rel=1e-9, abs=1e-7)


def test_a_warm_lamp_is_full_and_a_cold_one_gives_its_share():
    assert TUBE.share(1.0) == 0.65
    assert TUBE.share(0.0) == 1.0
    assert TUBE.full_s(300.0, 0.0) == pytest.approx(300.0, rel=1e-12)
    # all that a cold start takes in the end: (1 - start) times the time constant, by integration
    assert 1e5 - TUBE.full_s(1e5) == pytest.approx(0.35 * 120.0, rel=1e-9)


def test_a_lamp_that_is_off_grows_cold_and_a_moment_off_changes_nothing():
    assert TUBE.off(0.2, 0.0) == pytest.approx(0.2)
    assert TUBE.off(0.2, 1e5) == pytest.approx(1.0)
    assert TUBE.off(0.0, 60.0) == pytest.approx(1 - math.exp(-0.5))


@pytest.mark.parametrize(("start", "constant"), [(0.0, 60.0), (1.2, 60.0), (0.5, -1.0), (float("nan"), 1.0)])
def test_bad_figures_are_refused(start, constant):
    with pytest.raises(OutOfDomain, match=r"start_share|time_constant_s"):
        WarmUp(start, constant)
