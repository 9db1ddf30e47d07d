"""From a forecast to the course of the cloud."""

import datetime as dt
import math

import numpy as np
import pytest
from pvlib.atmosphere import get_relative_airmass, kasten96_lt
from pvlib.clearsky import bird, ineichen

from noonframe.errors import OutOfDomain
from noonframe.sky.evidence import CloudCourse, Evidence, cloud_course, steady_course
from noonframe.sky.evidence_broadband import broadband_table
from noonframe.sky.evidence_clear import SOLAR_CONSTANT_W_M2, clear_global_w_m2
from noonframe.sky.evidence_samples import between, covering
from noonframe.sky.forecast import Forecast, SampleKind, WeatherSample
from noonframe.sky.words import CloudPart
from noonframe.sun.place import Place
from noonframe.sun.position import sun_track

PORTO = Place(41.15, -8.61, 80.0)
DUNEDIN = Place(-45.87, 170.50, 20.0)
AEROSOL = 0.12
DAY_S = dt.datetime(2026, 6, 21, tzinfo=dt.UTC).timestamp()
HOUR_S = 3600.0


def forecast(samples, low_top_m=3000.0, mid_top_m=8000.0):
    return Forecast(
        provider="exact",
        model="exact",
        attribution="made up",
        latitude_deg=41.15,
        longitude_deg=-8.61,
        issued_s=None,
        fetched_s=DAY_S,
        expires_s=DAY_S + HOUR_S,
        low_top_m=low_top_m,
        mid_top_m=mid_top_m,
        samples=tuple(samples),
    )


def instant(hour, **values):
    return WeatherSample(SampleKind.INSTANT, DAY_S + hour * HOUR_S, DAY_S + hour * HOUR_S, **values)


def mean(first_hour, last_hour, **values):
    return WeatherSample(SampleKind.MEAN, DAY_S + first_hour * HOUR_S, DAY_S + last_hour * HOUR_S, **values)


def broadband_factor(optical_depth, zenith_deg):
    """An own bilinear reading of the table, zenith by zenith, to make an exact provider of."""
    table = broadband_table()
    by_zenith = [
        np.interp(math.log1p(optical_depth), np.log1p(table.optical_depth), row)
        for row in table.global_factor
    ]
    return np.interp(zenith_deg, table.zenith_deg, by_zenith)


def global_under(place, unix_s, cover, optical_depth):
    clear = clear_global_w_m2(place, unix_s, AEROSOL)
    zenith = sun_track(place, unix_s).zenith_deg
    return clear * (1.0 - cover + cover * broadband_factor(optical_depth, zenith))


def exact_hours(place, cover, optical_depth, *, hours=range(24), step=1.0, told=None, scale=1.0):
    """Backward means of global irradiance, each over its own interval, by one-minute sums."""
    samples = []
    for first in np.arange(min(hours), max(hours) + 1, step):
        minutes = DAY_S + first * HOUR_S + np.arange(30.0, step * HOUR_S, 60.0)
        light = float(np.mean(global_under(place, minutes, cover, optical_depth))) * scale
        samples.append(mean(first, first + step, global_w_m2=light, cloud_total=told))
    return samples


def mean_broadband(course, zenith_deg):
    factor = np.array([broadband_factor(depth, zenith_deg) for depth in course.optical_depth])
    return 1.0 - course.cover * (1.0 - factor)


# --- the cloudless reference -------------------------------------------------------------------------------


@pytest.mark.reference
@pytest.mark.parametrize(("hour", "tolerance"), [(9.0, 0.03), (13.0, 0.03), (17.0, 0.03), (18.0, 0.04)])
def test_the_clear_irradiance_agrees_with_an_independent_model(hour, tolerance):
    # Bird and Hulstrom (1981) through pvlib, same aerosol and water.  Clear-sky models agree to 3-5 % above a
    # zenith of 70 degrees; common practice, no source.
    at = np.array([DAY_S + hour * HOUR_S])
    track = sun_track(PORTO, at)
    zenith = track.zenith_deg
    other = bird(
        zenith,
        get_relative_airmass(zenith),
        AEROSOL * (500.0 / 380.0) ** 1.3,
        AEROSOL,
        1.4,
        ozone=0.33,
        pressure=PORTO.pressure_hpa * 100.0,
        albedo=0.15,
        dni_extra=SOLAR_CONSTANT_W_M2 * track.distance_factor,
    )["ghi"]
    assert clear_global_w_m2(PORTO, at, AEROSOL) == pytest.approx(other, rel=tolerance)


