"""The two-state process of sun and cloud."""

import math

import numpy as np
import pytest

from noonframe.dose.skies_paths import STEP_S, Block, PathMaker, Sampling, SeenSky, levels
from noonframe.errors import OutOfDomain
from noonframe.sun.place import Place

PORTO = Place(41.15, -8.61, 80.0)
START_S = 1_782_043_200.0
MANY = Sampling(paths=2000)
SUN, CLOUD = 40.0, 10.0


def block(cover, *, spread_stops=0.0, seen_w_m2=None, steps=None):
    """Steps in which nothing changes but the cover (a number, or one per step)."""
    cover = np.atleast_1d(np.asarray(cover, dtype=np.float64))
    count = steps or cover.size
    cover = np.broadcast_to(cover, (count,))
    return Block(
        sun_w_m2=np.full(count, SUN),
        clouded_w_m2=np.full(count, CLOUD),
        covered_w_m2=np.full((1, count), CLOUD),
        cover=cover[None, :],
        spread_stops=np.full((1, count), spread_stops),
        seen_w_m2=None if seen_w_m2 is None else np.full(count, seen_w_m2),
    )


def covered(cover, steps=240, sampling=MANY, **made):
    return PathMaker(PORTO, START_S, sampling, **made).rates(block(cover, steps=steps), 0)[1]


@pytest.mark.parametrize("cover", [0.05, 0.3, 0.5, 0.9])
def test_cloud_stands_before_the_sun_as_often_as_the_cover_says(cover):
    # Each path of `span` steps holds about span / (2 persistence) independent looks.
    clouds = covered(cover)
    looks = clouds.size * STEP_S / (2.0 * MANY.persistence_s)
    assert clouds.mean() == pytest.approx(cover, abs=3.0 * math.sqrt(cover * (1.0 - cover) / looks))


def test_the_cover_is_kept_at_every_moment_while_it_changes():
    course = np.linspace(0.1, 0.9, 60)
    clouds = PathMaker(PORTO, START_S, MANY).rates(block(course), 0)[1]
    error = np.sqrt(course * (1.0 - course) / MANY.paths)
    assert (np.abs(clouds.mean(axis=1) - course) < 4.0 * error).all()  # 60 looks: 4 sigma


@pytest.mark.parametrize("persistence_s", [120.0, 300.0, 900.0])
@pytest.mark.parametrize("cover", [0.3, 0.6])
def test_the_autocorrelation_falls_with_the_persistence_time(cover, persistence_s):
    # A telegraph signal: exp(-lag / persistence), whatever the cover (closed form).
    clouds = covered(cover, steps=400, sampling=Sampling(2000, persistence_s)).astype(np.float64) - cover
    for lag in (1, 5, 15):
        together = (clouds[lag:] * clouds[:-lag]).mean() / (cover * (1.0 - cover))
        assert together == pytest.approx(math.exp(-lag * STEP_S / persistence_s), abs=0.04)


def test_dwell_times_are_those_of_the_process():
    # Mean dwell under cloud: persistence / (1 - cover); in whole steps, one over the
    # chance to leave in a step.
    cover = 0.5
    clouds = covered(cover, steps=1000)
    left = (clouds[:-1] & ~clouds[1:]).sum() / clouds[:-1].sum()
    expected = (1.0 - math.exp(-STEP_S / MANY.persistence_s)) * (1.0 - cover)
    assert left == pytest.approx(expected, rel=0.03)
    assert STEP_S / left == pytest.approx(MANY.persistence_s / (1.0 - cover), rel=0.15)  # steps are coarse


def test_the_numbers_are_even_on_zero_to_one_all_round_the_cycle():
    level = levels(MANY).level
    assert ((level >= 0.0) & (level < 1.0)).all()
    assert level.mean() == pytest.approx(0.5, abs=1e-4)  # mirrored halves
    for share in (0.1, 0.25, 0.7):
        assert (level < share).mean() == pytest.approx(share, abs=0.01)
    # Round the corner the process goes on: as many numbers stay as anywhere else.
    stays = (level[0] == level[-1]).mean()
    assert stays == pytest.approx(math.exp(-STEP_S / MANY.persistence_s), abs=0.05)


@pytest.mark.parametrize("seen_covered", [True, False])
def test_a_sky_seen_decays_into_the_forecast(seen_covered):
    # Closed form: P(covered at t) = c + (seen - c) exp(-t / persistence).
    cover, steps = 0.4, 60
    clouds = covered(cover, steps=steps, seen=SeenSky(START_S, seen_covered))
    for step in (0, 2, 5, 10, 30, 59):
        passed = math.exp(-(step + 1) * STEP_S / MANY.persistence_s)  # the state of a step is that at its end
        expected = cover + (seen_covered - cover) * passed
        error = math.sqrt(max(expected * (1.0 - expected), 0.01) / MANY.paths)
        assert clouds[step].mean() == pytest.approx(expected, abs=4.0 * error)


