"""One exposure from a start: its length and range, and the answer when the light does not last."""

import datetime as dt
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from noonframe.dose.course import quantile_factor
from noonframe.dose.exposure import (
    LONGEST_S,
    SENSIBLE_FACTOR,
    expose,
    lengths_from_every_step,
    next_chance,
)
from noonframe.dose.scene import RECIPROCITY_REFERENCE_W_M2, Scene
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.events import day_events
from noonframe.sun.place import Place

PORTO, LISBON = Place(41.15, -8.61, 80.0), ZoneInfo("Europe/Lisbon")
NORTH, OSLO = Place(70.0, 25.0), ZoneInfo("Europe/Oslo")
FLAT = OpenSpot()
GLASS_AND_FILM = parse_stack("float-glass-4mm,polyester-film")
TARGET = find_sensitizer("citrate-classic").target_j_m2

CLOSURE = 5e-4
"""The light gathered over the given length must be the target: 0.05 %, a quarter of a second in ten minutes.
"""

RANKING_TOLERANCE_S = 3.0
"""The lengths from every step place the end by a straight line within a minute of light."""


@cache
def scene(
    place: Place, date: dt.date, *, exponent: float = 1.0, spot: OpenSpot = FLAT, sky: str | None = None
) -> Scene:
    return Scene(
        place,
        assume_sky(place, date, sky=sky),
        spot,
        GLASS_AND_FILM,
        find_sensitizer("citrate-classic"),
        0.04,
        exponent,
    )


def at(*when: int, zone: ZoneInfo = LISBON) -> float:
    return dt.datetime(*when, tzinfo=zone).timestamp()


class Counted:
    """A rate that counts the instants it was asked for."""

    def __init__(self, rate):
        self.rate, self.points = rate, 0

    def __call__(self, unix_s):
        self.points += unix_s.size
        return self.rate(unix_s)


def steady_rate(w_m2: float):
    return lambda unix_s: np.full(unix_s.size, w_m2)


def test_constant_light_gives_target_over_light():
    exposure = expose(steady_rate(40.0), 1e9, 24000.0)
    assert exposure.length_s == pytest.approx(600.0, abs=1e-6)
    assert exposure.low_s == exposure.length_s == exposure.high_s
    assert (exposure.reached, exposure.dose_share) == (True, 1.0)
    assert exposure.end_s == pytest.approx(1e9 + 600.0, abs=1e-6)


@pytest.mark.reference
def test_range_is_the_tenth_and_ninetieth_percentile():
    """The 90 % point of the standard normal distribution is 1.2816: half a stop of spread is a factor
    2^0.641."""
    assert quantile_factor(0.5) == pytest.approx(2.0**0.64078, rel=1e-4)
    exposure = expose(steady_rate(40.0), 0.0, 24000.0, 0.5)
    assert exposure.high_s / exposure.length_s == pytest.approx(2.0**0.64078, rel=1e-4)
    assert exposure.length_s / exposure.low_s == pytest.approx(2.0**0.64078, rel=1e-4)


@pytest.mark.parametrize(
    ("place", "start_s"),
    [
        (PORTO, at(2025, 6, 21, 13, 0)),
        (PORTO, at(2025, 6, 21, 8, 30)),
        (PORTO, at(2025, 12, 21, 14, 0)),
        (NORTH, at(2025, 6, 21, 23, 0, zone=OSLO)),
    ],
)
def test_dose_over_the_length_is_the_target_and_an_independent_solver_agrees(place, start_s):
    rate = scene(place, dt.datetime.fromtimestamp(start_s, dt.UTC).date()).rate
    exposure = expose(rate, start_s, TARGET, 0.4)
    assert exposure.low_s < exposure.length_s < exposure.high_s

    def gathered(length_s: float) -> float:
        return quad(lambda t: float(rate(np.array([start_s + t]))[0]), 0.0, length_s, epsabs=1.0, limit=200)[
            0
        ]

    assert gathered(exposure.length_s) == pytest.approx(TARGET, rel=CLOSURE)
    solved = brentq(
        lambda t: gathered(t) - TARGET, 0.5 * exposure.length_s, 2.0 * exposure.length_s, xtol=1e-3
    )
    assert exposure.length_s == pytest.approx(solved, rel=CLOSURE)


