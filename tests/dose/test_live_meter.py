"""What readings of a meter add to a running exposure."""

import math

import numpy as np
import pytest
from dose.test_live_support import NOON_S, SUN_W_M2, event, reading, scene, target
from scipy.optimize import brentq

from noonframe.dose.live import follow
from noonframe.dose.live_events import SEEN_SKIES
from noonframe.dose.live_meter import LUX_SPREAD_STOPS, LUX_TO_UV_EXPONENT
from noonframe.dose.live_run import common_spread_stops
from noonframe.sky.assume import GIVEN_CLOUD_SPREAD_STOPS
from noonframe.sky.evidence import steady_course
from noonframe.sky.words import SKY_WORDS, CloudPart

PERSISTENCE_S = 300.0
CLEAR_STOPS = SKY_WORDS["clear"].spread_stops
EXACT = 1e-11


def at(after_s, *events, of=None, course=None):
    return follow(of or scene(even=True), target(1e6), events, NOON_S + after_s, course)


def stops(relative_uncertainty):
    return math.log2(1.0 + relative_uncertainty)


def posterior(told_stops, own_stops, prior_stops=CLEAR_STOPS):
    """What is left of a reading, by inverse variance, and its standard deviation; all in stops."""
    share = prior_stops**2 / (prior_stops**2 + own_stops**2)
    return share * told_stops, math.sqrt(share) * own_stops


def log_straight(first, last, length_s):
    """Integral of 2 to a power that goes straight from `first` to `last`."""
    return length_s * (2.0**last - 2.0**first) / (math.log(2.0) * (last - first))


def test_between_reference_and_reading_the_light_is_straight_in_its_logarithm():
    state = at(700.0, event("started", 0.0), reading(700.0, 0.5, 100.0))
    told, _ = posterior(-1.0, math.hypot(stops(0.05), CLEAR_STOPS))
    assert -0.6 < told < -0.4
    expected = SUN_W_M2 * (100.0 + log_straight(0.0, told, 600.0))
    assert state.dose_j_m2 == pytest.approx(expected, rel=EXACT)
    assert state.rate_w_m2 == pytest.approx(SUN_W_M2 * 2.0**told, rel=EXACT)
    assert state.sky.metered == pytest.approx(2.0**told, rel=EXACT)


def test_after_the_last_reading_its_factor_fades_with_the_persistence():
    told, _ = posterior(-1.0, math.hypot(stops(0.05), CLEAR_STOPS))
    events = event("started", 0.0), reading(700.0, 0.5, 100.0)
    gone = (2.0**told - 1.0) * PERSISTENCE_S * -math.expm1(-400.0 / PERSISTENCE_S)
    more = at(1100.0, *events).dose_j_m2 - at(700.0, *events).dose_j_m2
    assert more == pytest.approx(SUN_W_M2 * (400.0 + gone), rel=EXACT)


def test_a_second_reading_goes_on_from_the_first():
    events = event("started", 0.0), reading(600.0, 0.5, 0.0), reading(900.0, 1.0, 0.0)
    own = math.hypot(stops(0.05), CLEAR_STOPS)
    first, _ = posterior(-1.0, own)
    second, _ = posterior(0.0, own)
    expected = SUN_W_M2 * (log_straight(0.0, first, 600.0) + log_straight(first, second, 300.0))
    assert at(900.0, *events).dose_j_m2 == pytest.approx(expected, rel=EXACT)


def test_an_unsure_reading_moves_little_and_a_sure_one_much():
    unsure = at(700.0, event("started", 0.0), reading(700.0, 0.5, 100.0, 1.0)).sky.metered
    sure = at(700.0, event("started", 0.0), reading(700.0, 0.5, 100.0, 0.01)).sky.metered
    assert sure < unsure < 1.0
    assert unsure > 0.97


def test_a_wide_sky_leaves_the_word_to_the_meter():
    # cloud judged by eye is 0.6 stops wide; the reference lies in the sun, known to 0.1
    events = (
        event("started", 0.0),
        event("sky", 0.0, sky="sun-out"),
        event("sky", 300.0, sky="covered"),
        reading(400.0, 0.3, 100.0, 0.03),
    )
    state = at(500.0, *events)
    cloud = 0.3 * SUN_W_M2
    dose = at(400.0, *events).dose_j_m2 - 300.0 * SUN_W_M2
    # the whole spell of cloud is scaled, also what came before the reading
    assert dose == pytest.approx(100.0 * cloud, rel=0.03)
    assert state.dose_spread_stops < at(500.0, *events[:3]).dose_spread_stops


def test_what_a_reading_leaves_unsure_is_what_spreads_the_dose():
    events = (
        event("started", 0.0),
        event("sky", 0.0, sky="sun-out"),
        event("sky", 300.0, sky="covered"),
        reading(400.0, 0.3, 100.0, 0.03),
    )
    cloud = SUN_W_M2 / 2.2  # of the even scene under a depth of 12
    own = math.hypot(stops(0.03), CLEAR_STOPS)
    told, left = posterior(math.log2(0.3 * 2.2), own, SEEN_SKIES["covered"].spread_stops)
    sun_j_m2, cloud_j_m2 = 300.0 * SUN_W_M2, 100.0 * cloud * 2.0**told
    state = at(400.0, *events)
    assert state.dose_j_m2 == pytest.approx(sun_j_m2 + cloud_j_m2, rel=EXACT)
    by_cloud = (sun_j_m2 * CLEAR_STOPS + cloud_j_m2 * left) / (sun_j_m2 + cloud_j_m2)
    expected = math.hypot(common_spread_stops(scene(even=True)), by_cloud)
    assert state.dose_spread_stops == pytest.approx(expected, rel=1e-9)


