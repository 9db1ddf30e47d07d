"""The light of a session: ends, chances and moves as the dose room has them, and what was told of the sky."""

import datetime as dt
import math

import numpy as np
import pytest

from noonframe.bench.session_light import (
    SpotLight,
    ToldSky,
    chance_of,
    starts_for,
    staying,
    step_for,
    unsteady_s,
)
from noonframe.bench.session_moves import MoveAsk, MovedLight, course_along, moving, steadiness_along
from noonframe.dose.exposure import expose
from noonframe.dose.plan import choices_for, plan_for
from noonframe.dose.scene import Scene, Target
from noonframe.dose.skies import expose_under_skies
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import assume_sky
from noonframe.sky.evidence import steady_course
from noonframe.sky.words import CloudPart
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.window import Window
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

PORTO = Place(41.15, -8.61, 80.0)
DAY = dt.date(2026, 6, 21)
EIGHT_S = dt.datetime(2026, 6, 21, 8, 0, tzinfo=dt.UTC).timestamp()
HOUR_S = 3600.0
TARGET = Target(24000.0, 0.25, "given")
MINUTE_SPREAD_S = 1.0
"""The session reads light at whole minutes, the exposure at its own: less than a second apart in the open."""
COVER = (CloudPart(1.0, 12.0),)


def scene(spot=None):
    sky = assume_sky(PORTO, DAY)
    return Scene(
        PORTO,
        sky,
        spot or OpenSpot(),
        parse_stack("float-glass-4mm,polyester-film"),
        find_sensitizer("citrate-classic"),
        sky.state.ground_albedo,
    )


def window(width_m=1.2, head_m=1.5):
    hole = Window(135.0, width_m, 0.1, head_m, 0.2, 0.0, "none", None)
    return WindowSpot(hole, Frame(0.6, 0.0, 0.3, 0.4, 0.0, None))


def light(spot=None, hours=10.0, **more):
    return SpotLight("here", scene(spot), EIGHT_S, EIGHT_S + hours * HOUR_S, **more)


@pytest.mark.parametrize("spot", [None, window()], ids=["open", "window"])
def test_ends_are_those_of_single_exposures(spot):
    found = light(spot)
    starts = EIGHT_S + np.array([0.0, 1200.0, 7260.0])
    for start_s, end_s in zip(starts, found.ends(starts, TARGET), strict=True):
        alone = expose(found.scene.rate, float(start_s), TARGET.target_j_m2)
        if alone.length_s is None:
            assert math.isnan(end_s)
        else:
            assert end_s - start_s == pytest.approx(alone.length_s, abs=MINUTE_SPREAD_S)


def test_sureness_plans_longer_and_its_chance_is_as_asked():
    found, start = light(), np.array([EIGHT_S])
    likely, sure = (float(found.ends(start, TARGET, share)[0]) for share in (0.5, 0.9))
    assert sure > likely
    # the light is straight between minutes for the end and for the chance alike
    assert found.chance(EIGHT_S, likely, TARGET) == pytest.approx(0.5, abs=1e-3)
    assert found.chance(EIGHT_S, sure, TARGET) == pytest.approx(0.9, abs=1e-3)
    with pytest.raises(OutOfDomain, match="sureness"):
        found.ends(start, TARGET, 0.3)


def test_chances_rise_with_time_and_the_range_is_theirs():
    found = light()
    low_s, high_s = found.range_s(EIGHT_S, TARGET)
    assert found.chance(EIGHT_S, EIGHT_S + low_s, TARGET) == pytest.approx(0.1, abs=1e-3)
    assert found.chance(EIGHT_S, EIGHT_S + high_s, TARGET) == pytest.approx(0.9, abs=1e-3)
    assert found.chance(EIGHT_S, EIGHT_S, TARGET) == 0.0


def test_a_dose_for_a_target_without_doubt_is_enough_or_not():
    assert chance_of(99.0, 100.0, 0.0) == 0.0
    assert chance_of(100.0, 100.0, 0.0) == 1.0
    assert chance_of(200.0, 100.0, 1.0) == pytest.approx(0.8413, abs=1e-4)  # standard normal at 1, tables
    assert chance_of(0.0, 100.0, 1.0) == 0.0


def test_told_cloud_lasts_as_long_as_told():
    told = ToldSky(EIGHT_S + 1800.0, EIGHT_S + 3600.0, COVER)
    clear, clouded = light(), light(told=(told,))
    covered = clear.scene.under(*COVER)
    at = clear.time_s - EIGHT_S
    during = (at >= 1800.0) & (at < 3600.0)
    assert np.array_equal(clouded.expected.rate_w_m2[~during], clear.expected.rate_w_m2[~during])
    assert np.allclose(clouded.expected.rate_w_m2[during], covered.rate(clear.time_s[during]))
    start = np.array([EIGHT_S + 1500.0])
    assert clouded.ends(start, TARGET)[0] > clear.ends(start, TARGET)[0] + 600.0


def test_sampled_skies_give_the_ends_that_single_exposures_have():
    parts = (CloudPart(0.5, 0.0), CloudPart(0.5, 10.0))
    course = steady_course(parts, EIGHT_S - HOUR_S, EIGHT_S + 30 * HOUR_S, 0.1, "test")
    found = light(course=course)
    target = Target(24000.0, 0.0, "given")
    other = found.scene.cloudless_spread_stops
    end_s = float(found.ends(np.array([EIGHT_S]), target)[0])
    alone = expose_under_skies(found.scene, course, EIGHT_S, target.target_j_m2, other_spread_stops=other)
    assert end_s - EIGHT_S == pytest.approx(alone.likely.length_s, rel=0.02)
    assert found.chance(EIGHT_S, end_s, target) == pytest.approx(0.5, abs=0.02)
    later = float(found.ends(np.array([EIGHT_S]), target, 0.9)[0])
    assert found.chance(EIGHT_S, later, target) == pytest.approx(0.9, abs=0.02)
    low_s, high_s = found.range_s(EIGHT_S, target)
    assert low_s < end_s - EIGHT_S < high_s


