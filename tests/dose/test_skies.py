"""Exposures under sampled skies."""

import datetime as dt
import math
from itertools import pairwise

import numpy as np
import pytest

from noonframe.dose.exposure import expose
from noonframe.dose.scene import Scene
from noonframe.dose.skies import (
    Sampling,
    SeenSky,
    expose_under_skies,
    finish_quantile_s,
    finish_times,
    sample_skies,
)
from noonframe.dose.skies_rates import NODE_OPTICAL_DEPTH, cloud_rates
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import assume_sky
from noonframe.sky.evidence import CloudCourse, steady_course
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH, CloudPart
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import DEFAULT_SENSITIZER, find_sensitizer
from noonframe.sun.place import Place

PORTO = Place(41.15, -8.61, 80.0)
DAY = dt.date(2026, 6, 21)
NOON_S = dt.datetime(2026, 6, 21, 12, tzinfo=dt.UTC).timestamp()
DAY_LATER_S = NOON_S + 86400.0
TARGET_J_M2 = 20_000.0
CLEAR, CLOUDY = CloudPart(1.0, 0.0), CloudPart(1.0, 25.0)
BROKEN = (CloudPart(0.5, 0.0), CloudPart(0.5, 10.0))

# Within a step the rate counts as even; at 5 % a minute, which only a low sun reaches, that is 0.4 s.
STEP_ERROR_S = 0.5


def scene(place=PORTO, day=DAY, spot=None):
    coat = find_sensitizer(DEFAULT_SENSITIZER)
    return Scene(place, assume_sky(place, day), spot or OpenSpot(), parse_stack("none"), coat, 0.04)


def steady(*cloud, spread_stops=0.0, to_s=DAY_LATER_S):
    return steady_course(cloud, NOON_S - 43200.0, to_s, spread_stops, "sky seen")


@pytest.mark.parametrize("spot", [OpenSpot(), OpenSpot(Aim(40.0, 180.0))], ids=["level", "tilted"])
@pytest.mark.parametrize("part", [CLEAR, CloudPart(1.0, 26.0)], ids=["clear", "overcast"])
def test_a_sky_that_cannot_change_gives_the_plain_answer(part, spot):
    one = scene(spot=spot)
    plain = expose(one.under(part).rate, NOON_S, TARGET_J_M2)
    answer = expose_under_skies(one, steady(part), NOON_S, TARGET_J_M2)
    likely = answer.likely
    for length in (likely.length_s, likely.low_s, likely.high_s):
        assert length == pytest.approx(plain.length_s, abs=STEP_ERROR_S)
    alone = answer.sun_out_s if part is CLEAR else answer.clouded_s
    assert alone == pytest.approx(plain.length_s, abs=STEP_ERROR_S)
    assert answer.reached_share == 1.0


def test_the_spread_of_a_clear_sky_widens_it_as_the_plain_answer_does():
    plain = expose(scene().sun_out.rate, NOON_S, TARGET_J_M2, 0.3)
    likely = expose_under_skies(scene(), steady(CLEAR), NOON_S, TARGET_J_M2, other_spread_stops=0.3).likely
    # 300 even shares: the 10 % quantile of a log-normal is good to about 0.3 %.
    assert likely.length_s == pytest.approx(plain.length_s, rel=0.005)
    assert likely.low_s == pytest.approx(plain.low_s, rel=0.005)
    assert likely.high_s == pytest.approx(plain.high_s, rel=0.005)


def test_both_plain_answers_are_those_of_the_scene():
    answer = expose_under_skies(scene(), steady(CLEAR), NOON_S, TARGET_J_M2)
    assert answer.sun_out_s == pytest.approx(
        expose(scene().sun_out.rate, NOON_S, TARGET_J_M2).length_s, abs=STEP_ERROR_S
    )
    # With no cloud forecast, "covered" is the ordinary cloud.
    covered = expose(scene().under(CloudPart(1.0, COVERING_CLOUD_OPTICAL_DEPTH)).rate, NOON_S, TARGET_J_M2)
    assert answer.clouded_s == pytest.approx(covered.length_s, rel=0.01)


def test_quantiles_lie_between_sun_and_cloud_in_order():
    answer = expose_under_skies(scene(), steady(*BROKEN), NOON_S, 3 * TARGET_J_M2)
    likely = answer.likely
    assert answer.sun_out_s <= likely.low_s < likely.length_s < likely.high_s <= answer.clouded_s
    assert answer.reached_by(NOON_S) == 0.0


def test_quantiles_are_the_shares_of_skies_that_have_finished():
    # With some other spread no two skies finish at once.
    answer = expose_under_skies(scene(), steady(*BROKEN), NOON_S, 3 * TARGET_J_M2, other_spread_stops=0.2)
    likely = answer.likely
    shares = [answer.reached_by(NOON_S + length) for length in (likely.low_s, likely.length_s, likely.high_s)]
    assert shares == pytest.approx([0.1, 0.5, 0.9], abs=0.01)