def test_a_reading_shapes_what_lies_ahead():
    events = event("started", 0.0), reading(300.0, 0.5, 100.0)
    state = follow(scene(even=True), target(24_000.0), events, NOON_S + 300.0)
    excess = state.sky.metered - 1.0

    def missing(length_s):
        gained = length_s + excess * PERSISTENCE_S * -math.expm1(-length_s / PERSISTENCE_S)
        return 24_000.0 - state.dose_j_m2 - SUN_W_M2 * gained

    plain_s = (24_000.0 - state.dose_j_m2) / SUN_W_M2
    expected_s = brentq(missing, 0.0, 3600.0)
    assert expected_s > 1.1 * plain_s
    assert state.remaining_s == pytest.approx(expected_s, rel=0.03)  # a median of 300 skies


def test_a_reading_does_not_outlive_the_sky_it_was_taken_under():
    events = (
        event("started", 0.0),
        event("sky", 0.0, sky="covered"),
        reading(200.0, 0.6, 10.0),
        event("sky", 300.0, sky="sun-out"),
    )
    assert at(400.0, *events).rate_w_m2 == pytest.approx(SUN_W_M2, rel=EXACT)
    again = at(299.0, *events[:3]).sky.metered
    confirmed = at(299.0, *events[:3], event("sky", 250.0, sky="covered")).sky.metered
    assert again == confirmed < 1.0


def test_two_readings_at_one_moment_are_surer_than_one():
    one = event("started", 0.0), reading(600.0, 0.7, 0.0)
    two = *one, reading(600.0, 0.7, 0.0)
    assert at(600.0, *two).sky.metered < at(600.0, *one).sky.metered < 1.0
    assert at(600.0, *two).dose_spread_stops < at(600.0, *one).dose_spread_stops


def test_visible_light_stands_for_a_power_of_the_ultraviolet():
    state = at(700.0, event("started", 0.0), reading(700.0, 0.5, 100.0, 0.05, "lux"))
    own = math.hypot(LUX_TO_UV_EXPONENT * stops(0.05), CLEAR_STOPS, LUX_SPREAD_STOPS)
    told, _ = posterior(-LUX_TO_UV_EXPONENT, own)
    assert state.sky.metered == pytest.approx(2.0**told, rel=EXACT)


def test_a_ratio_that_only_follows_the_sun_changes_nothing():
    real = scene()
    clear = real.sun_out.light(NOON_S + np.array([100.0, 7200.0])).uva_w_m2
    events = event("started", 0.0), reading(7200.0, float(clear[1] / clear[0]), 100.0, 0.02)
    state = at(7200.0, *events, of=real)
    assert state.sky.metered == pytest.approx(1.0, abs=1e-9)
    assert state.dose_j_m2 == pytest.approx(at(7200.0, events[0], of=real).dose_j_m2, rel=1e-9)


def test_readings_bring_the_dose_to_the_light_that_there_was():
    # Truly the cloud is thin (depth 5) where it was called "covered" (12): a meter, read every two minutes
    # against the sun before, finds out.
    real = scene()
    course = steady_course((CloudPart(1.0, 0.0),), NOON_S - 86400.0, NOON_S + 86400.0, 0.1, "total cloud")
    second = NOON_S + np.arange(0.0, 1801.0)
    truly = np.where(
        second < NOON_S + 600.0, real.sun_out.rate(second), real.under(CloudPart(1.0, 5.0)).rate(second)
    )
    uva = (
        real.under(CloudPart(1.0, 5.0)).light(second).uva_w_m2 / real.sun_out.light(second[300:301]).uva_w_m2
    )
    events = [event("started", 0.0), event("sky", 0.0, sky="sun-out"), event("sky", 600.0, sky="covered")]
    readings = [reading(float(when), float(uva[when]), 300.0, 0.03) for when in range(660, 1801, 120)]
    true_dose = np.trapezoid(truly, second)
    blind = at(1800.0, *events, of=real, course=course).dose_j_m2 / true_dose - 1.0
    told = at(1800.0, *events, *readings, of=real, course=course).dose_j_m2 / true_dose - 1.0
    assert abs(blind) > 0.1
    assert abs(told) < abs(blind) / 10.0


def test_a_reading_in_the_dark_is_counted_as_unused():
    night_s = 11.0 * 3600.0  # 23:00 UTC in Porto
    events = event("started", 0.0), reading(night_s, 0.5, 100.0), reading(200.0, 0.9, 100.0)
    state = at(night_s + 60.0, *events, of=scene())
    assert state.readings_unused == 1


def test_reciprocity_counts_once():
    from dataclasses import replace

    bent = replace(scene(even=True), reciprocity_exponent=0.8)
    told, _ = posterior(-1.0 / 0.8, math.hypot(stops(0.05) / 0.8, CLEAR_STOPS))
    state = at(700.0, event("started", 0.0), reading(700.0, 0.5, 100.0), of=bent)
    assert state.sky.metered == pytest.approx(2.0**told, rel=EXACT)


def test_a_given_depth_of_cloud_has_its_own_spread():
    of = scene(even=True, depth=10.0)
    told, _ = posterior(-1.0, math.hypot(stops(0.05), GIVEN_CLOUD_SPREAD_STOPS), GIVEN_CLOUD_SPREAD_STOPS)
    state = at(700.0, event("started", 0.0), reading(700.0, 0.5, 100.0), of=of)
    assert state.sky.metered == pytest.approx(2.0**told, rel=EXACT)
