"""Where the sun stands, against the published example, the full algorithm and a second library."""

import csv
import datetime as dt
from pathlib import Path

import ephem
import numpy as np
import pytest
from pvlib import spa

from noonframe.errors import OutOfDomain
from noonframe.spot.plane import Aim, OpenSpot, plane_view
from noonframe.sun.ephemeris import EARLIEST, LATEST, NODE_S, geocentric_sun
from noonframe.sun.place import Place
from noonframe.sun.position import (
    AIR_TEMPERATURE_C,
    RISE_ELEVATION_DEG,
    SunTrack,
    refraction_deg,
    sun_track,
)

AUTHORITIES = Path(__file__).parents[1] / "authorities"
DAY_S = 86400.0

EXAMPLE_TOLERANCE_DEG = 0.001
"""Ours takes the standard atmosphere's 812 hPa and 12 C for the example's 820 hPa and 11 C: 0.0003 degrees of
refraction; the interpolation adds 0.0001.  The published digits end at 0.00001."""

INTERPOLATION_TOLERANCE_DEG = 0.0003
"""The stated uncertainty of the algorithm itself (Reda and Andreas 2004): no worse than that may be added."""

SECOND_LIBRARY_TOLERANCE_DEG = 0.001
"""ephem draws on another theory (VSOP87) with its own delta T, good to a few arc seconds; 0.001 degrees is
3.6 of them, or 0.24 s of the earth's turning."""


@pytest.fixture(scope="module")
def example() -> dict[str, str]:
    rows = [
        line
        for line in (AUTHORITIES / "spa_example.csv").read_text().splitlines()
        if not line.startswith("#")
    ]
    return {row["quantity"]: row["value"] for row in csv.DictReader(rows)}


@pytest.fixture(scope="module")
def example_track() -> SunTrack:
    noon = dt.datetime(2003, 10, 17, 12, 30, 30, tzinfo=dt.timezone(dt.timedelta(hours=-7)))
    return sun_track(Place(39.742476, -105.1786, 1830.14), np.array([noon.timestamp()]))


def seconds(*when: int) -> float:
    return dt.datetime(*when, tzinfo=dt.UTC).timestamp()


def separation_deg(track: SunTrack, elevation_deg: np.ndarray, azimuth_deg: np.ndarray) -> np.ndarray:
    """Angle between the track's unrefracted sun and another, which stays meaningful at zenith and pole."""
    ours = np.stack([track.east, track.north, track.up], axis=-1)
    elevation, azimuth = np.radians(elevation_deg), np.radians(azimuth_deg)
    level = np.cos(elevation)
    theirs = np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)
    return np.degrees(np.arcsin(np.linalg.norm(np.cross(ours, theirs), axis=-1)))


def full_algorithm(place: Place, unix_s: np.ndarray) -> tuple[np.ndarray, ...]:
    """pvlib's SPA at every instant: apparent zenith, true elevation, azimuth."""
    middle = dt.datetime.fromtimestamp(float(np.mean(unix_s)), dt.UTC)
    zenith, _, _, true_elevation, azimuth, _ = spa.solar_position_numpy(
        unix_s,
        place.latitude_deg,
        place.longitude_deg,
        place.elevation_m,
        place.pressure_hpa,
        AIR_TEMPERATURE_C,
        spa.calculate_deltat(middle.year, middle.month),
        0.5667,
        1,
    )
    return zenith, true_elevation, azimuth


@pytest.mark.reference
def test_zenith_and_azimuth_match_the_published_example(example, example_track):
    assert example_track.zenith_deg[0] == pytest.approx(
        float(example["apparent_zenith_deg"]), abs=EXAMPLE_TOLERANCE_DEG
    )
    assert example_track.azimuth_deg[0] == pytest.approx(
        float(example["azimuth_deg"]), abs=EXAMPLE_TOLERANCE_DEG
    )


@pytest.mark.reference
def test_incidence_on_the_examples_slope_counts_azimuth_from_north(example, example_track):
    """The example's -10 degrees is from south: 170 from north; 190 would be the mirror image."""
    slope = plane_view(OpenSpot(Aim(30.0, 170.0)), example_track.apparent_vector)
    mirrored = plane_view(OpenSpot(Aim(30.0, 190.0)), example_track.apparent_vector)
    assert np.degrees(np.arccos(slope.cos_incidence[0])) == pytest.approx(
        float(example["incidence_deg"]), abs=EXAMPLE_TOLERANCE_DEG
    )
    assert np.degrees(np.arccos(mirrored.cos_incidence[0])) == pytest.approx(
        20.294, abs=EXAMPLE_TOLERANCE_DEG
    )