@pytest.mark.reference
def test_the_clear_irradiance_agrees_with_ineichen_under_the_turbidity_of_the_same_aerosol():
    # Ineichen and Perez (2002) with the Linke turbidity of Kasten (1996) at air mass 2, through pvlib.
    at = DAY_S + HOUR_S * np.array([10.0, 13.0, 16.0])
    track = sun_track(PORTO, at)
    turbidity = kasten96_lt(2.0, 1.4, AEROSOL * (500.0 / 700.0) ** 1.3)
    other = ineichen(
        track.zenith_deg,
        get_relative_airmass(track.zenith_deg) * PORTO.pressure_hpa / 1013.25,
        turbidity,
        PORTO.elevation_m,
        SOLAR_CONSTANT_W_M2 * track.distance_factor,
    )["ghi"]
    np.testing.assert_allclose(clear_global_w_m2(PORTO, at, AEROSOL), other, rtol=0.05)


def test_there_is_no_clear_irradiance_at_night():
    assert clear_global_w_m2(PORTO, np.array([DAY_S + HOUR_S, DAY_S + 23.5 * HOUR_S]), AEROSOL).tolist() == [
        0,
        0,
    ]


# --- an exact provider -------------------------------------------------------------------------------------


@pytest.mark.parametrize("step", [1.0, 0.25])
@pytest.mark.parametrize("optical_depth", [1.5, 4.0, 12.0, 35.0, 80.0])
@pytest.mark.parametrize(("place", "noon"), [(PORTO, 13), (DUNEDIN, 1)])
def test_irradiance_made_with_a_known_cloud_gives_back_that_cloud(place, noon, optical_depth, step):
    # 3 %: the provider sums by the minute, the reader by at most five minutes.
    samples = exact_hours(place, 1.0, optical_depth, hours=range(noon - 4, noon + 4), step=step)
    course = cloud_course(
        forecast(samples), place, DAY_S + (noon - 3) * HOUR_S, DAY_S + (noon + 3) * HOUR_S, AEROSOL
    )
    used = course.evidence == Evidence.SHORTWAVE
    assert used.any()
    np.testing.assert_allclose(course.optical_depth[used], optical_depth, rtol=0.03)
    np.testing.assert_array_equal(course.cover[used], 1.0)


@pytest.mark.parametrize(("cover", "optical_depth"), [(0.3, 12.0), (0.5, 8.0), (0.8, 20.0)])
def test_broken_cloud_with_the_cover_told_gives_back_its_depth(cover, optical_depth):
    samples = exact_hours(PORTO, cover, optical_depth, told=cover)
    course = cloud_course(forecast(samples), PORTO, DAY_S + 9 * HOUR_S, DAY_S + 17 * HOUR_S, AEROSOL)
    np.testing.assert_allclose(course.cover, cover, rtol=1e-9)
    np.testing.assert_allclose(course.optical_depth, optical_depth, rtol=0.05)


def test_a_mean_read_as_an_instant_would_be_wrong_by_far_more_than_the_tolerance():
    # The hour after sunrise: the same number labelled with the wrong moment gives another cloud altogether.
    right = exact_hours(PORTO, 1.0, 12.0)
    late = [instant(s.end_s / HOUR_S - DAY_S / HOUR_S, global_w_m2=s.global_w_m2) for s in right]
    span = DAY_S + 7.5 * HOUR_S, DAY_S + 9.0 * HOUR_S
    good = cloud_course(forecast(right), PORTO, *span, AEROSOL)
    bad = cloud_course(forecast(late), PORTO, *span, AEROSOL)
    np.testing.assert_allclose(good.optical_depth, 12.0, rtol=0.03)
    assert (np.abs(bad.optical_depth / 12.0 - 1.0) > 0.15).all()