def test_a_sky_seen_earlier_weighs_less():
    now, earlier = (covered(0.0, steps=3, seen=SeenSky(START_S - ago, True)) for ago in (0.0, 600.0))
    assert now[0].mean() == pytest.approx(math.exp(-STEP_S / MANY.persistence_s), abs=0.04)
    assert earlier[0].mean() == pytest.approx(now[0].mean() * math.exp(-2.0), abs=0.04)


def test_the_cloud_that_was_seen_is_used_while_it_lasts():
    maker = PathMaker(PORTO, START_S, MANY, seen=SeenSky(START_S, True, optical_depth=3.0))
    rate, clouds = maker.rates(block(0.0, steps=30, seen_w_m2=25.0), 0)
    assert set(np.unique(rate)) == {25.0, SUN}
    np.testing.assert_array_equal(clouds, rate == 25.0)
    assert not (clouds[1:] & ~clouds[:-1]).any()  # once gone it does not come back


def test_the_forecasts_error_does_not_touch_a_sun_that_is_seen():
    seen = PathMaker(PORTO, START_S, MANY, seen=SeenSky(START_S, False))
    rate, clouds = seen.rates(block(1.0, spread_stops=0.5, steps=30), 0)
    np.testing.assert_allclose(rate[~clouds], SUN)
    assert np.std(rate[clouds]) > 0.0


@pytest.mark.parametrize("spread_stops", [0.2, 0.6])
def test_the_error_of_the_forecast_keeps_the_mean_and_has_its_spread(spread_stops):
    rate = PathMaker(PORTO, START_S, MANY).rates(block(0.0, spread_stops=spread_stops, steps=2), 0)[0]
    assert rate.mean() == pytest.approx(SUN, rel=0.005)  # 2000 even shares of a log-normal
    assert np.log2(rate[0]).std() == pytest.approx(spread_stops, rel=0.01)
    np.testing.assert_array_equal(rate[0], rate[1])  # one draw per path


def test_other_errors_keep_the_median():
    rate = PathMaker(PORTO, START_S, MANY, other_spread_stops=0.5).rates(block(0.0, steps=1), 0)[0]
    assert np.median(rate) == pytest.approx(SUN, rel=0.002)
    assert np.log2(rate).std() == pytest.approx(0.5, rel=0.01)


def test_paths_do_not_depend_on_how_the_steps_are_cut():
    maker = PathMaker(PORTO, START_S, MANY, other_spread_stops=0.1, seen=SeenSky(START_S, True))
    whole, clouds = maker.rates(block(np.linspace(0.2, 0.8, 50), spread_stops=0.3), 0)
    full = block(np.linspace(0.2, 0.8, 50), spread_stops=0.3)
    some = np.array([3, 77, 1999])
    first, late = maker.rates(full.part(0, 17), 0), maker.rates(full.part(17, 50), 17, some)
    np.testing.assert_array_equal(first[0], whole[:17])
    np.testing.assert_array_equal(late[0], whole[17:, some])
    np.testing.assert_array_equal(late[1], clouds[17:, some])


def test_the_same_place_and_minute_give_the_same_paths_and_others_others():
    def clouds(place=PORTO, start_s=START_S):
        return PathMaker(place, start_s, MANY).rates(block(0.5, steps=100), 0)[1]

    first = clouds()
    np.testing.assert_array_equal(first, clouds(start_s=START_S + 59.0))
    np.testing.assert_array_equal(first, clouds(Place(41.1501, -8.6099, 80.0)))
    assert (first != clouds(Place(41.25, -8.61, 80.0))).mean() > 0.3
    assert (first != clouds(start_s=START_S + 3600.0)).mean() > 0.3
    # A minute later the skies are the same skies, a minute on.
    np.testing.assert_array_equal(first[1:], clouds(start_s=START_S + 60.0)[:-1])


def test_each_path_follows_its_course():
    two = Block(
        sun_w_m2=np.full(5, SUN),
        clouded_w_m2=np.full(5, CLOUD),
        covered_w_m2=np.stack([np.full(5, 5.0), np.full(5, 9.0)]),
        cover=np.stack([np.ones(5), np.ones(5)]),
        spread_stops=np.zeros((2, 5)),
        seen_w_m2=None,
    )
    rate = PathMaker(PORTO, START_S, MANY, courses=2).rates(two, 0)[0]
    assert set(rate[:, 0::2].ravel()) == {5.0}
    assert set(rate[:, 1::2].ravel()) == {9.0}


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Sampling(paths=1), "paths"),
        (lambda: Sampling(persistence_s=0.0), "persistence_s"),
        (lambda: Sampling(persistence_s=math.nan), "persistence_s"),
        (lambda: SeenSky(math.nan, True), "at_s"),
        (lambda: SeenSky(0.0, False, 3.0), "optical_depth"),
        (lambda: SeenSky(0.0, True, math.nan), "optical_depth"),
    ],
)
def test_what_makes_no_sense_is_refused(make, field):
    with pytest.raises(OutOfDomain, match=field):
        make()