@pytest.mark.reference
def test_fast_position_keeps_to_the_full_algorithm_anywhere_any_time():
    random = np.random.default_rng(20250621)
    longitudes = (-180.0, 180.0, 179.9999, -179.9999, 0.0)
    for trial in range(120):
        latitude = (89.9, -89.9)[trial % 2] if trial % 10 == 0 else random.uniform(-89.9, 89.9)
        longitude = longitudes[trial % 5] if trial % 4 == 0 else random.uniform(-180.0, 180.0)
        place = Place(latitude, longitude, random.uniform(0.0, 3000.0))
        begin = random.uniform(seconds(1950, 1, 1), seconds(2050, 1, 1))
        unix_s = begin + random.uniform(0.0, 20.0 * DAY_S, 60)
        assert_like_full_algorithm(place, unix_s)


@pytest.mark.reference
def test_fast_position_holds_overhead_too():
    """Equinox noon on the equator: the sun passes within 0.02 degrees of the zenith."""
    noon_s = seconds(2025, 3, 20, 9, 40)
    assert_like_full_algorithm(Place(0.0, 36.8), noon_s + np.arange(-300.0, 300.0, 1.0))


BLOCK_S = 128 * NODE_S


@pytest.mark.reference
@pytest.mark.parametrize(
    "border_s",
    [
        seconds(2024, 2, 29),
        seconds(2024, 3, 1),
        seconds(2000, 2, 29, 12),
        seconds(2023, 12, 31, 23, 59, 59),
        seconds(1999, 12, 31, 12),
        0.0,
        -NODE_S,
        np.ceil(seconds(2025, 1, 1) / BLOCK_S) * BLOCK_S,
        np.ceil(seconds(1960, 1, 1) / BLOCK_S) * BLOCK_S,
    ],
    ids=["leap day", "after it", "leap noon", "year end", "node", "epoch", "before it", "block", "old block"],
)
def test_fast_position_is_seamless_across_borders(border_s):
    offsets = np.array([-3600.0, -60.0, -1.0, -1e-3, 0.0, 1e-3, 1.0, 60.0, 3600.0, 5400.0])
    assert_like_full_algorithm(Place(41.15, -8.61), border_s + offsets)
    close = sun_track(Place(41.15, -8.61), border_s + np.linspace(-1.0, 1.0, 21))
    jumps = np.diff(close.up, n=2)  # a step at a border would stand out of a smooth course
    assert np.max(np.abs(jumps)) < 1e-9


def assert_like_full_algorithm(place: Place, unix_s: np.ndarray) -> None:
    track = sun_track(place, unix_s)
    zenith, true_elevation, azimuth = full_algorithm(place, unix_s)
    assert np.max(separation_deg(track, true_elevation, azimuth)) <= INTERPOLATION_TOLERANCE_DEG
    settled = np.abs(true_elevation - RISE_ELEVATION_DEG) > 0.001  # refraction is switched there
    assert np.max(np.abs(track.zenith_deg - zenith)[settled], initial=0.0) <= INTERPOLATION_TOLERANCE_DEG


@pytest.mark.reference
@pytest.mark.parametrize("step_s", [0.5, 1.0, 60.0, 61.7, 300.0, 600.0, 900.0, 3600.0, 86400.0, -60.0])
@pytest.mark.parametrize("count", [2, 3, 500, 2881])
def test_even_steps_of_any_size_keep_to_the_full_algorithm(step_s, count):
    random = np.random.default_rng(count)
    for latitude in (41.15, -89.9, 23.4):
        place = Place(latitude, random.uniform(-180.0, 180.0))
        unix_s = random.uniform(seconds(1990, 1, 1), seconds(2040, 1, 1)) + step_s * np.arange(count)
        some = np.unique(random.integers(0, count, 50))
        track = sun_track(place, unix_s)
        _, true_elevation, azimuth = full_algorithm(place, unix_s[some])
        picked = SunTrack(
            place, unix_s[some], track.east[some], track.north[some], track.up[some], some * 1.0
        )
        if step_s < 86400.0:
            assert np.max(separation_deg(picked, true_elevation, azimuth)) <= INTERPOLATION_TOLERANCE_DEG


@pytest.mark.reference
def test_true_position_agrees_with_a_second_library():
    random = np.random.default_rng(7)
    for _ in range(150):
        place = Place(random.uniform(-89.0, 89.0), random.uniform(-180.0, 180.0))
        unix_s = random.uniform(seconds(1950, 1, 1), seconds(2050, 1, 1))
        observer = ephem.Observer()
        observer.lat, observer.lon = str(place.latitude_deg), str(place.longitude_deg)
        observer.elevation, observer.pressure = 0.0, 0.0
        observer.date = dt.datetime.fromtimestamp(unix_s, dt.UTC).replace(tzinfo=None)
        sun = ephem.Sun(observer)
        apart = separation_deg(
            sun_track(place, np.array([unix_s])), np.degrees([float(sun.alt)]), np.degrees([float(sun.az)])
        )
        assert apart[0] < SECOND_LIBRARY_TOLERANCE_DEG


@pytest.mark.reference
def test_distance_factor_agrees_with_a_second_library():
    """One part in 10000 of irradiance; the year's swing is 3.4 per cent either way."""
    for unix_s in np.linspace(seconds(1950, 1, 1), seconds(2050, 1, 1), 41):
        sun = ephem.Sun(dt.datetime.fromtimestamp(float(unix_s), dt.UTC).replace(tzinfo=None))
        factor = geocentric_sun(np.array([unix_s])).distance_factor[0]
        assert factor == pytest.approx(float(sun.earth_distance) ** -2, rel=1e-4)