def test_instants_of_irradiance_are_read_at_their_moment_and_between():
    hours = np.arange(8.0, 18.0)
    light = global_under(PORTO, DAY_S + hours * HOUR_S, 1.0, 10.0)
    samples = [instant(h, global_w_m2=float(w)) for h, w in zip(hours, light, strict=True)]
    course = cloud_course(forecast(samples), PORTO, DAY_S + 9 * HOUR_S, DAY_S + 16 * HOUR_S, AEROSOL)
    # The index is interpolated, not the irradiance, so the sun's path between the hours does not matter much.
    np.testing.assert_allclose(course.optical_depth, 10.0, rtol=0.05)


def test_a_cloudless_forecast_has_no_cloud_and_little_spread():
    course = cloud_course(
        forecast(exact_hours(PORTO, 0.0, 0.0)), PORTO, DAY_S + 9 * HOUR_S, DAY_S + 17 * HOUR_S, AEROSOL
    )
    # The index of clear hours is 1 within the sums' difference: whatever is left is a veil of no weight.
    assert (mean_broadband(course, 40.0) > 0.995).all()
    assert (course.spread_stops < 0.12).all()


def test_light_above_the_clear_skys_is_no_cloud():
    samples = exact_hours(PORTO, 0.0, 0.0, scale=1.08)
    course = cloud_course(forecast(samples), PORTO, DAY_S + 9 * HOUR_S, DAY_S + 17 * HOUR_S, AEROSOL)
    assert course.cover.tolist() == [0.0] * course.cover.size
    assert course.optical_depth.tolist() == [0.0] * course.cover.size


def test_the_providers_own_cloudless_hours_calibrate_the_clear_sky():
    # A provider whose air is 6 % dimmer than ours; half its day is cloudless by its own word.
    clear = exact_hours(PORTO, 0.0, 0.0, hours=range(8, 13), told=0.0, scale=0.94)
    cloudy = exact_hours(PORTO, 1.0, 12.0, hours=range(13, 18), told=1.0, scale=0.94)
    course = cloud_course(forecast(clear + cloudy), PORTO, DAY_S + 14 * HOUR_S, DAY_S + 17 * HOUR_S, AEROSOL)
    np.testing.assert_allclose(course.optical_depth, 12.0, rtol=0.03)
    assert any("scaled by 0.94" in note for note in course.notes)


def test_too_little_cover_for_the_loss_of_light_is_raised():
    samples = exact_hours(PORTO, 1.0, 30.0, told=0.2)
    course = cloud_course(forecast(samples), PORTO, DAY_S + 12 * HOUR_S, DAY_S + 14 * HOUR_S, AEROSOL)
    assert (course.cover > 0.8).all()
    np.testing.assert_allclose(
        mean_broadband(course, sun_track(PORTO, np.array([DAY_S + 13 * HOUR_S])).zenith_deg[0]),
        broadband_factor(30.0, 18.0),
        atol=0.02,
    )


def test_evidence_at_odds_widens_the_spread_and_says_so():
    dark_but_cloudless = exact_hours(PORTO, 1.0, 30.0, told=0.0)
    dark = exact_hours(PORTO, 1.0, 30.0)
    span = DAY_S + 10 * HOUR_S, DAY_S + 16 * HOUR_S
    odd = cloud_course(forecast(dark_but_cloudless), PORTO, *span, AEROSOL)
    plain = cloud_course(forecast(dark), PORTO, *span, AEROSOL)
    assert any("disagree" in note for note in odd.notes)
    assert plain.notes == ()
    assert (odd.spread_stops > 1.2 * plain.spread_stops).all()


# --- the order of evidence, and holes ----------------------------------------------------------------------


def test_the_best_evidence_of_each_moment_is_used():
    samples = [
        *exact_hours(PORTO, 1.0, 10.0, hours=range(10, 12)),
        *(instant(hour, cloud_low=0.5, cloud_total=0.6) for hour in range(10, 15)),
        *(mean(hour, hour + 1, cloud_total=0.4) for hour in range(16, 18)),
    ]
    course = cloud_course(forecast(samples), PORTO, DAY_S + 10 * HOUR_S, DAY_S + 20 * HOUR_S, AEROSOL)
    at = DAY_S + HOUR_S * np.array([10.5, 11.9, 12.1, 14.6, 15.5, 16.5, 17.9, 18.5, 19.9])
    assert course.evidence[course.piece_of(at)].tolist() == [
        Evidence.SHORTWAVE,
        Evidence.SHORTWAVE,
        Evidence.LAYERS,
        Evidence.LAYERS,  # an instant stands for the hour after it
        Evidence.BEYOND,
        Evidence.TOTAL,
        Evidence.TOTAL,  # a mean holds to its end and no further
        Evidence.BEYOND,
        Evidence.BEYOND,
    ]
    assert course.known_until_s == DAY_S + 15 * HOUR_S


