"""A session's plan as calendar entries: what is shown, reminded of and cancelled."""

import copy
import datetime as dt
from typing import get_args

import icalendar
import pytest
from ical.calendar_stream import IcsCalendarStream

from noonframe.api.calendar_entries import CalendarSheet, Status
from noonframe.api.calendar_examples import PLAN
from noonframe.api.calendar_ics import write_ics
from noonframe.api.calendar_session import SHOWN, PlanStep, SessionPlan, read_plan, session_entries
from noonframe.api.session_answers import SessionPlanAnswer, SessionStep, StepKind
from noonframe.errors import Malformed

REVISED_S = dt.datetime(2026, 6, 20, 20, 0, tzinfo=dt.UTC).timestamp()


def step(number, kind, start, end, **more):
    sheet = None if kind == "break" else f"kelp {number}"
    return {
        "id": f"break:{number}" if sheet is None else f"kelp-{number}:{kind}",
        "kind": kind,
        "sheet_id": None if sheet is None else f"kelp-{number}",
        "sheet": sheet,
        "frame": "frame 1" if kind in ("load", "expose", "move", "unload") else None,
        "spot": "yard" if kind in ("load", "expose", "move", "unload") else None,
        "start": f"2026-06-21T{start}+01:00",
        "end": f"2026-06-21T{end}+01:00",
        "hands": kind in ("load", "move", "unload", "wash"),
        "state": "planned",
        "chance": 0.87 if kind == "expose" else None,
        "says": f"{kind.capitalize()} {sheet}.",
        **more,
    }


DAY = {
    **PLAN,
    "steps": [
        step(1, "load", "12:00:00", "12:03:00"),
        step(1, "expose", "12:03:00", "12:43:00"),
        step(1, "move", "12:20:00", "12:21:00"),
        step(1, "unload", "12:43:00", "12:45:00"),
        step(1, "wash", "12:45:00", "12:50:00"),
        step(1, "soak", "12:50:00", "13:20:00"),
        step(1, "break", "13:00:00", "13:30:00"),
    ],
}


def entries(plan, **how):
    return session_entries("day", read_plan(plan), revised_s=REVISED_S, **how)


def by_kind(plan, **how):
    return {entry.identity.rpartition(":")[2]: entry for entry in entries(plan, **how)}


def changed(number, **changes):
    plan = copy.deepcopy(DAY)
    plan["steps"][number].update(changes)
    return plan


def test_exposures_moves_washing_and_breaks_are_shown_and_only_hands_are_busy():
    found = entries(DAY)
    assert [entry.title for entry in found] == [
        "kelp 1: in the light, frame 1",
        "kelp 1: move frame 1",
        "kelp 1: wash",
        "Break",
    ]
    assert [entry.busy for entry in found] == [False, True, True, False]
    assert {entry.status for entry in found} == {Status.TENTATIVE}
    exposure = found[0]
    assert exposure.where == "yard, Quayside yard, Porto"
    assert "In 87 of 100 skies the dose is there by then." in exposure.text
    assert "Never look at the sun" in exposure.text


def test_it_reminds_at_the_loading_at_the_end_of_an_exposure_and_at_a_move():
    ics = write_ics(CalendarSheet("c", "Kelp day", "", REVISED_S, entries(DAY)))
    at = {}
    for event in icalendar.Calendar.from_ical(ics).events:
        for alarm in event.walk("VALARM"):
            base = event.end if alarm["trigger"].params.get("RELATED") == "END" else event.start
            at[str(alarm["description"])] = (base + alarm["trigger"].dt).strftime("%H:%M")
    assert at == {  # the plan's times, an hour less in UTC
        "Load kelp 1.": "11:00",
        "Take in kelp 1, frame 1.": "11:43",
        "Move kelp 1.": "11:20",
        "Wash kelp 1.": "11:45",
    }
    assert len(IcsCalendarStream.calendar_from_ics(ics.decode()).events) == 4


def test_what_is_read_of_a_plan_is_what_the_planner_tells():
    assert PlanStep.model_fields.keys() <= SessionStep.model_fields.keys()
    assert SessionPlan.model_fields.keys() <= SessionPlanAnswer.model_fields.keys()
    assert {*SHOWN, "load"} <= set(get_args(StepKind))


def test_what_runs_is_confirmed_and_what_is_done_reminds_no_more():
    running = by_kind(changed(1, state="running"))["expose"]
    assert running.status is Status.CONFIRMED
    assert [alarm.from_end for alarm in running.alarms] == [True]
    done = by_kind(changed(1, state="done"))["expose"]
    assert (done.status, done.alarms) == (Status.CONFIRMED, ())


def test_a_step_keeps_its_identity_when_it_is_planned_for_another_time():
    later = changed(1, start="2026-06-21T12:33:00+01:00", end="2026-06-21T13:13:00+01:00")
    before, after = by_kind(DAY)["expose"], by_kind(later)["expose"]
    assert before.uid == after.uid
    assert after.start_s - before.start_s == 1800.0
    other = session_entries("another day", read_plan(DAY), revised_s=REVISED_S)[0]
    assert other.uid != before.uid


def test_what_is_no_longer_planned_is_cancelled_once():
    shorter = {**DAY, "steps": [one for one in DAY["steps"] if one["kind"] != "move"]}
    older = read_plan(DAY)
    found = by_kind(shorter, before=[older, older])
    assert found["move"].status is Status.CANCELLED
    assert found["move"].text.startswith("No longer planned.")
    assert (found["move"].busy, found["move"].alarms) == (False, ())
    assert found["expose"].status is Status.TENTATIVE
    assert len(entries(shorter, before=[older, older])) == 4


def test_a_session_called_off_cancels_all_but_what_is_done():
    found = by_kind(changed(1, state="done"), called_off=True)
    assert found["expose"].status is Status.CONFIRMED
    assert found["wash"].status is Status.CANCELLED


@pytest.mark.parametrize(
    "plan",
    [
        {},
        {"steps": [{"id": "x"}]},
        changed(1, start="2026-06-21T12:03:00"),
        changed(1, end="2026-06-21T11:00:00+01:00"),
        changed(1, state="perhaps"),
    ],
)
def test_a_plan_that_is_none_is_refused(plan):
    with pytest.raises(Malformed) as problem:
        read_plan(plan)
    assert problem.value.field == "session"
