"""The light along a plan as one course: its dose, its range, and the blur of an edge."""

import datetime as dt
import math

import numpy as np
import pytest

from noonframe.dose.exposure import expose
from noonframe.dose.plan import Aims, candidate_rates, choices_for, plan_for
from noonframe.dose.plan_course import edge_along, expose_along, plan_course
from noonframe.dose.scene import Scene
from noonframe.sky.assume import assume_sky
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.window import Window
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

PORTO = Place(41.15, -8.61, 80.0)
NARROW = WindowSpot(Window(135.0, 0.5, 0.1, 0.9, 0.2), Frame(0.6, 0.0, 0.3, 0.4))
COST_S = 45.0
TARGET = 60000.0
DAY = dt.datetime(2026, 6, 21, tzinfo=dt.UTC).timestamp()
START = DAY + 8.0 * 3600.0


def scene(spot, sky=None):
    return Scene(
        place=PORTO,
        sky=assume_sky(PORTO, dt.date(2026, 6, 21), sky=sky),
        spot=spot,
        stack=parse_stack("float-glass-4mm,polyester-film"),
        sensitizer=find_sensitizer("citrate-classic"),
        near_ground_albedo=0.04,
    )


def planned(made, start_s=START, target=TARGET, aims=Aims.FREE, **options):
    given = {"max_moves": 4, "tolerance_stops": None, "start_anywhere": True, **options}
    return plan_for(made, choices_for(made, aims=aims), start_s, target, move_cost_s=COST_S, **given)


@pytest.fixture(scope="module")
def moved():
    made = scene(NARROW)
    found = planned(made)
    assert found.plan.moves
    return made, found


def test_the_course_reaches_the_target_when_the_plan_does(moved):
    made, found = moved
    exposure = plan_course(made, found, COST_S).expose(START, TARGET)
    # Rates linear over the same minutes on both sides, but for the seconds beside a move.
    assert exposure.length_s == pytest.approx(found.plan.length_s, abs=5.0)


def test_nothing_is_gathered_while_the_frame_is_carried(moved):
    made, found = moved
    course = plan_course(made, found, COST_S)
    for move in found.plan.moves:
        carried_s = START + move.time_s + np.array([1.0, COST_S / 2, COST_S - 1.0])
        assert np.interp(carried_s, course.time_s, course.rate_w_m2).max() < 1e-6
        either = START + move.time_s + np.array([-1.0, COST_S + 1.0])
        assert np.interp(either, course.time_s, course.rate_w_m2).min() > 1.0
    assert np.all(np.diff(course.time_s) > 0.0)


