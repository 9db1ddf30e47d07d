"""Session plans hold what they promise, whatever is asked; the check of that sees every kind of fault."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noonframe.bench.session import Chances, FrameKind, Quality, Session, Sheet, Work
from noonframe.bench.session_check import faults_of
from noonframe.bench.session_grid import Taken, grid_of
from noonframe.bench.session_plan import Effort, plan_session
from noonframe.bench.session_reasons import Reason, why_left_out
from noonframe.errors import OutOfDomain

FROM_S = 1_700_000_040.0
HOUR_S = 3600.0
LITTLE = Effort(tries=300, solver=0.2)


def chances(spot="yard", length_s=900.0, span_s=4 * HOUR_S, step_s=300.0, **more):
    start_s = FROM_S + np.arange(240.0, span_s, step_s)
    return Chances(spot, start_s, start_s + length_s + 7.3, np.zeros(start_s.size), **more)


def session(count=4, frames=2, sheet_chances=None, **more):
    offered = (chances(),) if sheet_chances is None else sheet_chances
    sheets = tuple(Sheet(f"kelp-{k}", "kelp", offered) for k in range(count))
    given_values = {"from_s": FROM_S, "until_s": FROM_S + 5 * HOUR_S, "frames": (FrameKind("frame", frames),)}
    return Session(**{**given_values, "sheets": sheets, **more})


@st.composite
def sessions(draw):
    """Sessions of up to eight sheets with everything that can be asked for."""
    span_s = draw(st.integers(2, 5)) * HOUR_S
    spots = draw(st.sampled_from([("yard",), ("yard", "window")]))
    sheets = []
    for number in range(draw(st.integers(1, 4))):
        offered = []
        for spot in spots:
            start_s = FROM_S + np.arange(240.0, span_s, draw(st.sampled_from([180.0, 300.0, 600.0])))
            length_s = draw(st.floats(60.0, 5000.0))
            end_s = start_s + length_s
            end_s[start_s > FROM_S + span_s * draw(st.floats(0.2, 1.0))] = math.nan
            moves = {0: (float(start_s[0]) + length_s / 2.0,)} if length_s > 600.0 else {}
            offered.append(Chances(spot, start_s, end_s, np.zeros(start_s.size), moves))
        limit = draw(st.none() | st.floats(0.3, 1.0))
        done_by_s = None if limit is None else FROM_S + limit * span_s
        priority = draw(st.integers(1, 9))
        sheets += [
            Sheet(f"s{number}-{k}", f"s{number}", tuple(offered), priority, None, done_by_s)
            for k in range(draw(st.integers(1, 2)))
        ]
    begins = draw(st.floats(0.0, 0.8))
    return Session(
        FROM_S,
        FROM_S + span_s,
        tuple(sheets),
        (FrameKind("frame", draw(st.integers(1, 3))), FrameKind("small", 1, frozenset(["yard"]))),
        Work(soak_s=draw(st.floats(0.0, 3000.0)), tray_holds=draw(st.integers(1, 3))),
        ((FROM_S + begins * span_s, FROM_S + begins * span_s + 1200.0),),
        {"window": 1},
    )


@settings(max_examples=40, deadline=None)
@given(sessions())
def test_every_plan_can_be_done_and_loses_no_sheet(asked):
    plan = plan_session(asked, LITTLE)
    assert faults_of(asked, plan) == ()
    assert {why.sheet_id for why in why_left_out(asked, plan)} == set(plan.left_out)
    quality = plan.quality
    assert quality.left_bound <= quality.left_weight
    assert quality.cost_bound_s <= quality.cost_s


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 2**30 - 1), max_size=6), st.integers(1, 3))
def test_what_is_taken_is_counted_minute_by_minute(masks, capacity):
    grid = grid_of(session(until_s=FROM_S + 600.0, work=Work(tray_holds=capacity)))
    taken = Taken.empty(grid)
    count = grid.slices * len(grid.resources)
    for mask in masks:
        taken = taken.plus(mask % (1 << count))
    for resource in grid.resources:
        for minute in range(grid.slices):
            bit = 1 << (resource.offset + minute)
            used = sum(1 for mask in masks if (mask % (1 << count)) & bit)
            assert bool(taken.full & bit) == (used >= resource.capacity)


def test_the_same_session_gets_the_same_plan():
    asked = session(count=6)
    assert plan_session(asked, LITTLE).placed == plan_session(asked, LITTLE).placed


def test_ends_are_never_rounded():
    plan = plan_session(session(), LITTLE)
    assert all((placed.end_s - placed.start_s) == pytest.approx(907.3, abs=1e-6) for placed in plan.placed)


def test_a_sheet_of_higher_priority_goes_first():
    sheets = (Sheet("plain", "plain", (chances(),)), Sheet("dear", "dear", (chances(),), priority=5))
    plan = plan_session(session(frames=1, sheets=sheets), LITTLE)
    assert [placed.sheet_id for placed in plan.placed] == ["dear", "plain"]


def test_a_sheet_that_must_be_done_early_goes_before_a_dearer_one():
    soon = FROM_S + 2700.0
    sheets = (
        Sheet("soon", "soon", (chances(),), done_by_s=soon),
        Sheet("dear", "dear", (chances(),), priority=5),
    )
    plan = plan_session(session(frames=1, sheets=sheets), LITTLE)
    assert plan.left_out == ()
    assert plan.placed[0].sheet_id == "soon"
    assert plan.placed[0].done_s <= soon


def test_steadier_light_wins_where_the_time_is_the_same():
    start_s = FROM_S + np.arange(240.0, HOUR_S, 300.0)
    same = {"start_s": start_s, "end_s": start_s + 600.0}
    rough = Chances("yard", **same, cost_s=np.full(start_s.size, 300.0))
    calm = Chances("window", **same, cost_s=np.zeros(start_s.size))
    plan = plan_session(session(count=1, sheet_chances=(rough, calm)), LITTLE)
    assert plan.placed[0].spot == "window"


def test_moves_book_the_hands():
    start_s = FROM_S + np.array([600.0])
    moved = Chances("yard", start_s, start_s + 1800.0, np.zeros(1), {0: (float(start_s[0]) + 900.0,)})
    sheets = (Sheet("moved", "moved", (moved,)), Sheet("other", "other", (chances(step_s=60.0),)))
    asked = session(sheets=sheets)
    plan = plan_session(asked, LITTLE)
    assert {placed.sheet_id for placed in plan.placed} == {"moved", "other"}
    late = replace(asked, breaks=((FROM_S + 1500.0, FROM_S + 1600.0),))
    assert plan_session(late, LITTLE).left_out == ("moved",)


def spoiled(asked, plan, **changes):
    first, *rest = plan.placed
    return faults_of(asked, replace(plan, placed=(replace(first, **changes), *rest)))


def test_the_check_sees_every_kind_of_fault():
    asked = session(count=3, frames=2, room={"yard": 2})
    plan = plan_session(asked, LITTLE)
    assert faults_of(asked, plan) == ()
    second = plan.placed[1]
    times = ("load_s", "start_s", "end_s", "unloaded_s", "washed_s", "done_s", "index")
    copied = {name: getattr(second, name) for name in times}
    assert any("hands" in fault for fault in spoiled(asked, plan, **copied))
    assert any(
        "frame 2:" in fault or "frame 1:" in fault
        for fault in spoiled(asked, plan, frame=second.frame, **copied)
    )
    assert any("not exposed" in fault for fault in spoiled(asked, plan, end_s=plan.placed[0].end_s - 60.0))
    assert any("other times" in fault for fault in spoiled(asked, plan, done_s=plan.placed[0].done_s - 60.0))
    assert any("outside" in fault for fault in faults_of(replace(asked, from_s=FROM_S + 60.0), plan))
    assert any("told of" in fault for fault in faults_of(asked, replace(plan, placed=plan.placed[1:])))
    assert any("tray" in fault for fault in faults_of(replace(asked, work=Work(tray_holds=1)), plan))
    assert any("yard" in fault for fault in faults_of(replace(asked, room={"yard": 1}), plan))
    meal = ((plan.placed[0].load_s, plan.placed[0].load_s + 30.0),)
    assert any("break" in fault for fault in faults_of(replace(asked, breaks=meal), plan))


NONE_LIT = replace(chances(), end_s=np.full(chances().start_s.size, np.nan))
LONG = chances(length_s=3.9 * HOUR_S)


@pytest.mark.parametrize(
    ("reason", "asked"),
    [
        (Reason.TOO_DIM, session(count=1, sheet_chances=(NONE_LIT,))),
        (Reason.TOO_LATE, session(count=1, until_s=FROM_S + 1800.0)),
        (Reason.NO_TIME, session(count=1, from_s=FROM_S + 4 * HOUR_S)),
        (Reason.FRAMES_BUSY, session(count=3, frames=2, sheet_chances=(LONG,))),
        (Reason.SPOT_FULL, session(count=2, sheet_chances=(LONG,), room={"yard": 1})),
        (Reason.HANDS_BUSY, session(count=1, breaks=((FROM_S, FROM_S + 5 * HOUR_S),))),
        (
            Reason.TRAY_FULL,
            session(
                count=2, frames=9, work=Work(tray_holds=1, soak_s=4 * HOUR_S), until_s=FROM_S + 5 * HOUR_S
            ),
        ),
    ],
)
def test_a_sheet_left_out_is_told_why(reason, asked):
    plan = plan_session(asked, LITTLE)
    found = why_left_out(asked, plan)
    assert found
    assert {why.reason for why in found} == {reason}


def test_quality_says_nothing_of_time_while_more_might_be_done():
    open_end = Quality(left_weight=3, left_bound=2, cost_s=100.0, cost_bound_s=90.0, method="search")
    assert not open_end.most_proven
    assert open_end.within_share is None
    closed = replace(open_end, left_bound=3)
    assert closed.within_share == pytest.approx(1.0 / 9.0)
    assert not closed.proven
    assert replace(closed, cost_bound_s=100.0).proven


def session_with_twins():
    frame = FrameKind("frame", 1)
    return Session(FROM_S, FROM_S + HOUR_S, (), (frame, frame))


@pytest.mark.parametrize(
    ("field", "make"),
    [
        ("work.load_s", lambda: Work(load_s=1.0)),
        ("work.tray_holds", lambda: Work(tray_holds=0)),
        ("frames.count", lambda: FrameKind("frame", 0)),
        ("priority", lambda: Sheet("a", "a", (), priority=10)),
        ("sheets", lambda: session(count=61)),
        ("frames", session_with_twins),
        ("breaks", lambda: session(breaks=((FROM_S, FROM_S),))),
        ("end", lambda: session(until_s=FROM_S - 1.0)),
        ("end", lambda: session(until_s=math.inf)),
    ],
)
def test_what_cannot_be_a_session_is_refused_by_name(field, make):
    with pytest.raises(OutOfDomain) as refused:
        make()
    assert refused.value.field == field


def test_an_empty_session_is_a_plan():
    plan = plan_session(session(count=0), LITTLE)
    assert plan.placed == ()
    assert plan.quality.proven
