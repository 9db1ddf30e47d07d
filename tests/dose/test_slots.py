"""When to print: the stretches of a day, best first."""

import datetime as dt
from functools import cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from noonframe.dose.exposure import LONGEST_S, expose
from noonframe.dose.scene import Scene
from noonframe.dose.slots import FAIR_FACTOR, LATE_START_S, QUICK_FACTOR, START_STEP_S, Pace, Slot, find_slots
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import OpenSpot
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.events import civil_day, day_events
from noonframe.sun.place import Place

COAT = find_sensitizer("citrate-classic")
TARGET = COAT.target_j_m2
PLACES = {
    "porto": (Place(41.15, -8.61, 80.0), ZoneInfo("Europe/Lisbon")),
    "dunedin": (Place(-45.87, 170.50, 5.0), ZoneInfo("Pacific/Auckland")),
    "70 north": (Place(70.0, 25.0), ZoneInfo("Europe/Oslo")),
}
JUNE, DECEMBER = dt.date(2025, 6, 21), dt.date(2025, 12, 21)
LIGHT_DAYS = [
    (name, date) for name in PLACES for date in (JUNE, DECEMBER) if (name, date) != ("70 north", DECEMBER)
]


@cache
def rate_of(name: str, date: dt.date):
    place, _ = PLACES[name]
    stack = parse_stack("float-glass-4mm,polyester-film")
    return Scene(place, assume_sky(place, date), OpenSpot(), stack, COAT, 0.04).rate


@cache
def slots_of(name: str, date: dt.date) -> tuple[Slot, ...]:
    return find_slots(rate_of(name, date), *civil_day(date, PLACES[name][1]), TARGET, 0.6)


@pytest.mark.parametrize(("name", "date"), LIGHT_DAYS)
def test_best_slot_is_quick_and_holds_the_solar_noon(name, date):
    place, zone = PLACES[name]
    best = slots_of(name, date)[0]
    noon = day_events(place, date, zone).transit.timestamp()
    assert best.pace is Pace.QUICK
    assert best.first_start_s < noon < best.last_start_s + best.best.length_s
    # The quickest exposure has noon in its middle: it starts half its length earlier, to the five minutes
    # of the starts.
    middle = best.best.start_s + best.best.length_s / 2.0
    assert abs(middle - noon) <= START_STEP_S
    assert best.steadiness > 0.9


@pytest.mark.parametrize(("name", "date"), LIGHT_DAYS)
def test_slots_are_ranked_disjoint_and_of_their_pace(name, date):
    slots = slots_of(name, date)
    shortest = min(slot.best.length_s for slot in slots)
    lengths = [slot.best.length_s * (2.0 - slot.steadiness) for slot in slots]
    assert lengths == sorted(lengths)
    in_time = sorted(slots, key=lambda slot: slot.first_start_s)
    for before, after in pairwise(in_time):
        assert before.last_start_s < after.first_start_s
    limits = {
        Pace.QUICK: (1.0, QUICK_FACTOR),
        Pace.FAIR: (QUICK_FACTOR, FAIR_FACTOR),
        Pace.SLOW: (FAIR_FACTOR, np.inf),
    }
    for slot in slots:
        low, high = limits[slot.pace]
        assert low * 0.99 <= slot.best.length_s / shortest <= high * 1.01
        assert 0.0 < slot.steadiness <= 1.0
        assert slot.first_start_s <= slot.best.start_s <= slot.last_start_s
        assert slot.best.low_s < slot.best.length_s


@pytest.mark.parametrize(("name", "date"), LIGHT_DAYS)
def test_every_start_that_can_be_made_is_in_a_slot_and_no_other(name, date):
    slots, rate = slots_of(name, date), rate_of(name, date)
    start_s, end_s = civil_day(date, PLACES[name][1])
    for begin in np.arange(start_s, end_s + 1.0, 6 * START_STEP_S):
        inside = [slot for slot in slots if slot.first_start_s <= begin <= slot.last_start_s]
        reached = expose(rate, float(begin), TARGET).length_s is not None
        assert len(inside) == int(reached)


