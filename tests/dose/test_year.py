"""Months and years of starts: clocks, ozone, polar days, and the same lengths as single exposures."""

import csv
import datetime as dt
import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import ephem
import numpy as np
import pytest

from noonframe.dose.exposure import expose
from noonframe.dose.scene import Scene
from noonframe.dose.year import USEFUL_FACTOR, Starts, find_starts, months_of
from noonframe.dose.year_days import CivilDays
from noonframe.dose.year_light import Season, lengths_at
from noonframe.dose.year_sun import sun_days
from noonframe.sky.assume import assume_sky
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.events import day_events
from noonframe.sun.place import Place

AUTHORITIES = Path(__file__).parents[1] / "authorities"
DAY_S = 86400.0
TARGET = 24000.0
PLACES = {
    "porto": (Place(41.15, -8.61, 80.0), "Europe/Lisbon"),
    "dunedin": (Place(-45.87, 170.50, 5.0), "Pacific/Auckland"),
    "quito": (Place(-0.22, -78.51, 2800.0), "America/Guayaquil"),
    "tromso": (Place(69.65, 18.96), "Europe/Oslo"),
    "antimeridian": (Place(-16.8, 179.99), "Pacific/Fiji"),
    "troll": (Place(-72.01, 2.53, 1275.0), "Antarctica/Troll"),
}
LEVEL = OpenSpot()
YARD = OpenSpot(
    Aim(30.0, 225.0), Skyline.from_pairs([(0, 35), (45, 40), (90, 35), (135, 15), (225, 3), (315, 25)])
)
INSIDE = WindowSpot(Window(135.0, 1.2, 0.1, 1.5, 0.2), Frame(0.6, 0.0, 0.3, 0.4))

STEP_TOLERANCE = 0.002
"""The sun between steps of 30 s or 60 s leaves less than this in a length; so does ozone between scenes."""

SKYLINE_TOLERANCE_S = 2.5
"""A skyline's edge is found to half a second on either course; what that half second gave may take five times
as long in the weaker light at the end."""


def scene_of(name: str, day: dt.date, spot: OpenSpot | WindowSpot, sky: str | None = None) -> Scene:
    place = PLACES[name][0]
    stack = parse_stack("float-glass-4mm,polyester-film")
    coat = find_sensitizer("citrate-classic")
    return Scene(place, assume_sky(place, day, sky=sky), spot, stack, coat, 0.04)


@cache
def days_of(name: str, year: int = 2026) -> CivilDays:
    return CivilDays.of_year(year, ZoneInfo(PLACES[name][1]))


@cache
def starts_of(name: str, spot: OpenSpot | WindowSpot = LEVEL, target: float = TARGET) -> Starts:
    return find_starts(scene_of(name, dt.date(2026, 7, 1), spot), days_of(name), target)