def test_told_cloud_goes_before_the_forecast_too():
    course = steady_course((CloudPart(1.0, 0.0),), EIGHT_S - HOUR_S, EIGHT_S + 30 * HOUR_S, 0.0, "test")
    told = ToldSky(EIGHT_S, EIGHT_S + HOUR_S, COVER)
    start = np.array([EIGHT_S])
    clear_s, covered_s = (
        float(light(course=course, told=skies).ends(start, TARGET)[0]) for skies in ((), (told,))
    )
    assert covered_s > clear_s + 900.0


def test_a_sheet_that_stays_must_come_out_even_where_that_is_asked():
    found = light(window(), hours=5.0)
    starts = starts_for(EIGHT_S, EIGHT_S + 4 * HOUR_S, 600.0)
    loose, none_out = staying(found, TARGET, starts)
    tight, ruled_out = staying(found, TARGET, starts, evenness_stops=0.2)
    assert none_out == 0
    assert ruled_out > 0
    assert np.isfinite(loose.end_s).sum() - np.isfinite(tight.end_s).sum() == ruled_out
    for start_s, end_s in zip(starts, tight.end_s, strict=True):
        if np.isfinite(end_s):
            low, high = found.evenness_stops(float(start_s), float(end_s))
            assert -0.2 <= low <= 0.0 <= high <= 0.2


def test_unsteady_light_costs_and_steady_light_does_not():
    assert unsteady_s(1.0, 600.0) == 0.0
    assert unsteady_s(0.5, 600.0) == 300.0
    found = light()
    assert found.steadiness(EIGHT_S, EIGHT_S + 60.0) > found.steadiness(EIGHT_S, EIGHT_S + HOUR_S) > 0.0


def test_light_ends_at_dark_and_nowhere_before():
    found = light(hours=16.0)
    dark_s = found.light_until_s(EIGHT_S)
    assert found.scene.rate(np.array([dark_s]))[0] <= 0.0
    assert found.scene.rate(np.array([dark_s - 120.0]))[0] > 0.0
    assert found.light_until_s(dark_s + 60.0) == dark_s + 60.0


@pytest.mark.parametrize("start_h", [0.0, 3.0])
def test_moves_are_those_the_dose_room_plans(start_h):
    found = light(window(0.5, 0.9))
    choices = choices_for(found.scene, most_places=20)
    moved = MovedLight(found, choices, MoveAsk(60.0, 2, 0.5))
    start_s = EIGHT_S + start_h * HOUR_S
    mine = moved.at(start_s, TARGET)
    whole = plan_for(
        found.scene,
        choices,
        start_s,
        TARGET.target_j_m2,
        move_cost_s=60.0,
        max_moves=2,
        tolerance_stops=0.5,
        start_anywhere=True,
    ).plan
    if whole.outcome != "reached":
        assert mine is None
        return
    assert mine is not None
    # a plan cut short by its smaller budget may be a little longer, never shorter than what is best
    assert mine.plan.length_s >= whole.length_s - 1e-6 or not whole.proven
    assert mine.plan.length_s <= 1.1 * whole.length_s
    assert mine.chance(mine.end_s, TARGET) == pytest.approx(0.5, abs=0.1)
    assert 0.0 < steadiness_along(mine) <= 1.0


def test_moving_keeps_the_hands_times_by_start():
    found = light(window(0.8, 1.2), hours=5.0)
    moved = MovedLight(found, choices_for(found.scene, most_places=20), MoveAsk(60.0, 2, 0.5))
    starts = starts_for(EIGHT_S, EIGHT_S + 3 * HOUR_S, 1800.0)
    offered, exposures = moving(moved, "here", Target(30000.0, 0.25, "given"), starts)
    assert set(np.flatnonzero(np.isfinite(offered.end_s))) == set(exposures)
    assert exposures
    for index, exposure in exposures.items():
        assert offered.end_s[index] == exposure.end_s
        assert offered.moves_s.get(index, ()) == exposure.moves_s
        assert all(starts[index] <= move_s < exposure.end_s for move_s in exposure.moves_s)


def test_a_course_along_moves_is_each_spot_in_turn_and_dark_while_carried():
    found = light()
    tilted = OpenSpot(type(found.scene.spot.aim)(30.0, 180.0))
    middle_s = EIGHT_S + HOUR_S
    course = course_along(found, [(EIGHT_S, found.scene.spot), (middle_s, tilted)], 120.0)
    other = SpotLight("there", scene(tilted), found.from_s, found.until_s).expected.rate_w_m2
    before, after = found.time_s < middle_s, found.time_s >= middle_s + 120.0
    assert np.array_equal(course.rate_w_m2[before], found.expected.rate_w_m2[before])
    assert np.array_equal(course.rate_w_m2[after], other[after])
    carried = ~before & ~after
    assert course.rate_w_m2[carried].max() < 1e-6


def test_starts_lie_on_whole_minutes_and_are_fewer_for_more_sheets():
    starts = starts_for(EIGHT_S + 10.0, EIGHT_S + HOUR_S, 120.0)
    assert np.all(starts % 60.0 == 0.0)
    assert starts[0] == EIGHT_S + 60.0
    steps = [step_for(ways, 10 * HOUR_S) for ways in (1, 20, 40, 400)]
    assert steps == sorted(steps)
    assert steps[0] < steps[-1]