@pytest.mark.reference
def test_distance_factor_swings_with_the_year():
    """Spencer (1971), Search 2, 172, through pvlib: 1.0351 on 3 January, 0.9666 on 4 July.  Its five-term
    series is about 0.1 per cent off at both ends; the perihelion of 0.98333 AU alone gives 1.0342."""
    factor = geocentric_sun(np.array([seconds(2025, 1, 3, 12), seconds(2025, 7, 4, 12)])).distance_factor
    assert factor == pytest.approx([1.0351, 0.9666], abs=0.001)


def test_one_instant_equals_its_place_in_a_long_array():
    place = Place(-45.87, 170.50, 5.0)
    unix_s = seconds(2024, 12, 30) + np.arange(0.0, 4 * DAY_S, 977.0)
    together = sun_track(place, unix_s)
    for k in (0, 17, 200, unix_s.size - 1):
        alone = sun_track(place, unix_s[k : k + 1])
        assert alone.zenith_deg[0] == pytest.approx(together.zenith_deg[k], abs=1e-10)
        assert alone.azimuth_deg[0] == pytest.approx(together.azimuth_deg[k], abs=1e-8)


def test_order_of_times_does_not_matter():
    place = Place(41.15, -8.61)
    unix_s = seconds(2025, 6, 1) + np.arange(0.0, 100 * DAY_S, 7919.0)
    shuffled = np.random.default_rng(1).permutation(unix_s.size)
    assert np.array_equal(sun_track(place, unix_s[shuffled]).up, sun_track(place, unix_s).up[shuffled])


def test_whole_seconds_may_come_as_integers():
    whole = np.array([1750500000, 1750503600])
    track = sun_track(Place(41.15, -8.61), whole)
    assert np.array_equal(track.up, sun_track(Place(41.15, -8.61), whole.astype(float)).up)


def test_no_times_give_no_suns():
    assert sun_track(Place(0.0, 0.0), np.empty(0)).zenith_deg.shape == (0,)


def test_direction_is_a_unit_vector_and_refraction_keeps_the_azimuth():
    track = sun_track(Place(69.0, 20.0), seconds(2025, 5, 1) + np.arange(0.0, 2 * DAY_S, 600.0))
    assert np.linalg.norm(track.apparent_vector, axis=1) == pytest.approx(1.0, abs=1e-12)
    azimuth = np.degrees(np.arctan2(track.apparent_vector[:, 0], track.apparent_vector[:, 1])) % 360.0
    assert azimuth == pytest.approx(track.azimuth_deg, abs=1e-9)
    # The first-order parallax leaves a length error of its square.
    assert np.hypot(np.hypot(track.east, track.north), track.up) == pytest.approx(1.0, abs=1e-8)


def test_both_names_of_the_antimeridian_are_one_meridian():
    unix_s = seconds(2025, 6, 21) + np.arange(0.0, DAY_S, 1800.0)
    east, west = sun_track(Place(52.0, 180.0), unix_s), sun_track(Place(52.0, -180.0), unix_s)
    assert east.zenith_deg == pytest.approx(west.zenith_deg, abs=1e-9)
    assert np.mod(east.azimuth_deg - west.azimuth_deg + 180.0, 360.0) == pytest.approx(180.0, abs=1e-9)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_times_that_are_not_finite_are_refused(bad):
    with pytest.raises(OutOfDomain) as caught:
        sun_track(Place(0.0, 0.0), np.array([0.0, bad]))
    assert caught.value.field == "time"


def test_times_outside_the_domain_are_refused_and_its_ends_are_not():
    place = Place(41.15, -8.61)
    ends = np.array([EARLIEST.timestamp(), LATEST.timestamp()])
    for end in ends:
        assert np.isfinite(sun_track(place, np.array([end])).zenith_deg).all()
    for beyond in (ends[0] - 1.0, ends[1] + 1.0):
        with pytest.raises(OutOfDomain) as caught:
            sun_track(place, np.array([beyond]))
        assert caught.value.field == "time"


@pytest.mark.reference
def test_refraction_matches_bennett_at_the_horizon_and_overhead():
    """Bennett (1982), J. Navigation 35, 255, whose inverse the algorithm uses: 29 arc minutes for a true
    elevation of 0 at 1010 hPa and 10 C (so that 34 lift a sun 34 below), almost nothing at the zenith."""
    lift_arcmin = 60.0 * refraction_deg(np.array([0.0, -0.5667, 45.0, 90.0]), 1010.0)
    assert lift_arcmin == pytest.approx([28.8, 34.0, 1.0, 0.0], abs=0.6)


def test_refraction_is_proportional_to_pressure():
    elevation = np.array([0.0, 5.0, 40.0])
    assert refraction_deg(elevation, 500.0) == pytest.approx(0.5 * refraction_deg(elevation, 1000.0))