def test_the_mean_of_the_skies_is_the_mean_of_the_course():
    # Conservation, at every moment and in the whole dose, with a course that changes and a forecast's error.
    edges = NOON_S + 900.0 * np.arange(9.0)
    cover = np.array([0.2, 0.4, 0.6, 0.8, 1.0, 0.5, 0.3, 0.1])
    course = CloudCourse(
        edges_s=edges,
        cover=cover,
        optical_depth=np.array([10.0, 12.0, 14.0, 16.0, 20.0, 8.0, 5.0, 3.0]),
        spread_stops=np.full(8, 0.3),
        evidence=np.full(8, "shortwave irradiance"),
        known_until_s=float(edges[-1]),
    )
    sampled = sample_skies(scene(), course, NOON_S, float(edges[-1]), sampling=Sampling(paths=2000))
    share = np.repeat(cover, 15)
    expected = (1.0 - share) * sampled.sun_out_w_m2 + share * sampled.clouded_w_m2
    error = sampled.rates_w_m2.std(axis=0) / math.sqrt(2000.0)
    away = np.abs(sampled.rates_w_m2.mean(axis=0) - expected)
    assert (
        away < 4.0 * error + 0.002 * expected
    ).all()  # 120 looks: 4 sigma; 0.2 % for the even shares' tail
    doses = sampled.rates_w_m2.sum(axis=1)
    assert doses.mean() == pytest.approx(expected.sum(), abs=3.0 * doses.std() / math.sqrt(2000.0))


def test_the_sampled_skies_are_those_of_the_exposure():
    course, kept = (
        steady(*BROKEN, spread_stops=0.2),
        {"other_spread_stops": 0.2, "seen": SeenSky(NOON_S, True)},
    )
    answer = expose_under_skies(scene(), course, NOON_S, TARGET_J_M2, **kept)
    sampled = sample_skies(scene(), course, NOON_S, NOON_S + 4 * 3600.0, **kept)
    np.testing.assert_allclose(finish_times(sampled, TARGET_J_M2), answer.finish_s, atol=1e-3)
    assert sampled.rates_w_m2.shape == sampled.covered.shape == (300, 240)
    np.testing.assert_allclose(np.diff(sampled.edges_s), 60.0)


def test_the_same_question_gets_the_same_answer():
    first, second = (
        expose_under_skies(scene(), steady(*BROKEN), NOON_S, TARGET_J_M2, other_spread_stops=0.3)
        for _ in range(2)
    )
    assert first == second
    np.testing.assert_array_equal(first.finish_s, second.finish_s)


def test_a_higher_target_takes_longer_in_every_sky():
    sampled = sample_skies(scene(), steady(*BROKEN), NOON_S, NOON_S + 3600.0)
    low, high = finish_times(sampled, 5000.0), finish_times(sampled, 9000.0)
    assert (low < high).all()


def test_a_sun_seen_out_shortens_and_cloud_seen_lengthens_the_answer():
    def likely(seen):
        return expose_under_skies(scene(), steady(*BROKEN), NOON_S, TARGET_J_M2, seen=seen).likely.length_s

    out, unseen, covered = (likely(seen) for seen in (SeenSky(NOON_S, False), None, SeenSky(NOON_S, True)))
    assert out < unseen < covered
    long_ago = likely(SeenSky(NOON_S - 7200.0, True))
    assert long_ago == unseen


def test_a_thick_cloud_seen_under_a_clear_forecast_costs_light_for_a_while():
    seen = SeenSky(NOON_S, True, optical_depth=50.0)
    answer = expose_under_skies(scene(), steady(CLEAR), NOON_S, TARGET_J_M2, seen=seen)
    assert answer.sun_out_s < answer.likely.length_s < answer.sun_out_s + 3 * 300.0


def test_members_are_the_outer_draw():
    bright, dark = steady(CLEAR), steady(CLOUDY)
    course = CloudCourse(
        edges_s=bright.edges_s,
        cover=np.array([0.5]),
        optical_depth=np.array([12.0]),
        spread_stops=np.array([0.9]),
        evidence=bright.evidence,
        known_until_s=bright.known_until_s,
        members=(bright, dark),
    )
    answer = expose_under_skies(scene(), course, NOON_S, TARGET_J_M2)
    ends = [expose(scene().under(part).rate, NOON_S, TARGET_J_M2).length_s for part in (CLEAR, CLOUDY)]
    finish = answer.finish_s - NOON_S
    np.testing.assert_allclose(finish[0::2], ends[0], atol=STEP_ERROR_S)
    np.testing.assert_allclose(finish[1::2], ends[1], rtol=0.01)  # between two nodes of depth


# --- when the light goes ---------------------------------------------------------------------------------