def test_light_that_goes_first_gives_the_share_reached_and_a_next_chance():
    date = dt.date(2025, 12, 21)
    rate = scene(PORTO, date).rate
    start_s = day_events(PORTO, date, LISBON).set.timestamp() - 1800.0
    exposure = expose(rate, start_s, TARGET, 0.4)
    assert exposure.length_s is None
    assert not exposure.reached
    assert 0.0 < exposure.dose_share < 0.5
    assert exposure.dark_then
    dusk = day_events(PORTO, date, LISBON).dusk.timestamp()
    assert dusk - 120.0 < exposure.end_s < dusk + 120.0
    chance = next_chance(rate, start_s, TARGET)
    morning = dt.datetime.fromtimestamp(chance.start_s, LISBON)
    assert morning.date() == date + dt.timedelta(days=1)
    again = expose(rate, chance.start_s, TARGET)
    assert again.length_s == pytest.approx(chance.length_s)
    noon = expose(rate, at(2025, 12, 22, 12, 20), TARGET)
    assert chance.length_s <= 1.001 * SENSIBLE_FACTOR * noon.length_s


def test_a_low_estimate_may_be_reached_where_the_likely_one_is_not():
    rate = scene(PORTO, dt.date(2025, 12, 21)).rate
    exposure = expose(rate, at(2025, 12, 21, 15, 30), TARGET, 1.0)
    assert exposure.length_s is None
    assert exposure.high_s is None
    assert exposure.low_s > 0.0


def test_a_start_at_night_is_not_reached_and_gathers_nothing():
    rate = scene(PORTO, dt.date(2025, 6, 21)).rate
    start_s = at(2025, 6, 21, 1, 0)
    exposure = expose(rate, start_s, TARGET, 0.4)
    assert (exposure.length_s, exposure.low_s, exposure.dose_share, exposure.dark_then) == (
        None,
        None,
        0.0,
        True,
    )
    chance = next_chance(rate, start_s, TARGET)
    assert dt.datetime.fromtimestamp(chance.start_s, LISBON).date() == dt.date(2025, 6, 21)
    assert 7 <= dt.datetime.fromtimestamp(chance.start_s, LISBON).hour <= 10


def test_polar_night_names_a_day_weeks_ahead():
    """At 70 N in December the next print waits for the sun, which returns in the second half of January."""
    rate = scene(NORTH, dt.date(2025, 12, 21)).rate
    start_s = at(2025, 12, 21, 12, 0, zone=OSLO)
    exposure = expose(rate, start_s, TARGET)
    assert exposure.length_s is None
    assert exposure.dose_share < 0.2
    chance = next_chance(rate, start_s, TARGET)
    found = dt.datetime.fromtimestamp(chance.start_s, OSLO)
    assert dt.date(2026, 1, 17) < found.date() < dt.date(2026, 2, 20)
    day_before = found - dt.timedelta(days=1)
    lengths = lengths_from_every_step(
        day_before.timestamp() + np.arange(0.0, 86400.0, 60.0),
        rate(day_before.timestamp() + np.arange(0.0, 86400.0, 60.0)),
        TARGET,
    )
    assert not np.isfinite(lengths).any()


def test_polar_day_ends_the_search_after_a_day():
    rate = Counted(scene(NORTH, dt.date(2025, 6, 21)).rate)
    start_s = at(2025, 6, 21, 12, 0, zone=OSLO)
    exposure = expose(rate, start_s, 1e8)
    assert exposure.length_s is None
    assert not exposure.dark_then
    assert exposure.looked_until_s == start_s + LONGEST_S
    assert 0.0 < exposure.dose_share < 0.1


def test_no_search_is_endless():
    """At most two short looks and the day's at minute steps; and for the next chance the coarse scans of
    3, 30 and 366 days, with minute steps only where the target could be held."""
    rate = Counted(scene(PORTO, dt.date(2025, 6, 21)).rate)
    expose(rate, at(2025, 6, 21, 8, 0), 1e8, 4.0)
    assert rate.points <= 61 + 241 + 1441
    rate.points = 0
    assert next_chance(rate, at(2025, 6, 21, 8, 0), 1e8) is None
    assert rate.points <= 144 * (3 + 30 + 366) + 3
    light_summer = Counted(scene(NORTH, dt.date(2025, 6, 21)).rate)
    whole_day = float(np.sum(light_summer(at(2025, 6, 21, zone=OSLO) + np.arange(0.0, 86400.0, 60.0)))) * 60.0
    light_summer.points = 0
    assert (
        next_chance(light_summer, at(2025, 5, 25, zone=OSLO), 1.05 * whole_day) is None
    )  # never inside a day
    assert light_summer.points <= (144 + 2882) * (3 + 30 + 366)


