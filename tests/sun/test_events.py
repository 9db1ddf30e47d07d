"""Rise, transit, set, twilight and day length, on ordinary and awkward days."""

import csv
import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import astral
import astral.sun
import ephem
import numpy as np
import pytest
from pvlib import spa
from scipy.optimize import brentq

from noonframe.errors import OutOfDomain
from noonframe.sun.events import CIVIL_TWILIGHT_DEG, SunDay, civil_day, day_events
from noonframe.sun.place import Place
from noonframe.sun.position import RISE_ELEVATION_DEG, sun_track

AUTHORITIES = Path(__file__).parents[1] / "authorities"
DAY_S = 86400.0
PORTO, LISBON = Place(41.15, -8.61, 80.0), ZoneInfo("Europe/Lisbon")
DUNEDIN, AUCKLAND = Place(-45.87, 170.50, 5.0), ZoneInfo("Pacific/Auckland")
NORTH, OSLO = Place(70.0, 25.0), ZoneInfo("Europe/Oslo")

PUBLISHED_TOLERANCE_S = 1.5
"""The published scheme leaves the sun's parallax of 0.0024 degrees out of rise and set, which is 0.6-0.9 s at
these latitudes, and interpolates three daily positions; ours includes it."""

FULL_ALGORITHM_TOLERANCE_S = 1.0
ASTRAL_TOLERANCE_S = 60.0  # astral promises a minute
SECOND_LIBRARY_TOLERANCE_S = 3.0  # a few arc seconds of another theory, slanted by the sun's path


def authority(name: str) -> list[dict[str, str]]:
    lines = (AUTHORITIES / name).read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def off_by_s(moment: dt.datetime, clock: str) -> float:
    expected = dt.time.fromisoformat(clock)
    return abs((moment - dt.datetime.combine(moment.date(), expected, tzinfo=moment.tzinfo)).total_seconds())


@pytest.mark.reference
def test_rise_transit_and_set_match_the_published_example():
    """The printed set of 17:20:19 is that of the UT day 17 October, whose only sunset falls on the local
    evening of 16 October: UT 00:20:19 on the 17th.  The local evening of the 17th is 1.5 minutes earlier."""
    printed = {row["quantity"]: row["value"] for row in authority("spa_example.csv")}
    place, zone = Place(39.742476, -105.1786), ZoneInfo("Etc/GMT+7")
    before, day = (day_events(place, dt.date(2003, 10, number), zone) for number in (16, 17))
    assert off_by_s(day.rise, printed["rise_local"]) < PUBLISHED_TOLERANCE_S
    assert off_by_s(day.transit, printed["transit_local"]) < PUBLISHED_TOLERANCE_S
    assert off_by_s(before.set, printed["set_local_evening_before"]) < PUBLISHED_TOLERANCE_S
    assert 60.0 < off_by_s(day.set, printed["set_local_evening_before"]) < 120.0


@pytest.mark.reference
@pytest.mark.parametrize("row", authority("spa_rise_set.csv"), ids=lambda row: row["date"])
def test_rise_and_set_match_the_published_table(row):
    day = day_events(
        Place(float(row["latitude_deg"]), 0.0), dt.date.fromisoformat(row["date"]), ZoneInfo("UTC")
    )
    assert off_by_s(day.rise, row["rise"]) < PUBLISHED_TOLERANCE_S
    assert off_by_s(day.set, row["set"]) < PUBLISHED_TOLERANCE_S


ORDINARY_DAYS = [
    (PORTO, LISBON, dt.date(2025, 6, 21)),
    (PORTO, LISBON, dt.date(2025, 12, 21)),
    (PORTO, LISBON, dt.date(2024, 2, 29)),
    (DUNEDIN, AUCKLAND, dt.date(2025, 6, 21)),
    (DUNEDIN, AUCKLAND, dt.date(2025, 12, 21)),
    (Place(0.0, 36.8), ZoneInfo("Africa/Nairobi"), dt.date(2025, 3, 20)),
    (Place(60.17, 24.94), ZoneInfo("Europe/Helsinki"), dt.date(2025, 6, 21)),
    (Place(39.5, 75.9), ZoneInfo("Asia/Shanghai"), dt.date(2025, 6, 1)),  # a zone two hours off the sun
]
DAY_IDS = [f"{zone.key} {date}" for _, zone, date in ORDINARY_DAYS]