def test_skies_that_the_dark_overtakes_count_as_never():
    late_s = NOON_S + 6.5 * 3600.0
    sun = expose(scene().sun_out.rate, late_s, 1e9)
    all_evening = sun.dose_share * 1e9
    answer = expose_under_skies(scene(), steady(*BROKEN), late_s, 0.75 * all_evening)
    assert 0.0 < answer.reached_share < 1.0
    assert answer.likely.dark_then
    assert answer.sun_out_s is not None
    assert answer.clouded_s is None
    assert np.isnan(answer.finish_s).mean() == pytest.approx(1.0 - answer.reached_share)
    assert answer.likely.high_s is None
    hopeless = expose_under_skies(scene(), steady(*BROKEN), late_s, 10.0 * all_evening)
    assert hopeless.likely.length_s is None
    assert hopeless.reached_share == 0.0
    assert 0.05 < hopeless.likely.dose_share < 0.1
    assert hopeless.likely.looked_until_s == pytest.approx(sun.looked_until_s, abs=60.0)


def test_a_start_in_the_dark_reaches_nothing():
    night_s = NOON_S + 11 * 3600.0
    answer = expose_under_skies(scene(), steady(*BROKEN), night_s, TARGET_J_M2)
    assert answer.reached_share == 0.0
    assert answer.likely.dose_share == 0.0
    assert answer.likely.dark_then
    sampled = sample_skies(scene(), steady(*BROKEN), night_s, night_s + 600.0)
    assert sampled.rates_w_m2.shape == (300, 0)
    assert np.isnan(finish_times(sampled, 1.0)).all()


def test_the_midnight_sun_is_looked_at_for_a_day_and_no_longer():
    north = Place(78.2, 15.6)
    course = steady_course((CLEAR,), NOON_S, NOON_S + 3 * 86400.0, 0.0, "sky seen")
    answer = expose_under_skies(scene(north), course, NOON_S, 1e8)
    assert answer.likely.looked_until_s == NOON_S + 86400.0
    assert not answer.likely.dark_then
    assert answer.reached_share == 0.0


def test_the_end_of_the_course_is_the_end_of_the_skies():
    course = steady(CLEAR, to_s=NOON_S + 300.0)
    answer = expose_under_skies(scene(), course, NOON_S, 1e6)
    assert answer.likely.looked_until_s == NOON_S + 300.0
    assert not answer.likely.dark_then
    with pytest.raises(OutOfDomain, match="end_s"):
        sample_skies(scene(), course, NOON_S, NOON_S + 3600.0)


def test_quantiles_count_what_never_comes():
    finish = np.array([4.0, 1.0, np.nan, 2.0, 3.0])
    assert finish_quantile_s(finish, 0.0) == 1.0
    assert finish_quantile_s(finish, 0.5) == 3.0
    assert finish_quantile_s(finish, 0.625) == 3.5
    assert finish_quantile_s(finish, 0.75) == 4.0
    assert finish_quantile_s(finish, 0.8) is None
    assert finish_quantile_s(finish, 1.0) is None
    assert finish_quantile_s(np.full(5, np.nan), 0.1) is None


# --- rates between the nodes of depth --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spot", "tolerance"), [(OpenSpot(), 0.01), (OpenSpot(Aim(60.0, 180.0)), 0.04)], ids=["level", "tilted"]
)
def test_the_rate_between_two_nodes_is_that_of_the_cloud_itself(spot, tolerance):
    one = scene(spot=spot)
    edges = NOON_S - 6 * 3600.0 + 600.0 * np.arange(73)
    for low, high in pairwise(NODE_OPTICAL_DEPTH):
        depth = math.sqrt((1.0 + low) * (1.0 + high)) - 1.0
        between = cloud_rates(one).step_rates(edges, np.full((1, 72), depth))[0]
        ends = one.under(CloudPart(1.0, depth)).rate(edges)
        np.testing.assert_allclose(between, 0.5 * (ends[1:] + ends[:-1]), rtol=tolerance)


def test_rates_are_those_of_the_nodes_on_them_and_zero_in_the_dark():
    edges = NOON_S + 600.0 * np.arange(66)  # to 23:00
    for depth in (0.0, 10.0, 128.0):
        rate = cloud_rates(scene()).step_rates(edges, np.full((1, 65), depth))[0]
        ends = scene().under(CloudPart(1.0, depth)).rate(edges)
        np.testing.assert_allclose(rate, 0.5 * (ends[1:] + ends[:-1]), rtol=1e-12)
        assert rate[-1] == 0.0


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ({"start_s": NOON_S - 86400.0}, "start_s"),
        ({"start_s": DAY_LATER_S}, "start_s"),
        ({"start_s": math.nan}, "start_s"),
        ({"target_j_m2": math.nan}, "target_j_m2"),
        ({"target_j_m2": 0.0}, "target_j_m2"),
        ({"other_spread_stops": -1.0}, "other_spread_stops"),
        ({"other_spread_stops": math.nan}, "other_spread_stops"),
        ({"seen": SeenSky(NOON_S + 1.0, True)}, "at_s"),
    ],
)
def test_a_bad_question_is_refused(arguments, field):
    asked = {"start_s": NOON_S, "target_j_m2": TARGET_J_M2, **arguments}
    with pytest.raises(OutOfDomain, match=field):
        expose_under_skies(scene(), steady(CLEAR), **asked)