@pytest.mark.parametrize(("name", "date"), LIGHT_DAYS)
def test_a_late_start_costs_what_two_exposures_say(name, date):
    for slot in slots_of(name, date)[:3]:
        late = expose(rate_of(name, date), slot.best.start_s + LATE_START_S, TARGET)
        assert slot.late_cost_s == pytest.approx(late.length_s - slot.best.length_s, abs=3.0)


@pytest.mark.parametrize("date", [JUNE, DECEMBER])
@pytest.mark.parametrize("name", ["porto", "dunedin"])
def test_a_day_is_slow_fair_quick_fair_slow(name, date):
    in_time = sorted(slots_of(name, date), key=lambda slot: slot.first_start_s)
    assert [slot.pace for slot in in_time] == [Pace.SLOW, Pace.FAIR, Pace.QUICK, Pace.FAIR, Pace.SLOW]
    morning, evening = in_time[1], in_time[3]
    assert morning.late_cost_s < 0.0 < evening.late_cost_s  # waiting pays before noon and costs after it


def test_summer_is_quicker_and_longer_than_winter_in_both_hemispheres():
    for name, summer, winter in (("porto", JUNE, DECEMBER), ("dunedin", DECEMBER, JUNE)):
        long, short = slots_of(name, summer)[0], slots_of(name, winter)[0]
        assert long.best.length_s < 0.5 * short.best.length_s
        assert long.last_start_s - long.first_start_s > short.last_start_s - short.first_start_s


def test_in_the_light_summer_every_start_of_the_day_can_be_made():
    slots = slots_of("70 north", JUNE)
    start_s, end_s = civil_day(JUNE, PLACES["70 north"][1])
    assert min(slot.first_start_s for slot in slots) == start_s
    assert max(slot.last_start_s for slot in slots) == end_s
    covered = sum(slot.last_start_s - slot.first_start_s + START_STEP_S for slot in slots)
    assert covered == pytest.approx(end_s - start_s + START_STEP_S)


def test_polar_night_has_no_slots():
    assert slots_of("70 north", DECEMBER) == ()


def test_a_target_no_day_can_hold_gives_no_slots():
    name, date = "porto", JUNE
    assert find_slots(rate_of(name, date), *civil_day(date, PLACES[name][1]), 1e8) == ()


def test_an_empty_span_has_no_slots():
    assert find_slots(rate_of("porto", JUNE), 1e9, 1e9 - 1.0, TARGET) == ()


def test_slots_begin_inside_the_span_asked_for():
    start_s, _ = civil_day(JUNE, PLACES["porto"][1])
    from_s, to_s = start_s + 15 * 3600.0, start_s + 16 * 3600.0
    slots = find_slots(rate_of("porto", JUNE), from_s, to_s, TARGET)
    assert slots
    for slot in slots:
        assert from_s <= slot.first_start_s <= slot.last_start_s <= to_s
    assert slots[0].best.start_s == slots[0].first_start_s  # in the afternoon the first start is the best


def test_steady_light_is_one_slot_of_perfect_steadiness():
    (slot,) = find_slots(lambda unix_s: np.full(unix_s.size, 40.0), 0.0, 6 * 3600.0, 24000.0)
    assert (slot.pace, slot.steadiness) == (Pace.QUICK, 1.0)
    assert (slot.first_start_s, slot.last_start_s) == (0.0, 6 * 3600.0)
    assert slot.late_cost_s == pytest.approx(0.0, abs=1e-6)
    assert slot.best.length_s == pytest.approx(600.0)


def test_nothing_longer_than_a_day_is_offered():
    assert find_slots(lambda unix_s: np.full(unix_s.size, 1.0), 0.0, 3600.0, 1.1 * LONGEST_S) == ()