def full_algorithm_height(place: Place, unix_s: float) -> float:
    year = dt.datetime.fromtimestamp(unix_s, dt.UTC).year
    answer = spa.solar_position_numpy(
        np.array([unix_s]), place.latitude_deg, place.longitude_deg, place.elevation_m, 1013.25, 12.0,
        spa.calculate_deltat(year, 6), 0.5667, 1,
    )  # fmt: skip
    return float(answer[3][0])


@pytest.mark.reference
@pytest.mark.parametrize(("place", "zone", "date"), ORDINARY_DAYS, ids=DAY_IDS)
def test_events_are_the_full_algorithms_crossings(place, zone, date):
    day = day_events(place, date, zone)
    assert day.outcome is SunDay.RISES_AND_SETS
    for moment, threshold in (
        (day.dawn, CIVIL_TWILIGHT_DEG),
        (day.rise, RISE_ELEVATION_DEG),
        (day.set, RISE_ELEVATION_DEG),
        (day.dusk, CIVIL_TWILIGHT_DEG),
    ):
        found = moment.timestamp()
        crossing = brentq(
            lambda t, level=threshold: full_algorithm_height(place, t) - level,
            found - 600.0,
            found + 600.0,
            xtol=1e-3,
        )
        assert found == pytest.approx(crossing, abs=FULL_ALGORITHM_TOLERANCE_S)


@pytest.mark.reference
@pytest.mark.parametrize(("place", "zone", "date"), ORDINARY_DAYS, ids=DAY_IDS)
def test_events_agree_with_astral(place, zone, date):
    day = day_events(place, date, zone)
    observer = astral.Observer(place.latitude_deg, place.longitude_deg, 0.0)
    theirs = astral.sun.sun(observer, date, tzinfo=zone)
    for ours, name in ((day.rise, "sunrise"), (day.transit, "noon"), (day.set, "sunset")):
        assert abs((ours - theirs[name]).total_seconds()) < ASTRAL_TOLERANCE_S
    # Where the sun grazes -6 degrees, as at Helsinki in June, a minute is no measure: 0.25 degrees is,
    # the most the sun moves in one.
    twilight = np.array([theirs["dawn"].timestamp(), theirs["dusk"].timestamp()])
    assert sun_track(place, twilight).true_elevation_deg == pytest.approx(CIVIL_TWILIGHT_DEG, abs=0.25)


@pytest.mark.reference
@pytest.mark.parametrize(("place", "zone", "date"), ORDINARY_DAYS, ids=DAY_IDS)
def test_rise_set_and_day_length_agree_with_a_second_library(place, zone, date):
    day = day_events(place, date, zone)
    observer = ephem.Observer()
    observer.lat, observer.lon = str(place.latitude_deg), str(place.longitude_deg)
    observer.pressure, observer.horizon = 0.0, str(RISE_ELEVATION_DEG)
    midnight = dt.datetime.combine(date, dt.time(), tzinfo=zone).astimezone(dt.UTC)
    observer.date = midnight.replace(tzinfo=None)
    rise = observer.next_rising(ephem.Sun(), use_center=True).datetime().replace(tzinfo=dt.UTC)
    observer.date = rise.replace(tzinfo=None)
    set_ = observer.next_setting(ephem.Sun(), use_center=True).datetime().replace(tzinfo=dt.UTC)
    assert abs((day.rise - rise).total_seconds()) < SECOND_LIBRARY_TOLERANCE_S
    assert abs((day.set - set_).total_seconds()) < SECOND_LIBRARY_TOLERANCE_S
    assert day.day_length_s == pytest.approx(
        (set_ - rise).total_seconds(), abs=2 * SECOND_LIBRARY_TOLERANCE_S
    )


@pytest.mark.parametrize(("place", "zone", "date"), ORDINARY_DAYS, ids=DAY_IDS)
def test_transit_is_the_highest_sun_and_day_length_is_rise_to_set(place, zone, date):
    day = day_events(place, date, zone)
    start_s, end_s = civil_day(date, zone)
    coarse_s = np.linspace(start_s, end_s, 5000)
    near_s = coarse_s[np.argmax(sun_track(place, coarse_s).true_elevation_deg)] + np.arange(-20.0, 20.0, 0.05)
    highest = np.max(sun_track(place, near_s).true_elevation_deg)
    # The declination's own drift moves the highest point off the meridian by seconds: under 0.001 degrees.
    assert day.transit_elevation_deg == pytest.approx(highest, abs=0.001)
    assert day.day_length_s == pytest.approx((day.set - day.rise).total_seconds(), abs=0.1)