def test_none_is_a_hole_and_zero_is_not():
    zero = cloud_course(
        forecast([instant(h, cloud_total=0.0) for h in (10, 11, 12)]),
        PORTO,
        DAY_S + 36e3,
        DAY_S + 43e3,
        AEROSOL,
    )
    none = cloud_course(
        forecast([instant(h, visibility_m=9e3) for h in (10, 11, 12)]),
        PORTO,
        DAY_S + 36e3,
        DAY_S + 43e3,
        AEROSOL,
    )
    assert set(zero.evidence) == {Evidence.TOTAL}
    assert not zero.cover.any()
    assert set(none.evidence) == {Evidence.BEYOND}
    assert none.known_until_s == none.from_s
    assert (none.spread_stops >= 0.5).all()


def test_an_empty_forecast_is_beyond_from_the_start():
    course = cloud_course(forecast([]), PORTO, DAY_S, DAY_S + HOUR_S, AEROSOL)
    assert course.known_until_s == DAY_S
    assert course.edges_s[[0, -1]].tolist() == [DAY_S, DAY_S + HOUR_S]


def test_instants_are_interpolated_between_and_means_hold():
    rising = cloud_course(
        forecast([instant(10, cloud_total=0.2), instant(11, cloud_total=0.6)]),
        PORTO,
        DAY_S + 10 * HOUR_S,
        DAY_S + 11 * HOUR_S,
        AEROSOL,
    )
    np.testing.assert_allclose(rising.cover, [0.25, 0.35, 0.45, 0.55])
    held = cloud_course(
        forecast([mean(10, 11, cloud_total=0.2), mean(11, 12, cloud_total=0.6)]),
        PORTO,
        DAY_S + 10.5 * HOUR_S,
        DAY_S + 11.5 * HOUR_S,
        AEROSOL,
    )
    np.testing.assert_allclose(held.cover, [0.2, 0.2, 0.6, 0.6])


def test_low_sun_takes_the_layers_and_without_them_the_neighbours_cloud():
    light = exact_hours(PORTO, 1.0, 10.0)
    layers = [instant(hour, cloud_low=1.0) for hour in range(25)]
    dusk = DAY_S + 19.75 * HOUR_S
    span = DAY_S + 15 * HOUR_S, DAY_S + 21 * HOUR_S
    with_layers = cloud_course(forecast([*light, *layers]), PORTO, *span, AEROSOL)
    alone = cloud_course(forecast(light), PORTO, *span, AEROSOL)
    at = np.array([dusk])
    assert sun_track(PORTO, at).zenith_deg[0] > 80.0
    assert with_layers.evidence[with_layers.piece_of(at)].tolist() == [Evidence.LAYERS]
    assert alone.evidence[alone.piece_of(at)].tolist() == [Evidence.SHORTWAVE]
    assert alone.optical_depth[alone.piece_of(at)] == pytest.approx(10.0, rel=0.03)


def test_polar_night_has_a_course_too():
    north = Place(78.2, 15.6)
    winter = DAY_S + 183 * 86400.0
    samples = [
        WeatherSample(SampleKind.MEAN, winter + h * HOUR_S, winter + (h + 1) * HOUR_S, global_w_m2=0.0)
        for h in range(6)
    ]
    course = cloud_course(forecast(samples), north, winter, winter + 4 * HOUR_S, AEROSOL)
    assert set(course.evidence) == {Evidence.BEYOND}  # light that is not there says nothing of cloud


# --- members -----------------------------------------------------------------------------------------------


