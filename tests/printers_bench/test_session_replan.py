"""What has happened to the sheets of a session, told in any order, and what is under way."""

import numpy as np
import pytest

from noonframe.bench.session import Running, Washing, Work
from noonframe.bench.session_replan import Event, State, end_of_running, follow, in_turn
from noonframe.dose.course import Course
from noonframe.errors import OutOfDomain, UnknownName

NOW_S = 10_000.0
SHEETS = ["a", "b", "c"]
USUAL = {"a": ("frame 1", "yard"), "b": ("frame 1", "yard")}
FRAMES = ["frame 1", "frame 2"]
EVEN = Course.of(np.arange(0.0, 20_001.0, 100.0), np.full(201, 2.0))


def event(kind, at_s, sheet_id="a", **more):
    return Event(kind, at_s, sheet_id, "events.0", **more)


def states(*events):
    return follow(SHEETS, events, NOW_S, USUAL, FRAMES)


def test_a_sheet_goes_from_waiting_to_done_in_order_of_time():
    found = states(event("ended", 9000.0), event("started", 8000.0))["a"]
    assert found.state is State.DONE
    assert (found.start_s, found.end_s, found.frame, found.spot) == (8000.0, 9000.0, "frame 1", "yard")
    assert states()["b"].state is State.WAITING


def test_a_frame_that_is_taken_gives_way_to_a_free_one():
    found = states(event("started", 8000.0), event("started", 8100.0, "b"))
    assert found["a"].frame == "frame 1"
    assert found["b"].frame == "frame 2"


@pytest.mark.parametrize(
    ("events", "field"),
    [
        ([event("started", 8000.0), event("started", 8100.0)], "events.0.kind"),
        ([event("ended", 8000.0)], "events.0.kind"),
        ([event("dose", 8000.0, dose_j_m2=5.0)], "events.0.kind"),
        ([event("started", NOW_S + 1.0)], "events.0.at"),
        ([event("started", 8000.0), event("started", 8100.0, "b", frame="frame 1")], "events.0.frame"),
        (
            [event("started", 8000.0), event("started", 8100.0, "b"), event("started", 8200.0, "c")],
            "events.0.sheet_id",
        ),
        ([event("started", 8000.0), event("ended", 9000.0), event("dropped", 9100.0)], "events.0.sheet_id"),
    ],
)
def test_what_cannot_have_happened_is_refused(events, field):
    with pytest.raises(OutOfDomain) as refused:
        states(*events)
    assert refused.value.field == field


@pytest.mark.parametrize("wrong", [event("started", 1.0, "nobody"), event("started", 1.0, frame="frame 9")])
def test_unknown_names_are_refused(wrong):
    with pytest.raises(UnknownName):
        states(wrong)


def test_a_sheet_dropped_in_the_light_ends_there():
    found = states(event("started", 8000.0), event("dropped", 8500.0))["a"]
    assert (found.state, found.end_s) == (State.DROPPED, 8500.0)


def test_the_end_of_a_running_exposure_counts_from_its_start_or_from_a_dose_told():
    assert end_of_running(EVEN, 1000.0, 4000.0) == pytest.approx(3000.0)
    assert end_of_running(EVEN, 1000.0, 4000.0, (2000.0, 1000.0)) == pytest.approx(3500.0)
    assert end_of_running(EVEN, 1000.0, 4000.0, (2000.0, 5000.0)) == 2000.0
    assert end_of_running(EVEN, 1000.0, 1e6) is None


def test_ends_that_come_too_close_are_taken_in_turn_and_none_in_the_past():
    work = Work(carry_s=60.0, unload_s=60.0, wash_s=60.0)
    first, second = Running("a", "frame 1", "yard", 10_050.0), Running("b", "frame 2", "yard", 10_100.0)
    late = Running("c", "frame 3", "yard", 9_000.0)
    turned = in_turn((second, first, late), (), work, NOW_S)
    assert [each.sheet_id for each in turned] == ["c", "a", "b"]
    assert [each.end_s for each in turned] == [10_000.0, 10_180.0, 10_360.0]
    wet = Washing("d", "frame 1", 9_950.0)
    assert in_turn((first,), (wet,), work, NOW_S)[0].end_s == 9_950.0 + work.after_s