def test_sun_that_never_sets_is_a_named_outcome():
    day = day_events(NORTH, dt.date(2025, 6, 21), OSLO)
    assert day.outcome is SunDay.UP_ALL_DAY
    assert (day.dawn, day.rise, day.set, day.dusk) == (None, None, None, None)
    assert day.day_length_s == DAY_S
    # Culmination by spherical astronomy: 90 - 70 + 23.44 degrees, less a parallax of 0.002.
    assert day.transit_elevation_deg == pytest.approx(43.43, abs=0.01)


def test_polar_night_keeps_its_twilight():
    day = day_events(NORTH, dt.date(2025, 12, 21), OSLO)
    assert day.outcome is SunDay.DOWN_ALL_DAY
    assert (day.rise, day.set, day.day_length_s) == (None, None, 0.0)
    assert day.dawn < day.transit < day.dusk
    assert day.transit_elevation_deg == pytest.approx(90.0 - 70.0 - 23.44, abs=0.01)


def test_deepest_polar_night_has_nothing_but_a_meridian():
    day = day_events(Place(85.0, 0.0), dt.date(2025, 12, 21), ZoneInfo("UTC"))
    assert day.outcome is SunDay.DOWN_ALL_DAY
    assert (day.dawn, day.rise, day.set, day.dusk) == (None, None, None, None)


def test_days_on_which_the_sun_only_rises_or_only_sets():
    """At 70 N the last rise before the light summer comes without a set on the same civil day."""
    rises = day_events(NORTH, dt.date(2024, 5, 15), OSLO)
    assert rises.outcome is SunDay.RISES_ONLY
    assert rises.set is None
    assert rises.day_length_s == pytest.approx(
        civil_day(rises.date, OSLO)[1] - rises.rise.timestamp(), abs=0.1
    )
    sets = day_events(Place(-89.9, 0.0), dt.date(2024, 3, 21), ZoneInfo("UTC"))
    assert sets.outcome is SunDay.SETS_ONLY
    assert sets.rise is None
    assert sets.day_length_s == pytest.approx(
        sets.set.timestamp() - civil_day(sets.date, ZoneInfo("UTC"))[0], abs=0.1
    )


def test_a_night_that_ends_before_it_began_in_one_civil_day():
    """Set just after midnight, up again within the half hour: both belong to the day, in that order."""
    day = day_events(NORTH, dt.date(2024, 5, 16), OSLO)
    assert day.outcome is SunDay.RISES_AND_SETS
    assert day.set < day.rise
    night_s = (day.rise - day.set).total_seconds()
    assert day.day_length_s == pytest.approx(DAY_S - night_s, abs=0.1)


def test_a_sun_that_shows_for_a_few_minutes_is_not_missed():
    """Found by walking the latitude until the noon sun clears the horizon by 0.0002 degrees: up for about
    three minutes."""
    date, zone = dt.date(2025, 12, 21), ZoneInfo("UTC")

    def margin(latitude_deg: float) -> float:
        return (
            day_events(Place(latitude_deg, 0.0), date, zone).transit_elevation_deg - RISE_ELEVATION_DEG - 2e-4
        )

    day = day_events(Place(brentq(margin, 66.0, 69.0, xtol=1e-7), 0.0), date, zone)
    assert day.outcome is SunDay.RISES_AND_SETS
    assert 60.0 < day.day_length_s < 300.0
    assert day.rise < day.transit < day.set


@pytest.mark.parametrize(
    ("place", "zone", "date", "hours"),
    [
        (PORTO, LISBON, dt.date(2025, 3, 30), 23),
        (PORTO, LISBON, dt.date(2025, 10, 26), 25),
        (DUNEDIN, AUCKLAND, dt.date(2025, 9, 28), 23),
        (DUNEDIN, AUCKLAND, dt.date(2025, 4, 6), 25),
    ],
)
def test_clock_changes_move_the_clock_and_not_the_sun(place, zone, date, hours):
    start_s, end_s = civil_day(date, zone)
    assert end_s - start_s == hours * 3600
    day = day_events(place, date, zone)
    before = day_events(place, date - dt.timedelta(days=1), zone)
    # From one day to the next the sun's own times drift by at most two minutes at these latitudes.
    for now, then in ((day.rise, before.rise), (day.set, before.set), (day.transit, before.transit)):
        assert now.timestamp() - then.timestamp() == pytest.approx(DAY_S, abs=120.0)
        assert now.tzinfo is zone
    assert day.day_length_s == pytest.approx((day.set - day.rise).total_seconds(), abs=0.1)


