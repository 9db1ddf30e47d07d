"""Plans of moves for real scenes: indoors, in the yard, under cloud."""

import datetime as dt

import numpy as np
import pytest

from noonframe.dose.exposure import expose
from noonframe.dose.patch_day import best_place, patch_day
from noonframe.dose.plan import Aims, candidate_rates, choices_for, plan_for, say_aim
from noonframe.dose.scene import Scene
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import assume_sky
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.table import Table, default_table
from noonframe.spot.window import Window
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

PORTO = Place(41.15, -8.61, 80.0)
DUNEDIN = Place(-45.87, 170.5, 10.0)
WINDOW = Window(135.0, 1.2, 0.1, 1.5, 0.2)
FRAME = Frame(0.6, 0.0, 0.3, 0.4)


def scene(spot, place=PORTO, sky=None, day=dt.date(2026, 6, 21)):
    return Scene(
        place=place,
        sky=assume_sky(place, day, sky=sky),
        spot=spot,
        stack=parse_stack("float-glass-4mm,polyester-film"),
        sensitizer=find_sensitizer("citrate-classic"),
        near_ground_albedo=0.04,
    )


def at(hour, day=21):
    return dt.datetime(2026, 6, day, tzinfo=dt.UTC).timestamp() + 3600.0 * hour


def plan(made, start_s, target=24000.0, **options):
    given = {"move_cost_s": 20.0, "max_moves": 4, "tolerance_stops": 0.5, "start_anywhere": True, **options}
    return plan_for(made, choices_for(made), start_s, target, **given)


def test_from_a_shaded_start_the_plan_carries_the_frame_into_the_patch():
    made = scene(WindowSpot(WINDOW, FRAME))
    found = plan(made, at(8.0), start_anywhere=False)
    assert found.plan.outcome == "reached"
    assert found.plan.moves
    stay = found.plan.stay_finish_s
    assert stay is None or found.plan.finish_s < stay


NARROW = Window(135.0, 0.5, 0.1, 0.9, 0.2)


def test_a_long_exposure_at_a_narrow_window_follows_the_patch_with_moves():
    made = scene(WindowSpot(NARROW, FRAME))
    found = plan(made, at(8.0), target=60000.0, max_moves=5)
    assert found.plan.outcome == "reached"
    assert found.plan.moves
    distances = [found.choices[move.to_index].spot.frame.distance_m for move in found.plan.moves]
    assert distances[-1] <= 0.6  # the sun climbs, so the patch draws in toward the wall
    assert found.plan.low_stops >= -0.5 - 1e-9
    assert found.plan.high_stops <= 0.5 + 1e-9


def test_the_finish_is_the_integral_of_the_rates_along_the_plan():
    made = scene(WindowSpot(NARROW, FRAME))
    start = at(8.0)
    found = plan(made, start, target=60000.0, max_moves=5)
    fine = np.arange(0.0, found.plan.finish_s, 2.0)
    rates = candidate_rates(made, found.choices, start + fine).mean(axis=2)
    where, dark_until = found.plan.start_index, -1.0
    moves = list(found.plan.moves)
    dose = 0.0
    for k, second in enumerate(fine):
        while moves and second >= moves[0].time_s:
            move = moves.pop(0)
            where, dark_until = move.to_index, move.time_s + 20.0
        if second >= dark_until:
            dose += 2.0 * rates[where, k]
    assert dose == pytest.approx(60000.0, rel=0.005)


@pytest.mark.parametrize("sky", ["overcast", "rain", "fog"])
def test_under_a_closed_cloud_nobody_is_told_to_aim(sky):
    made = scene(OpenSpot(), sky=sky)
    found = plan(made, at(9.0))
    assert found.plan.moves == ()
    assert say_aim(found.choices[found.plan.start_index].spot.aim) == "laid flat"


def test_a_low_sun_is_worth_aiming_at():
    made = scene(OpenSpot(), day=dt.date(2026, 12, 21))
    start = dt.datetime(2026, 12, 21, 10, tzinfo=dt.UTC).timestamp()
    found = plan(made, start)
    aim = found.choices[found.plan.start_index].spot.aim
    flat = expose(made.rate, start, 24000.0).length_s
    assert aim.tilt_deg >= 30.0
    assert found.plan.finish_s < 0.8 * flat


def test_in_dunedin_the_aim_is_to_the_north():
    made = scene(OpenSpot(), place=DUNEDIN)
    start = dt.datetime(2026, 6, 21, 0, 15, tzinfo=dt.UTC).timestamp()  # about solar noon in winter
    aim = plan(made, start)
    chosen = aim.choices[aim.plan.start_index].spot.aim
    assert chosen.tilt_deg >= 30.0
    assert min(chosen.aim_azimuth_deg, 360.0 - chosen.aim_azimuth_deg) <= 30.0


def test_a_level_frame_at_noon_in_june_may_stay_put():
    found = plan(scene(OpenSpot()), at(12.5), start_anywhere=False)
    assert found.plan.moves == ()
    assert "tay put" in found.plan.advice


def test_aims_allowed_are_the_aims_tried():
    made = scene(OpenSpot(Aim(20.0, 200.0)))
    assert [c.spot.aim.tilt_deg for c in choices_for(made, aims=Aims.FLAT)] == [20.0, 0.0]
    assert {c.spot.aim.tilt_deg for c in choices_for(made, aims=Aims.PROPPED)} == {20.0, 0.0, 30.0}
    assert len(choices_for(made, aims=Aims.FREE)) == 50


def test_an_impossible_evenness_is_refused():
    with pytest.raises(OutOfDomain, match="evenness_stops"):
        plan(scene(OpenSpot()), at(12.5), tolerance_stops=0.0)


def test_the_patch_comes_to_the_table_in_the_morning_and_leaves_at_noon_at_a_south_east_window():
    made = scene(WindowSpot(WINDOW, FRAME))
    day = patch_day(made, default_table(made.spot), at(0), at(24))
    sun = made.track(np.array([day.first_s, day.last_s]))
    assert day.first_s < at(7) < day.last_s < at(13)
    assert np.all(np.abs(sun.azimuth_deg - 135.0) < 90.0)
    areas = [moment.area_m2 for moment in day.moments]
    assert max(areas) > 0.4
    assert areas[0] < 0.02 > areas[-1]


def test_a_window_that_looks_away_from_the_sun_has_no_patch():
    north = WindowSpot(Window(0.0, 1.2, 0.1, 1.5, 0.2), FRAME)
    made = scene(north, day=dt.date(2026, 12, 21))
    start = dt.datetime(2026, 12, 21, tzinfo=dt.UTC).timestamp()
    assert patch_day(made, default_table(north), start, start + 86400.0).first_s is None


def test_the_best_place_is_no_worse_than_any_other():
    made = scene(WindowSpot(WINDOW, FRAME))
    table = Table(0.2, 1.2, -0.9, 0.9)
    best = best_place(made, table, at(0), at(24))
    from noonframe.spot.table import places_on

    time_s = np.arange(at(0), at(24), 600.0)
    for place in places_on(table, made.spot, 60)[::7]:
        other = scene(place)
        assert np.trapezoid(other.rate(time_s), time_s) <= best.dose_j_m2 * 1.03


def test_a_patch_is_only_asked_of_a_window():
    with pytest.raises(OutOfDomain, match="window"):
        patch_day(scene(OpenSpot()), Table(0.2, 1.2, -0.9, 0.9), at(0), at(24))