def test_between_moves_the_course_is_the_mean_rate_of_the_place(moved):
    made, found = moved
    course = plan_course(made, found, COST_S)
    place = found.choices[found.plan.start_index]
    minutes = START + 60.0 * np.arange(1, int(found.plan.moves[0].time_s // 60))
    expected = candidate_rates(made, (place,), minutes)[0].mean(axis=1)
    assert np.interp(minutes, course.time_s, course.rate_w_m2) == pytest.approx(expected, rel=1e-9)


def test_the_range_brackets_the_plan(moved):
    made, found = moved
    exposure = expose_along(made, found, COST_S, TARGET, 0.3)
    assert exposure.length_s == found.plan.length_s
    assert exposure.low_s < exposure.length_s < exposure.high_s
    sure = expose_along(made, found, COST_S, TARGET, 0.0)
    assert sure.low_s == sure.high_s == pytest.approx(found.plan.length_s)


def test_the_slow_end_of_the_range_may_lie_beyond_what_the_plan_looked_at():
    """A plan that is done within the hour is looked for in that hour; its slow end can lie after it."""
    made = scene(OpenSpot(), sky="overcast")
    start = DAY + 12.5 * 3600.0
    found = planned(made, start)
    assert found.plan.length_s < found.looked_until_s - start == pytest.approx(8 * 3600.0, abs=7.1 * 3600)
    along = expose_along(made, found, COST_S, TARGET, 1.0)
    alone = expose(made.rate, start, TARGET, 1.0)
    assert along.high_s is not None
    for mine, theirs in zip(
        (along.length_s, along.low_s, along.high_s), (alone.length_s, alone.low_s, alone.high_s), strict=True
    ):
        assert mine == pytest.approx(theirs, rel=1e-3)


def test_when_the_light_may_go_first_the_slow_end_is_open():
    made = scene(OpenSpot(), sky="rain")
    start = DAY + 17.0 * 3600.0
    found = planned(made, start, target=10000.0)
    assert found.plan.length_s is not None
    assert expose_along(made, found, COST_S, 10000.0, 1.0).high_s is None


def test_a_plan_begun_at_night_is_done_after_dawn():
    made = scene(OpenSpot())
    start = DAY + 3.0 * 3600.0
    found = planned(made, start, target=1000.0)
    exposure = expose_along(made, found, COST_S, 1000.0, 0.25)
    sunrise = DAY + 5.0 * 3600.0  # 05:02 UTC
    assert start + exposure.length_s > sunrise
    assert exposure.low_s < exposure.length_s < exposure.high_s


def test_a_plan_out_of_light_has_its_share_and_no_length():
    made = scene(NARROW)
    found = planned(made, target=1e6)
    exposure = expose_along(made, found, COST_S, 1e6, 0.25)
    assert exposure.length_s is None
    assert exposure.dose_share == pytest.approx(found.plan.share, rel=0.02)


def test_evenness_stretches_the_range_with_the_length():
    made = scene(NARROW)
    found = planned(made, tolerance_stops=0.5)
    assert found.plan.outcome == "reached"
    plain = plan_course(made, found, COST_S).expose(START, TARGET, 0.3)
    exposure = expose_along(made, found, COST_S, TARGET, 0.3)
    assert exposure.length_s == found.plan.length_s >= plain.length_s - 5.0
    stretch = exposure.length_s / plain.length_s
    assert exposure.low_s == pytest.approx(plain.low_s * stretch)


def test_an_edge_wanders_as_the_sun_does():
    made = scene(OpenSpot(), sky="clear")
    start = DAY + 10.0 * 3600.0
    found = planned(made, start, target=24000.0, aims=Aims.FLAT)
    end = start + found.plan.length_s
    blur = edge_along(made, found, COST_S, end, 10.0)
    track = made.track(np.array([start, end]))
    reach = 10.0 * np.tan(np.radians(track.zenith_deg))
    azimuth = np.radians(track.azimuth_deg)
    tips = reach * np.exp(1j * azimuth)
    # The path of the tip over a quarter of an hour is as good as straight.
    assert blur.wander_mm == pytest.approx(abs(tips[1] - tips[0]), rel=1e-3)
    # A disc of 0.533 degrees across: from 2 r h / cos z to 2 r h / cos^2 z.
    width, up = 10.0 * math.radians(0.533), np.cos(np.radians(track.zenith_deg)).mean()
    assert width / up <= blur.disc_mm * 1.002
    assert blur.disc_mm <= width / up**2 * 1.002


def test_no_edge_is_told_on_a_tilted_sheet_or_in_the_dark():
    tilted = scene(OpenSpot(Aim(40.0, 180.0)))
    start = DAY + 10.0 * 3600.0
    still = planned(tilted, start, max_moves=0, start_anywhere=False, target=24000.0)
    assert edge_along(tilted, still, COST_S, start + 600.0, 10.0) is None
    level = scene(OpenSpot())
    night = planned(level, DAY + 22.5 * 3600.0, target=1e6, aims=Aims.FLAT)
    assert edge_along(level, night, COST_S, DAY + 23.0 * 3600.0, 10.0) is None


def test_the_diffuse_share_of_an_edge_is_that_of_the_light():
    made = scene(OpenSpot())
    start = DAY + 10.0 * 3600.0
    found = planned(made, start, target=24000.0, aims=Aims.FLAT)
    end = start + found.plan.length_s
    blur = edge_along(made, found, COST_S, end, 10.0)
    light = made.light(np.linspace(start, end, 40))
    expected = light.uva_diffuse_w_m2.sum() / light.uva_w_m2.sum()
    assert blur.diffuse_share == pytest.approx(expected, rel=1e-3)