@pytest.mark.parametrize("hours", [23, 25])
def test_a_light_polar_day_is_as_long_as_its_civil_day(hours):
    """At 85 N the sun is up from early April to early September; Casablanca's clocks changed in that time in
    2015."""
    zone = ZoneInfo("Africa/Casablanca")
    dates = [dt.date(2015, 5, 1) + dt.timedelta(days=k) for k in range(100)]
    date = next(date for date in dates if civil_day(date, zone)[1] - civil_day(date, zone)[0] == hours * 3600)
    day = day_events(Place(85.0, 0.0), date, zone)
    assert day.outcome is SunDay.UP_ALL_DAY
    assert day.day_length_s == hours * 3600


@pytest.mark.parametrize(
    ("place", "zone"),
    [
        (Place(1.87, -157.40), "Pacific/Kiritimati"),  # 14 hours ahead on a western meridian
        (Place(-13.83, -171.77), "Pacific/Apia"),
        (Place(-17.0, 180.0), "Pacific/Fiji"),
        (Place(-17.0, -180.0), "Pacific/Fiji"),
        (Place(51.88, -176.65), "America/Adak"),
        (Place(52.0, 179.9), "Etc/GMT+12"),  # a day behind the sun's own
    ],
    ids=str,
)
def test_events_beside_the_date_line_belong_to_the_civil_day(place, zone):
    date, zone = dt.date(2025, 6, 1), ZoneInfo(zone)
    day = day_events(place, date, zone)
    for moment in (day.dawn, day.rise, day.transit, day.set, day.dusk):
        assert moment.date() == date
    assert day.transit_elevation_deg == pytest.approx(90.0 - abs(place.latitude_deg - 22.0), abs=0.3)


def test_a_date_that_the_zone_skipped_is_refused():
    """Samoa went from 29 to 31 December 2011."""
    with pytest.raises(OutOfDomain) as caught:
        day_events(Place(-13.83, -171.77), dt.date(2011, 12, 30), ZoneInfo("Pacific/Apia"))
    assert caught.value.field == "date"


@pytest.mark.parametrize("latitude_deg", [89.9, -89.9])
@pytest.mark.parametrize("zone", ["UTC", "Pacific/Auckland", "Etc/GMT+12"])
def test_transit_near_a_pole_is_the_meridian_passage(latitude_deg, zone):
    """There the year's drift outweighs the day's swing near the equinox, so the highest sun is not at
    transit."""
    for longitude in (0.0, 166.0):
        place = Place(latitude_deg, longitude)
        for date in (dt.date(2025, 3, 20), dt.date(2025, 9, 23)):
            day = day_events(place, date, ZoneInfo(zone))
            assert day.transit.date() == date
            azimuth = sun_track(place, np.array([day.transit.timestamp()])).azimuth_deg[0]
            toward = 180.0 if latitude_deg > 0 else 0.0
            assert abs((azimuth - toward + 180.0) % 360.0 - 180.0) < 0.001


@pytest.mark.parametrize("date", [dt.date(1899, 12, 30), dt.date(2200, 1, 2)])
def test_dates_outside_the_domain_are_refused(date):
    with pytest.raises(OutOfDomain) as caught:
        day_events(PORTO, date, LISBON)
    assert caught.value.field == "time"


def test_north_and_south_mirror_half_a_year_apart():
    """Mirrored latitude with mirrored declination: 21 June against 21 December, a quarter degree of
    declination and a refraction-free threshold apart, so the day lengths agree within a minute."""
    north = day_events(Place(45.0, 0.0), dt.date(2025, 6, 21), ZoneInfo("UTC"))
    south = day_events(Place(-45.0, 0.0), dt.date(2025, 12, 21), ZoneInfo("UTC"))
    assert north.day_length_s == pytest.approx(south.day_length_s, abs=60.0)
    assert north.transit_elevation_deg == pytest.approx(south.transit_elevation_deg, abs=0.02)