def test_a_chance_late_in_a_long_polar_day_is_found():
    """In a light that never goes out but grows day by day, only a later day holds the target within 24
    hours."""

    def growing(unix_s):
        return 10.0 + unix_s / 86400.0

    target = 86400.0 * 30.0  # a day's light of 30 W/m2: the mean from day 19.5 to day 20.5
    chance = next_chance(growing, 0.0, target)
    assert chance is not None
    assert 18.0 <= chance.start_s / 86400.0 <= 20.5
    assert chance.length_s <= LONGEST_S


def test_no_light_at_all_has_no_next_chance():
    assert next_chance(steady_rate(0.0), 0.0, 100.0) is None


def test_length_grows_with_the_target_and_shrinks_with_the_light():
    rate = scene(PORTO, dt.date(2025, 6, 21)).rate
    start_s = at(2025, 6, 21, 11, 0)
    lengths = [expose(rate, start_s, target).length_s for target in (5e3, 1e4, 2e4, 4e4)]
    assert lengths == sorted(lengths)
    overcast = scene(PORTO, dt.date(2025, 6, 21), sky="overcast").rate
    assert expose(overcast, start_s, 2e4).length_s > 2.0 * lengths[2]


def test_exponent_one_is_plain_reciprocity():
    plain, same = scene(PORTO, dt.date(2025, 6, 21)), scene(PORTO, dt.date(2025, 6, 21), exponent=1.0)
    start_s = at(2025, 6, 21, 10, 0)
    assert expose(plain.rate, start_s, TARGET) == expose(same.rate, start_s, TARGET)


@pytest.mark.reference
@pytest.mark.parametrize(("exponent", "factor"), [(0.9, 12.9), (0.95, 11.3), (1.0, 10.0)])
def test_dim_light_takes_longer_by_schwarzschilds_law(exponent, factor):
    """Schwarzschild (1900), Astrophys. J. 11, 89: t2 = t1 (E1/E2)^(1/p); ten times dimmer takes 12.9
    times as long at p = 0.9 and 11.3 at 0.95."""
    from noonframe.dose.scene import with_reciprocity

    bright, dim = RECIPROCITY_REFERENCE_W_M2, RECIPROCITY_REFERENCE_W_M2 / 10.0
    first = expose(lambda t: with_reciprocity(np.full(t.size, bright), exponent), 0.0, 24000.0)
    second = expose(lambda t: with_reciprocity(np.full(t.size, dim), exponent), 0.0, 24000.0)
    assert first.length_s == pytest.approx(600.0, rel=1e-9)
    assert second.length_s / first.length_s == pytest.approx(factor, abs=0.06)


@pytest.mark.parametrize(("place", "zone"), [(PORTO, LISBON), (NORTH, OSLO)])
def test_lengths_from_every_step_agree_with_single_exposures(place, zone):
    date = dt.date(2025, 4, 10)
    rate = scene(place, date).rate
    time_s = at(2025, 4, 10, zone=zone) + np.arange(0.0, 2 * 86400.0, 60.0)
    lengths = lengths_from_every_step(time_s, rate(time_s), TARGET)
    starts = np.random.default_rng(4).integers(0, 1440, 60)
    seen = 0
    for k in starts:
        single = expose(rate, float(time_s[k]), TARGET)
        if single.length_s is None:
            assert np.isnan(lengths[k])
        else:
            assert lengths[k] == pytest.approx(single.length_s, abs=RANKING_TOLERANCE_S)
            seen += 1
    assert 10 < seen < 60


def test_nothing_is_printed_through_the_night():
    """Light, dark, light: a start whose target would be met only by the second light is not reached."""
    time_s = np.arange(0.0, 36000.0, 60.0)
    power = np.where((time_s > 7200.0) & (time_s < 18000.0), 0.0, 10.0)
    lengths = lengths_from_every_step(time_s, power, 50000.0)
    assert lengths[0] == pytest.approx(5000.0, abs=60.0)
    assert np.isnan(lengths[60])  # starts at 3600 s, 36 kJ before dark
    assert np.isnan(lengths[200])  # starts in the dark
    assert lengths[310] == pytest.approx(5000.0, abs=60.0)


def test_aiming_at_a_low_sun_is_quicker():
    date = dt.date(2025, 12, 21)
    start_s = at(2025, 12, 21, 12, 20)
    flat = expose(scene(PORTO, date).rate, start_s, TARGET).length_s
    aimed = expose(scene(PORTO, date, spot=OpenSpot(Aim(60.0, 180.0))).rate, start_s, TARGET).length_s
    assert 0.4 * flat < aimed < 0.8 * flat
