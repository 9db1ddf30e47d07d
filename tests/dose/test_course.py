"""The dose along a course, read for any start."""

import datetime as dt
import math

import numpy as np
import pytest

from noonframe.dose.course import LONGEST_S, Course, quantile_factor
from noonframe.dose.scene import Scene
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.skyline import Skyline
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

HOUR_S = 3600.0


def lamp(power_w_m2: float, lit_s: float) -> Course:
    """A steady light that goes out."""
    time_s = 60.0 * np.arange(2.0 * 1440.0 + 1.0)
    return Course.of(time_s, np.where(time_s <= lit_s, power_w_m2, 0.0))


@pytest.mark.parametrize("start_s", [0.0, 59.9, 60.0, 61.0, 1234.5])
def test_in_steady_light_the_length_is_target_over_power(start_s):
    exposure = lamp(50.0, 10 * HOUR_S).expose(start_s, 24000.0, spread_stops=0.5)
    factor = quantile_factor(0.5)
    assert exposure.length_s == pytest.approx(480.0)
    assert exposure.low_s == pytest.approx(480.0 / factor)
    assert exposure.high_s == pytest.approx(480.0 * factor)
    assert exposure.end_s == pytest.approx(start_s + 480.0)
    assert exposure.dose_share == 1.0


def test_in_rising_light_the_length_solves_the_parabola():
    """Rate t/60: the dose from a to b is (b^2 - a^2) / 120."""
    time_s = 60.0 * np.arange(200.0)
    course = Course.of(time_s, time_s / 60.0)
    exposure = course.expose(90.0, 1000.0)
    assert exposure.length_s == pytest.approx(math.sqrt(90.0**2 + 120.0 * 1000.0) - 90.0)


def test_an_exposure_does_not_run_on_through_the_dark():
    time_s = 60.0 * np.arange(2881.0)
    course = Course.of(time_s, np.where((time_s % LONGEST_S) < 12 * HOUR_S, 1.0, 0.0))
    exposure = course.expose(11.5 * HOUR_S, 4000.0)
    assert exposure.length_s is None
    assert exposure.dark_then
    assert exposure.looked_until_s == pytest.approx(12 * HOUR_S)
    assert exposure.dose_share == pytest.approx(1800.0 / 4000.0, rel=0.02)
    dark = course.expose(13 * HOUR_S, 4000.0)
    assert (dark.length_s, dark.dose_share, dark.looked_until_s) == (None, 0.0, 13 * HOUR_S)


def test_an_exposure_lasts_a_day_at_most():
    course = lamp(1.0, 3 * LONGEST_S)
    assert course.expose(600.0, LONGEST_S).length_s == pytest.approx(LONGEST_S)
    longer = course.expose(600.0, LONGEST_S * 1.01)
    assert longer.length_s is None
    assert not longer.dark_then
    assert longer.dose_share == pytest.approx(1.0 / 1.01)


@pytest.mark.parametrize("tilt_deg", [0.0, 50.0])
@pytest.mark.parametrize("hour", [4, 5, 6, 8, 12, 17, 20, 21, 23])
def test_a_scene_read_from_its_day_is_the_exposure_followed_closely_from_its_start(hour, tilt_deg):
    place = Place(41.15, -8.61, 80.0)
    scene = Scene(
        place=place,
        sky=assume_sky(place, dt.date(2026, 6, 21)),
        spot=OpenSpot(Aim(tilt_deg, 250.0)),
        stack=parse_stack("float-glass-4mm"),
        sensitizer=find_sensitizer("citrate-classic"),
        near_ground_albedo=0.04,
    )
    start_s = dt.datetime(2026, 6, 21, hour, 13, 27, tzinfo=dt.UTC).timestamp()
    closely_s = start_s + 5.0 * np.arange(LONGEST_S / 5.0 + 1.0)
    close = Course.of(closely_s, scene.rate(closely_s))
    for target in (300.0, 24000.0, 200000.0):
        read = scene.course(start_s).dose.expose(start_s, target, 0.3)
        followed = close.expose(start_s, target, 0.3)
        for name in ("length_s", "low_s", "high_s"):
            wanted = getattr(followed, name)
            found = getattr(read, name)
            assert found is None if wanted is None else found == pytest.approx(wanted, rel=1e-3)
        assert read.dose_share == pytest.approx(followed.dose_share, rel=2e-3, abs=1e-6)
        assert read.dark_then == followed.dark_then or read.high_s is not None
        assert read.looked_until_s == pytest.approx(followed.looked_until_s, abs=60.0) or read.reached


def test_a_few_days_are_kept_and_no_more():
    place = Place(41.15, -8.61, 80.0)
    scene = Scene(
        place=place,
        sky=assume_sky(place, dt.date(2026, 6, 21)),
        spot=OpenSpot(),
        stack=parse_stack("none"),
        sensitizer=find_sensitizer("citrate-classic"),
        near_ground_albedo=0.04,
    )
    first = scene.course(1.8e9)
    assert scene.course(1.8e9 + 1.0) is first
    for day in range(1, 30):
        scene.course(1.8e9 + day * LONGEST_S)
    assert len(scene._courses) <= 4


@pytest.mark.parametrize("start_minute", [7, 11.3, 20, 33])
def test_a_wall_that_takes_the_sun_at_a_stroke_is_met_within_seconds(start_minute):
    """Closure against steps of half a second."""
    place = Place(41.15, -8.61, 80.0)
    scene = Scene(
        place=place,
        sky=assume_sky(place, dt.date(2026, 6, 21)),
        spot=OpenSpot(Aim(0.0, 180.0), Skyline((0.0, 120.0, 121.0, 359.0), (5.0, 5.0, 70.0, 70.0))),
        stack=parse_stack("none"),
        sensitizer=find_sensitizer("citrate-classic"),
        near_ground_albedo=0.04,
    )
    start_s = dt.datetime(2026, 6, 21, 11, 0, tzinfo=dt.UTC).timestamp() + 60.0 * start_minute
    rate = scene.rate(start_s + 0.5 * np.arange(7200.0))
    assert rate.min() < 0.7 * rate.max()  # the wall does take the sun within the hour
    target = 20000.0
    length = scene.course(start_s).dose.expose(start_s, target).length_s
    fine_s = np.linspace(start_s, start_s + length, round(2.0 * length))
    assert np.trapezoid(scene.rate(fine_s), fine_s) == pytest.approx(target, rel=1e-3)
