"""Exposures, strips and followed exposures under a lamp."""

import uuid

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from noonframe.bench.ladder import DoseLadder
from noonframe.bench.lamp_strips import follow_lamp_strip, plan_lamp_strip
from noonframe.dose.lamp_live import LampCourse
from noonframe.dose.lamp_scene import LampScene, coldness_after
from noonframe.dose.live_events import (
    Covered,
    Finished,
    SkySeen,
    Started,
    Uncovered,
    event_from,
    event_payload,
)
from noonframe.dose.scene import Target
from noonframe.errors import Malformed, OutOfDomain
from noonframe.lamp.kinds import find_lamp_kind
from noonframe.lamp.lamp import Lamp, from_reading
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer

TUBE = find_lamp_kind("uv-a-tube-368")
FRAME = parse_stack("float-glass-4mm,polyester-film")
COAT = find_sensitizer("citrate-classic")
START = 1.75e9


def scene(reading=60.0, **more):
    return LampScene(Lamp(TUBE, from_reading(TUBE, reading), TUBE.warm_up), FRAME, COAT, **more)


SCENE = scene()


def event(kind, at_s, **more):
    return kind(event_id=uuid.uuid4(), sequence=int(at_s - START) + 1, at_s=at_s, **more)


@settings(max_examples=30)
@given(st.floats(5.0, 300.0), st.floats(100.0, 1e5), st.floats(0.7, 1.1))
def test_the_dose_at_the_end_is_the_target(reading, target, exponent):
    found = scene(reading, reciprocity_exponent=exponent)
    exposure = found.expose(START, target)
    if exposure.length_s is not None:
        assert found.dose_j_m2(exposure.length_s, 1.0) == pytest.approx(target, rel=1e-9)
    else:
        assert exposure.dose_share < 1.0


@settings(max_examples=30)
@given(st.floats(1.0, 50000.0), st.floats(1.0, 50000.0))
def test_the_dose_never_falls_and_is_linear_in_the_irradiance(one, other):
    short, long = sorted((one, other))
    assert SCENE.dose_j_m2(short, 1.0) <= SCENE.dose_j_m2(long, 1.0)
    assert scene(120.0).dose_j_m2(long, 1.0) == pytest.approx(2 * SCENE.dose_j_m2(long, 1.0), rel=1e-9)


def test_the_range_holds_the_length_and_is_wider_when_less_is_known():
    narrow, wide = (SCENE.expose(START, 24000.0, spread) for spread in (0.2, 1.0))
    assert wide.low_s < narrow.low_s < narrow.length_s < narrow.high_s < wide.high_s


def test_a_lamp_too_weak_for_a_day_is_told_as_such():
    exposure = scene(0.05).expose(START, 24000.0)
    assert not exposure.reached
    assert 0.0 < exposure.dose_share < 1.0
    assert exposure.length_s is None
    assert not exposure.dark_then


def test_a_lamp_lit_before_is_warm():
    lamp = SCENE.lamp
    assert coldness_after(lamp, 0.0) == 1.0
    assert coldness_after(lamp, 1200.0) < 1e-4
    for bad in (-1.0, float("nan"), 1e9):
        with pytest.raises(OutOfDomain, match="lamp_lit_s"):
            coldness_after(lamp, bad)


def test_the_covers_of_a_strip_give_the_ladders_doses_warm_up_included():
    ladder = DoseLadder(6000.0, 0.5, 9)
    plan = plan_lamp_strip(SCENE, START, ladder)
    for cover, total in zip(plan.covers, ladder.totals_j_m2, strict=True):
        rate = SCENE.full_rate_w_m2
        dose = quad(lambda t: rate * (1 - 0.35 * np.exp(-t / 120.0)), 0, cover.at_s - START)[0]  # noqa: B023
        assert dose == pytest.approx(total, rel=1e-9)
        assert cover.early_s < cover.at_s < cover.late_s
    halfway = follow_lamp_strip(SCENE, START, ladder, 10000.0, covered=1)
    assert halfway.overdue == (2,)
    assert halfway.next_cover.strip == 3
    with pytest.raises(OutOfDomain, match="covered"):
        follow_lamp_strip(SCENE, START, ladder, 0.0, covered=10)


def test_a_followed_exposure_ends_when_the_plan_said():
    course = LampCourse(SCENE, Target(24000.0, 0.25, "given"))
    length = SCENE.expose(START, 24000.0).length_s
    begun = [event(Started, START)]
    for after_s in (0.0, 100.0, 400.0):
        state = course.state(begun, START + after_s)
        assert state.end_s == pytest.approx(START + length, abs=1e-6)
        assert state.rate_w_m2 == pytest.approx(SCENE.rate_at(np.exp(-after_s / 120.0)))
    assert course.state(begun, START + length + 60.0).reached_s == pytest.approx(START + length, abs=1e-6)


def test_a_pause_with_the_lamp_off_costs_a_new_warm_up_and_with_it_on_none():
    course = LampCourse(SCENE, Target(24000.0, 0.25, "given"))
    length = SCENE.expose(START, 24000.0).length_s
    ends = {}
    for lamp_on in (False, True):
        told = [event(Started, START), event(Covered, START + 300.0, lamp_on=lamp_on)]
        assert course.state(told, START + 1000.0).rate_w_m2 == 0.0
        told.append(event(Uncovered, START + 2100.0))
        ends[lamp_on] = course.state(told, START + 2200.0).end_s - START - 1800.0
    assert ends[True] < length < ends[False]
    assert ends[False] - length == pytest.approx(
        0.35 * 120.0 * 0.92, abs=2.0
    )  # nearly cold after half an hour


def test_an_exposure_that_ended_keeps_its_dose():
    course = LampCourse(SCENE, Target(24000.0, 0.25, "given"))
    told = [event(Started, START), event(Finished, START + 500.0)]
    one, other = (course.state(told, START + later) for later in (600.0, 90000.0))
    assert one.dose_j_m2 == other.dose_j_m2 == pytest.approx(SCENE.dose_j_m2(500.0, 1.0))
    assert one.end_s is None


def test_what_only_the_sun_knows_is_refused():
    course = LampCourse(SCENE, Target(24000.0, 0.25, "given"))
    with pytest.raises(OutOfDomain, match="kind"):
        course.state([event(Started, START), event(SkySeen, START + 5.0, sky="clear")], START + 10.0)


def test_a_cover_is_kept_with_its_lamp():
    for lamp_on in (True, False):
        cover = event(Covered, START, lamp_on=lamp_on)
        payload = event_payload(cover)
        again = event_from("covered", START, payload, event_id=cover.event_id, sequence=cover.sequence)
        assert again == cover
    with pytest.raises(Malformed, match="lamp_on"):
        event_from("covered", START, {"lamp_on": 1}, event_id=uuid.uuid4(), sequence=1)