def test_each_member_gets_its_course_and_holes_come_from_the_control():
    control = exact_hours(PORTO, 1.0, 10.0)
    by_member = [
        WeatherSample(s.kind, s.start_s, s.end_s, global_w_m2=s.global_w_m2 * factor, member=number)
        for number, factor in ((1, 0.5), (2, 1.0))
        for s in control
        if not (number == 1 and s.start_s >= DAY_S + 14 * HOUR_S)
    ]
    course = cloud_course(
        forecast([*control, *by_member]), PORTO, DAY_S + 10 * HOUR_S, DAY_S + 16 * HOUR_S, AEROSOL
    )
    first, second = course.members
    early, late = np.array([DAY_S + 12 * HOUR_S]), np.array([DAY_S + 15 * HOUR_S])
    assert first.optical_depth[first.piece_of(early)] > 2.0 * second.optical_depth[second.piece_of(early)]
    assert first.optical_depth[first.piece_of(late)] == course.optical_depth[course.piece_of(late)]
    assert (
        second.spread_stops < course.spread_stops
    ).all()  # the members show the forecast's error themselves
    np.testing.assert_allclose(second.optical_depth, course.optical_depth)


def test_an_ensemble_without_a_control_is_led_by_its_mean():
    samples = [
        WeatherSample(
            SampleKind.INSTANT, DAY_S + h * HOUR_S, DAY_S + h * HOUR_S, cloud_total=cover, member=number
        )
        for h in range(10, 13)
        for number, cover in ((1, 0.2), (2, 0.8))
    ]
    course = cloud_course(forecast(samples), PORTO, DAY_S + 10 * HOUR_S, DAY_S + 12 * HOUR_S, AEROSOL)
    np.testing.assert_allclose(course.cover, 0.5)
    assert [float(member.cover[0]) for member in course.members] == [0.2, 0.8]
    assert any("mean of the members" in note for note in course.notes)


# --- small parts -------------------------------------------------------------------------------------------


def test_instants_too_far_apart_are_not_joined():
    at = HOUR_S * np.array([-2.0, -0.5, 0.5, 1.5, 6.0, 7.5, 9.5])
    value = between(np.array([0.0, 8.0 * HOUR_S]), np.array([1.0, 3.0]), at)
    np.testing.assert_array_equal(value, [np.nan, 1.0, 1.0, np.nan, np.nan, 3.0, np.nan])


def test_the_shortest_interval_that_covers_a_moment_wins():
    start = np.array([0.0, 900.0, 3600.0])
    end = np.array([3600.0, 1800.0, 7200.0])
    assert covering(start, end, np.array([-1.0, 10.0, 900.0, 1800.0, 3600.0, 7200.0])).tolist() == [
        -1,
        0,
        1,
        0,
        2,
        -1,
    ]


def test_a_sky_word_is_a_steady_course():
    course = steady_course((CloudPart(0.5, 0.0), CloudPart(0.5, 12.0)), 0.0, 60.0, 0.5, "sky seen: broken")
    assert (course.cover.tolist(), course.optical_depth.tolist()) == ([0.5], [12.0])
    clear = steady_course((CloudPart(1.0, 0.0),), 0.0, 60.0, 0.1, "sky seen: clear")
    assert (clear.cover.tolist(), clear.optical_depth.tolist()) == ([0.0], [0.0])
    with pytest.raises(OutOfDomain, match="cloud"):
        steady_course((CloudPart(0.5, 2.0), CloudPart(0.5, 12.0)), 0.0, 60.0, 0.5, "x")


@pytest.mark.parametrize("to_s", [DAY_S, DAY_S - 1.0, DAY_S + 18 * 86400.0, math.nan, math.inf])
def test_a_bad_span_is_refused(to_s):
    with pytest.raises(OutOfDomain, match="to_s"):
        cloud_course(forecast([]), PORTO, DAY_S, to_s, AEROSOL)


def test_a_course_refuses_what_makes_no_sense():
    good = {
        "edges_s": np.array([0.0, 1.0]),
        "cover": np.array([0.5]),
        "optical_depth": np.array([3.0]),
        "spread_stops": np.array([0.1]),
        "evidence": np.array(["x"]),
        "known_until_s": 1.0,
    }
    CloudCourse(**good)
    for name, bad in (
        ("edges_s", np.array([1.0, 0.0])),
        ("cover", np.array([1.5])),
        ("cover", np.array([np.nan])),
        ("optical_depth", np.array([200.0])),
        ("spread_stops", np.array([0.1, 0.1])),
    ):
        with pytest.raises(OutOfDomain, match=name):
            CloudCourse(**{**good, name: bad})
    with pytest.raises(OutOfDomain, match="time_s"):
        CloudCourse(**good).piece_of(np.array([2.0]))
