"""Sessions: what was asked, the plan and what happened, in all versions and by date."""

import uuid
from dataclasses import replace

import pytest
from shelf_records import DAY_S, NINE_S, SESSION

from noonframe.errors import Malformed, OutOfDomain
from noonframe.store import sessions
from noonframe.store.documents import LONGEST_DOCUMENT
from noonframe.store.sessions import SESSIONS


def create(store, fields=SESSION, **given):
    with store.write() as db:
        return SESSIONS.create(db, uuid.uuid4(), replace(fields, **given), now_s=NINE_S)


def week(store):
    """Seven sessions of five hours, a day apart, saved in another order than they begin."""
    return {
        day: create(
            store,
            name=f"day {day}",
            starts_s=NINE_S + day * DAY_S,
            ends_s=NINE_S + day * DAY_S + 5 * 3600.0,
        )
        for day in (3, 0, 6, 1, 5, 2, 4)
    }


def found(store, **how):
    with store.read() as db:
        return [saved.fields.name for saved in sessions.search(db, **how)]


def test_every_version_comes_back_as_it_was_given(store):
    first = create(store)
    told = replace(SESSION, happened=(*SESSION.happened, {"kind": "cloud", "note": "ü\0"}))
    later = replace(told, starts_s=NINE_S + 60.0, plan={})
    with store.write() as db:
        second = SESSIONS.change(db, first.id, told, version=1, now_s=NINE_S + 1.0)
        third = SESSIONS.change(db, first.id, later, version=2, now_s=NINE_S + 2.0)
    with store.read() as db:
        assert SESSIONS.history(db, first.id) == (first, second, third)
    assert (first.fields, second.fields, third.fields) == (SESSION, told, later)


def test_sessions_are_found_by_their_time_the_latest_first(store):
    week(store)
    assert found(store) == [f"day {day}" for day in (6, 5, 4, 3, 2, 1, 0)]
    assert found(store, from_s=NINE_S + 2 * DAY_S, to_s=NINE_S + 4 * DAY_S) == ["day 3", "day 2"]


@pytest.mark.parametrize(
    ("from_s", "to_s", "names"),
    [
        (NINE_S + 5 * 3600.0, NINE_S + DAY_S, ["day 0"]),  # still on at its last moment; ends before the next
        (NINE_S + 5 * 3600.0 + 0.01, NINE_S + DAY_S, []),
        (NINE_S + 3600.0, NINE_S + 7200.0, ["day 0"]),  # in the middle of it
        (NINE_S - DAY_S, NINE_S, []),
        (NINE_S + 30 * DAY_S, None, []),
    ],
)
def test_a_session_counts_in_a_span_from_its_start_to_its_end(store, from_s, to_s, names):
    week(store)
    assert found(store, from_s=from_s, to_s=to_s) == names


def test_pages_follow_one_another_without_gap_or_repetition_also_among_equal_starts(store):
    for number in range(5):
        create(store, name=f"at once {number}")
    seen, before = [], None
    with store.read() as db:
        while page := sessions.search(db, before=before, limit=2):
            seen += [saved.id for saved in page]
            before = page[-1]
        assert sorted(seen) == sorted(saved.id for saved in SESSIONS.newest(db))
    assert len(set(seen)) == 5


def test_a_moved_session_is_found_where_it_is_now(store):
    saved = create(store)
    moved = replace(SESSION, starts_s=NINE_S + DAY_S, ends_s=NINE_S + DAY_S)
    with store.write() as db:
        SESSIONS.change(db, saved.id, moved, version=1, now_s=NINE_S)
    assert found(store, to_s=NINE_S + DAY_S) == []
    assert found(store, from_s=NINE_S + DAY_S) == [SESSION.name]


def test_retired_sessions_are_found_when_asked_for(store):
    saved = create(store)
    with store.write() as db:
        SESSIONS.retire(db, saved.id, version=1, now_s=NINE_S)
    assert found(store) == []
    assert found(store, retired=True) == found(store, retired=None) == [SESSION.name]


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"ends_s": NINE_S - 0.5}, "ends_s"),
        ({"starts_s": float("nan")}, "starts_s"),
        ({"ends_s": float("inf")}, "ends_s"),
        ({"starts_s": -1e12}, "starts_s"),
        ({"name": " "}, "name"),
        ({"asked": {"a": float("nan")}}, "asked"),
        ({"asked": {"a": "x" * LONGEST_DOCUMENT}}, "asked"),
        ({"plan": {"a": object()}}, "plan"),
        ({"plan": {"a": "x" * LONGEST_DOCUMENT}}, "plan"),
        ({"happened": ({}, 3)}, "happened[1]"),
        ({"happened": ({}, {}, {"a": float("inf")})}, "happened[2]"),
        ({"happened": ({"a": "x" * (LONGEST_DOCUMENT // 2)},) * 2}, "happened"),
    ],
)
def test_what_cannot_be_a_session_is_refused_by_its_field(given, field):
    with pytest.raises((Malformed, OutOfDomain)) as caught:
        replace(SESSION, **given)
    assert caught.value.field == field


@pytest.mark.parametrize("bounds", [{"from_s": float("nan")}, {"to_s": 1e12}])
def test_a_span_that_no_calendar_has_is_refused(store, bounds):
    with pytest.raises(OutOfDomain, match=next(iter(bounds))):
        found(store, **bounds)
