"""What must hold of the light and the dose whatever the place, the sky and the spot."""

import datetime as dt
import math
from dataclasses import fields, replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from pvlib.spectrum import get_reference_spectra
from scipy.optimize import brentq

from noonframe.dose.exposure import expose
from noonframe.dose.plan import Aims, choices_for, plan_for
from noonframe.dose.scene import Scene
from noonframe.sky.assume import assume_sky
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.window import Window
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.ephemeris import geocentric_sun
from noonframe.sun.place import Place

steady = settings(
    max_examples=120, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
few = settings(steady, max_examples=40)
DAY_S = 86400.0
YEAR_S = 365.2422 * DAY_S

latitudes = st.floats(-89.99, 89.99)
FIRST_S = dt.datetime(2020, 1, 1, tzinfo=dt.UTC).timestamp()
moments = st.floats(FIRST_S, FIRST_S + 10.0 * YEAR_S)
aims = st.builds(Aim, st.floats(0.0, 90.0), st.floats(0.0, 360.0))
places = st.builds(Place, latitudes, st.floats(-180.0, 180.0), st.floats(-400.0, 5400.0))
airs = st.fixed_dictionaries(
    {
        "ozone_du": st.floats(100.0, 600.0),
        "aerosol_optical_depth": st.floats(0.0, 2.0),
        "ground_albedo": st.floats(0.0, 1.0),
        "cloud_optical_depth": st.one_of(st.just(0.0), st.floats(0.0, 128.0)),
    }
)
windows = st.builds(
    WindowSpot,
    st.builds(
        Window,
        st.floats(0.0, 360.0),
        st.floats(0.3, 3.0),
        st.floats(0.0, 0.5),
        st.floats(0.8, 2.5),
        st.floats(0.0, 0.4),
    ),
    st.builds(Frame, st.floats(0.3, 2.0), st.floats(-0.8, 0.8), st.just(0.3), st.just(0.4)),
)
spots = st.one_of(aims.map(OpenSpot), windows)


def scene(place, air, spot, moment, *, stack="float-glass-4mm,polyester-film", reciprocity_exponent=1.0):
    day = dt.datetime.fromtimestamp(moment, dt.UTC).date()
    return Scene(
        place,
        assume_sky(place, day, **air),
        spot,
        parse_stack(stack),
        find_sensitizer("citrate-classic"),
        0.04,
        reciprocity_exponent,
    )


@steady
@given(place=places, air=airs, spot=spots, moment=moments, exponent=st.floats(0.7, 1.1))
def test_light_and_rate_are_finite_and_never_negative(place, air, spot, moment, exponent):
    made = scene(place, air, spot, moment, reciprocity_exponent=exponent)
    time_s = moment + np.arange(0.0, DAY_S, 1800.0)
    light = made.light(time_s)
    dark = light.uva_w_m2 == 0.0
    for name in (each.name for each in fields(light)):
        values = getattr(light, name)
        told = values[~dark] if name == "uva_diffuse_fraction" else values  # nothing has no parts
        assert np.isfinite(told).all(), name
    rate = made.rate(time_s)
    assert np.isfinite(rate).all()
    assert (rate >= 0.0).all()


@steady
@given(
    place=places,
    air=airs,
    spot=spots,
    moment=moments,
    targets=st.tuples(st.floats(50.0, 5e5), st.floats(1.0, 8.0)),
)
def test_a_greater_target_never_comes_sooner(place, air, spot, moment, targets):
    made = scene(place, air, spot, moment)
    less, factor = targets
    first = expose(made.rate, moment, less, 0.2)
    second = expose(made.rate, moment, less * factor, 0.2)
    if second.length_s is None:
        return
    assert first.length_s is not None
    assert first.length_s <= second.length_s * (1.0 + 1e-12)
    assert first.low_s is None or first.low_s <= first.length_s * (1.0 + 1e-12)
    assert first.high_s is None or first.high_s >= first.length_s * (1.0 - 1e-12)


@steady
@given(
    place=places,
    air=airs,
    spot=spots,
    moment=moments,
    parts=st.lists(st.floats(60.0, 7200.0), min_size=1, max_size=4),
)
def test_the_dose_of_the_parts_is_the_dose_of_the_whole(place, air, spot, moment, parts):
    """A stretch cut at any moments, each piece on a grid of its own."""
    made = scene(place, air, spot, moment)

    def dose(begin_s, end_s):
        time_s = np.linspace(begin_s, end_s, max(3, round((end_s - begin_s) / 5.0) + 1))
        return float(np.trapezoid(made.rate(time_s), time_s))

    cuts = moment + np.concatenate([[0.0], np.cumsum(parts)])
    whole = dose(cuts[0], cuts[-1])
    pieces = sum(dose(a, b) for a, b in pairwise(cuts))
    # Light that begins or ends between two instants, round a jamb or at the end of twilight, is counted on
    # either grid to within half a step; how much of it, is the largest change from one instant to the next.
    step_s = 5.0
    jump = np.abs(np.diff(made.rate(np.arange(cuts[0], cuts[-1] + step_s, step_s)))).max()
    assert pieces == pytest.approx(whole, rel=2e-3, abs=step_s * jump)


def outside_uva_w_m2():
    spectrum = get_reference_spectra()["extraterrestrial"].loc[315.0:400.0]
    return float(np.trapezoid(spectrum.to_numpy(), spectrum.index.to_numpy()))


@steady
@given(place=places, air=airs, moment=moments)
def test_no_more_light_comes_down_than_came_in(place, air, moment):
    """Level, dark ground under any sky gets no more ultraviolet A than the sun sends to the top of the air.

    That is the extraterrestrial column of ASTM G173-03 from 315 to 400 nm; 6 % are for another spectrum of
    the sun, 1.035 is the greatest factor of its distance.  A bright ground and the air throw light back and
    forth, which adds to what comes down, so the ground is dark here.
    """
    made = scene(place, {**air, "ground_albedo": 0.0}, OpenSpot(Aim(0.0, 180.0)), moment, stack="none")
    light = made.light(moment + np.arange(0.0, DAY_S, 1800.0))
    assert light.uva_w_m2.max() <= 1.06 * 1.035 * outside_uva_w_m2()
    fraction = light.uva_diffuse_fraction[light.uva_w_m2 > 0.0]
    assert ((fraction >= 0.0) & (fraction <= 1.0 + 1e-12)).all()


@steady
@given(place=places, air=airs, moment=moments, thicker=st.floats(0.0, 60.0))
def test_a_thicker_cloud_never_gives_more_light_on_bare_level_ground(place, air, moment, thicker):
    """Ground that throws little back: over snow a thin cloud may add light.  Behind glass it may as well when
    the sun is low: the beam meets the pane at a glance, the light that the cloud scatters does not.
    """
    dark = {**air, "ground_albedo": 0.05}
    more = {**dark, "cloud_optical_depth": min(air["cloud_optical_depth"] + thicker, 128.0)}
    time_s = moment + np.arange(0.0, DAY_S, 3600.0)
    level = OpenSpot(Aim(0.0, 180.0))
    first = scene(place, dark, level, moment, stack="none").rate(time_s)
    second = scene(place, more, level, moment, stack="none").rate(time_s)
    assert (second <= first * 1.02 + 1e-9).all()  # 2 %: the table's interpolation between its depths


@steady
@given(
    latitude=st.floats(0.0, 89.0),
    longitude=st.floats(-180.0, 180.0),
    moment=moments,
    air=airs,
    tilt=st.floats(0.0, 90.0),
    azimuth=st.floats(0.0, 360.0),
)
def test_south_mirrors_north_half_a_year_later(*, latitude, longitude, moment, air, tilt, azimuth):
    """The place mirrored at the equator, at the moment about half a year on when the declination is opposite,
    at the longitude where it is then the same solar time, gets the same light on a mirrored aim, once the
    distance of the sun is taken out.  What is left is rounding and the sun's parallax.
    """
    later_s = opposite_declination(moment)
    assume(later_s is not None)
    turned_deg = math.degrees(hour_angle(moment) - hour_angle(later_s))
    north = Place(latitude, longitude, 50.0)
    south = Place(-latitude, (longitude + turned_deg + 180.0) % 360.0 - 180.0, 50.0)
    there = scene(north, air, OpenSpot(Aim(tilt, azimuth)), moment)
    mirrored = replace(there, place=south, spot=OpenSpot(Aim(tilt, (180.0 - azimuth) % 360.0)))
    first, second = there.track(np.array([moment])), mirrored.track(np.array([later_s]))
    assert second.up[0] == pytest.approx(first.up[0], abs=MIRRORED)
    assert second.east[0] == pytest.approx(first.east[0], abs=MIRRORED)
    assert second.north[0] == pytest.approx(-first.north[0], abs=MIRRORED)
    one = there.rate(np.array([moment]))[0] / first.distance_factor[0]
    two = mirrored.rate(np.array([later_s]))[0] / second.distance_factor[0]
    assert two == pytest.approx(one, rel=1e-4, abs=1e-5)


MIRRORED = 2e-7
"""The sun's nodes are good to 2e-6 degrees (4e-8), and its parallax with its distance by 1.5e-6 rad."""


def sun_at(time_s):
    return geocentric_sun(np.array([time_s]))


def hour_angle(time_s):
    return float(sun_at(time_s).greenwich_hour_angle_rad[0])


def opposite_declination(moment):
    """The moment about half a year on at which the sun is as far on the other side of the equator."""
    wanted = -float(sun_at(moment).sin_declination[0])
    begin_s, end_s = moment + YEAR_S / 2.0 - 12.0 * DAY_S, moment + YEAR_S / 2.0 + 12.0 * DAY_S

    def off(time_s):
        return float(sun_at(time_s).sin_declination[0]) - wanted

    if off(begin_s) * off(end_s) >= 0.0:
        return None  # a solstice: the other one may be a little lower, or reached twice
    return brentq(off, begin_s, end_s, xtol=1e-3)


@few
@given(
    place=st.builds(Place, st.floats(-60.0, 60.0), st.floats(-180.0, 180.0), st.just(50.0)),
    air=airs,
    spot=spots,
    day=st.integers(0, 3650),
    past_noon_h=st.floats(-5.0, 4.0),
    target=st.floats(500.0, 40000.0),
    cost_s=st.floats(0.0, 300.0),
    most=st.integers(0, 3),
)
def test_moves_are_never_worse_than_staying(*, place, air, spot, day, past_noon_h, target, cost_s, most):
    moment = FIRST_S + (day + 0.5 - place.longitude_deg / 360.0) * DAY_S + past_noon_h * 3600.0
    made = scene(place, air, spot, moment)
    choices = choices_for(made, aims=Aims.PROPPED, most_places=12)
    found = plan_for(
        made,
        choices,
        moment,
        target,
        move_cost_s=cost_s,
        max_moves=most,
        tolerance_stops=None,
        start_anywhere=False,
    ).plan
    assert len(found.moves) <= most
    if found.stay_finish_s is None:
        return
    assert found.finish_s is not None
    assert found.finish_s <= found.stay_finish_s + 1e-6
    if not found.moves:
        assert found.finish_s == pytest.approx(found.stay_finish_s, abs=1e-6)