def utc(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()


@pytest.mark.reference
@pytest.mark.parametrize(
    ("zone", "changes"),
    [
        # Directive 2000/84/EC: last Sundays of March and October, 01:00 UTC
        ("Europe/Lisbon", ["2026-03-29T01:00+00:00", "2026-10-25T01:00+00:00"]),
        # New Zealand Daylight Time Order 2007: until the first Sunday of April, 3:00 daylight time, and from
        # the last Sunday of September, 2:00 standard time
        ("Pacific/Auckland", ["2026-04-05T03:00+13:00", "2026-09-27T02:00+12:00"]),
        ("America/Guayaquil", []),
    ],
)
def test_clocks_change_when_the_law_says(zone, changes):
    found = CivilDays.of_year(2026, ZoneInfo(zone)).changes_s
    assert found.tolist() == [utc(text) for text in changes]


def test_an_hour_left_out_is_no_start_and_one_that_comes_twice_is_two():
    days = days_of("porto")
    hours = days.hour_starts()
    assert hours.unix_s.size == 365 * 24
    assert np.array_equal(np.diff(hours.unix_s), np.full(365 * 24 - 1, 3600.0))
    by_date = {
        date: hours.hour[hours.day == k].tolist()
        for k, date in enumerate(days.dates)
        if date in (dt.date(2026, 3, 29), dt.date(2026, 10, 25), dt.date(2026, 6, 1))
    }
    assert by_date[dt.date(2026, 3, 29)] == [0, *range(2, 24)]
    assert by_date[dt.date(2026, 10, 25)] == [0, 1, 1, *range(2, 24)]
    assert by_date[dt.date(2026, 6, 1)] == list(range(24))


@pytest.mark.parametrize(
    ("zone", "year", "days", "starts"),
    [
        ("Europe/Lisbon", 2028, 366, 366 * 24),  # a leap year
        (
            "Pacific/Apia",
            2011,
            364,
            364 * 24,
        ),  # 30 December was skipped, and the clocks went forward and back
        ("America/Santiago", 2026, 365, 365 * 24),  # the clocks change at midnight
        ("Asia/Kathmandu", 2026, 365, 365 * 24),  # three quarters of an hour off
        (
            "Australia/Lord_Howe",
            2026,
            365,
            365 * 24 - 1,
        ),  # half an hour: 02:00 is left out, 01:30 comes twice
    ],
)
def test_every_start_shows_a_whole_hour_on_the_clock_of_its_own_day(zone, year, days, starts):
    where = ZoneInfo(zone)
    found = CivilDays.of_year(year, where)
    assert len(found.dates) == days
    hours = found.hour_starts()
    moments = [dt.datetime.fromtimestamp(second, where) for second in hours.unix_s.tolist()]
    assert {(moment.minute, moment.second) for moment in moments} == {(0, 0)}
    assert [moment.hour for moment in moments] == hours.hour.tolist()
    assert [moment.date() for moment in moments] == [found.dates[k] for k in hours.day]
    assert len(set(hours.unix_s.tolist())) == hours.unix_s.size
    if zone == "Pacific/Apia":
        assert dt.date(2011, 12, 30) not in found.dates
    assert hours.unix_s.size == starts


def test_the_clock_is_read_at_the_instant_even_on_a_day_of_change():
    days = days_of("porto")
    seconds = np.array([utc("2026-03-29T00:30+00:00"), utc("2026-03-29T01:30+00:00"), np.nan])
    shown = days.clock_s(seconds, days.index_of(seconds[:1]).repeat(3))
    assert shown[:2].tolist() == [0.5 * 3600.0, 2.5 * 3600.0]
    assert math.isnan(shown[2])


def test_all_starts_at_once_are_the_same_as_one_by_one():
    """The rule of a single course, start by start: the same to rounding in a dose of a week."""
    days = CivilDays.between(dt.date(2026, 5, 12), dt.date(2026, 5, 18), ZoneInfo("Europe/Oslo"))
    course = Season.of(scene_of("tromso", dt.date(2026, 5, 15), YARD), days).course()
    start_s = np.random.default_rng(4).uniform(days.start_s[0], days.end_s[-1], 400)
    for target in (500.0, TARGET, 300_000.0, 1e7):
        together = lengths_at(course, start_s, target)
        apart = [course.expose(float(second), target).length_s for second in start_s]
        one_by_one = np.array([math.nan if length is None else length for length in apart])
        np.testing.assert_allclose(together, one_by_one, rtol=1e-9, atol=1e-5)


@pytest.mark.parametrize("spot", [OpenSpot(), YARD, INSIDE], ids=["level", "yard", "window"])
@pytest.mark.parametrize("name", PLACES)
def test_a_start_of_the_year_takes_as_long_as_the_single_exposure(name, spot):
    """Each against the light of its own day alone, with that day's ozone, followed from the start."""
    starts = starts_of(name, spot)
    some = np.random.default_rng(7).choice(starts.length_s.size, 24, replace=False)
    told = 0
    for k in some.tolist():
        day = starts.days.dates[starts.hours.day[k]]
        scene, start_s = scene_of(name, day, spot), float(starts.hours.unix_s[k])
        if spot is INSIDE:
            alone = expose(scene.rate, start_s, TARGET)
        else:
            alone = scene.course(start_s).dose.expose(start_s, TARGET)
        if alone.length_s is None or math.isnan(starts.length_s[k]):
            # at the edge of the light a hair decides; there the dose is all but reached
            same = alone.length_s is None and math.isnan(starts.length_s[k])
            assert same or alone.dose_share > 0.99
            continue
        told += 1
        slack_s = SKYLINE_TOLERANCE_S if spot is YARD else 0.5
        assert starts.length_s[k] == pytest.approx(alone.length_s, rel=STEP_TOLERANCE, abs=slack_s)
    assert told


def test_each_day_has_its_own_ozone_unless_it_is_given():
    days = days_of("porto")
    scene = scene_of("porto", dt.date(2026, 7, 1), OpenSpot())
    season = Season.of(scene, days)
    assert season.ozone_du.min() < 295.0
    assert season.ozone_du.max() > 350.0
    place = PLACES["porto"][0]
    given = replace(scene, sky=assume_sky(place, dt.date(2026, 7, 1), ozone_du=333.0))
    assert set(Season.of(given, days).ozone_du.tolist()) == {333.0}
    noon_s = days.start_s[[20, 200]] + 12 * 3600.0
    for second, index in zip(noon_s.tolist(), (20, 200), strict=True):
        alone = scene_of("porto", days.dates[index], OpenSpot()).rate(np.array([second]))
        assert season.read(Scene.rate, np.array([second])) == pytest.approx(alone, rel=1e-4)


@pytest.mark.reference
@pytest.mark.parametrize("name", PLACES)
def test_days_are_as_long_as_another_library_has_them(name):
    """ephem, for the upper limb at 34 arc minutes below the horizon, without refraction of its own."""
    place, _ = PLACES[name]
    days = days_of(name)
    sun = sun_days(place, days)
    # The other library lets the disc grow and shrink with the year, by 0.27 arc minutes: a second or two of
    # rise at most latitudes, and 15 s near the polar night.
    tolerance_s = 6.0 if abs(place.latitude_deg) < 60.0 else 30.0
    checked = 0
    for k in range(0, 365, 9):
        observer = ephem.Observer()
        observer.lat, observer.lon = math.radians(place.latitude_deg), math.radians(place.longitude_deg)
        observer.pressure, observer.horizon = 0.0, "-0:34"
        low, high = (
            dt.datetime.fromtimestamp(float(s), dt.UTC).replace(tzinfo=None)
            for s in (days.start_s[k], days.end_s[k])
        )
        observer.date = low
        try:
            rise = observer.next_rising(ephem.Sun(), start=low).datetime()
            set_ = observer.next_setting(ephem.Sun(), start=low).datetime()
        except ephem.CircumpolarError:
            assert sun.length_s[k] in (0.0, pytest.approx(float(days.end_s[k] - days.start_s[k]), abs=1.0))
            continue
        if not (rise < set_ < high):
            continue  # the night lies in the middle of the civil day; the own events are the check there
        checked += 1
        assert sun.length_s[k] == pytest.approx((set_ - rise).total_seconds(), abs=tolerance_s)
    assert checked >= (12 if name in ("tromso", "troll") else 40)


@pytest.mark.reference
@pytest.mark.parametrize("name", PLACES)
def test_days_are_as_long_as_their_events_say(name):
    place, zone = PLACES[name]
    days = days_of(name)
    sun = sun_days(place, days)
    for k in [*range(3, 365, 17), *days.index_of(days.changes_s).tolist()]:
        events = day_events(place, days.dates[k], ZoneInfo(zone))
        grazing = abs(events.transit_elevation_deg + 0.83) < 0.2
        assert sun.length_s[k] == pytest.approx(events.day_length_s, abs=120.0 if grazing else 3.0)
        dark_s = sum(b - a for a, b in sun.dark_spans(days, k))
        assert dark_s + sun.length_s[k] == pytest.approx(days.end_s[k] - days.start_s[k], abs=1.0)


@pytest.mark.reference
def test_days_are_as_long_as_the_published_table_has_them():
    rows = csv.DictReader(
        line
        for line in (AUTHORITIES / "spa_rise_set.csv").read_text().splitlines()
        if not line.startswith("#")
    )
    for row in rows:
        date = dt.date.fromisoformat(row["date"])
        days = CivilDays.between(date, date, ZoneInfo("UTC"))
        rise, set_ = (dt.datetime.combine(date, dt.time.fromisoformat(row[key])) for key in ("rise", "set"))
        length_s = sun_days(Place(float(row["latitude_deg"]), 0.0), days).length_s[0]
        # 3 s for the parallax that the table leaves out at both ends, 2 s for the chord
        assert length_s == pytest.approx((set_ - rise).total_seconds(), abs=5.0)


def test_the_polar_night_has_no_start_and_the_polar_day_one_at_every_hour():
    months = months_of(starts_of("tromso"))
    assert (months[0].days_done, months[11].days_done) == (0, 0)
    assert months[11].best_hour is None
    assert months[11].day_length_s == 0.0
    june = months[5]
    assert june.days_done == 30
    assert all(one.median_s is not None and one.possible == 30 for one in june.hours)
    assert june.shortest_day_s == pytest.approx(DAY_S, abs=1e-6)
    assert june.longest_day_s == pytest.approx(DAY_S, abs=1e-6)
    assert 12 <= (june.best_hour or 0) <= 14


def test_under_a_sun_that_stays_up_a_day_is_the_longest_exposure():
    lengths = starts_of("tromso", OpenSpot(), 900_000.0).length_s
    done = lengths[np.isfinite(lengths)]
    assert done.size
    assert done.max() <= DAY_S
    assert done.max() > 20 * 3600.0


def test_summer_is_in_december_in_the_south_and_the_equator_hardly_knows_seasons():
    best = {name: [month.best_length_s for month in months_of(starts_of(name))] for name in PLACES}
    assert int(np.argmin(best["dunedin"])) == 11
    assert int(np.argmax(best["dunedin"])) == 5
    assert max(best["quito"]) / min(best["quito"]) < 1.3
    assert max(best["dunedin"]) / min(best["dunedin"]) > 3.0


def test_the_best_hour_moves_with_the_clocks():
    """In Porto the clock is an hour further ahead of the sun in summer."""
    months = months_of(starts_of("porto"))
    assert [months[k].best_hour for k in (0, 11)] == [12, 12]
    assert {months[k].best_hour for k in (4, 5, 6, 7)} <= {13, 14}


def test_useful_starts_take_at_most_twice_the_days_best():
    starts = starts_of("porto")
    course = Season.of(scene_of("porto", dt.date(2026, 7, 1), OpenSpot()), starts.days).course()
    for edge_s, beyond_s in ((starts.useful_from_s, -300.0), (starts.useful_until_s, 300.0)):
        within = lengths_at(course, edge_s, TARGET) / starts.best_length_s
        outside = lengths_at(course, edge_s + beyond_s, TARGET) / starts.best_length_s
        assert np.all(within <= USEFUL_FACTOR)
        assert np.all(np.isnan(outside) | (outside > USEFUL_FACTOR))


def test_a_median_counts_starts_that_fail_as_endless():
    starts = starts_of("porto")
    january = np.flatnonzero((starts.hours.day < 31) & (starts.hours.hour == 12))
    lengths = starts.length_s.copy()
    lengths[january] = np.arange(31) * 60.0 + 600.0
    lengths[january[:15]] = np.nan  # sixteen are left, from 1500 s to 2400 s
    noon = months_of(replace(starts, length_s=lengths))[0].hours[12]
    assert (noon.starts, noon.possible) == (31, 16)
    assert (noon.median_s, noon.shortest_s, noon.longest_s) == (2400.0, 1500.0, 2400.0)
    lengths[january[15]] = np.nan
    noon = months_of(replace(starts, length_s=lengths))[0].hours[12]
    assert (noon.possible, noon.median_s, noon.shortest_s) == (15, None, 1560.0)


def test_a_fence_of_pickets_is_answered_all_the_same():
    pickets = Skyline.from_pairs([(float(a), 60.0 if a % 2 else 0.0) for a in range(0, 360, 2)] + [(359, 60)])
    scene = scene_of("porto", dt.date(2026, 7, 1), OpenSpot(Aim(), pickets))
    days = CivilDays.between(dt.date(2026, 6, 1), dt.date(2026, 6, 7), ZoneInfo("Europe/Lisbon"))
    assert find_starts(scene, days, TARGET).days_done == 7
