"""Courses of cloud, kept and carried on."""

import json
from dataclasses import replace

import numpy as np
import pytest

from noonframe.api.course_record import carried_on, course_from, course_record, same_course
from noonframe.sky.evidence import CloudCourse

TOLD, UNTOLD = "layered cloud", "beyond the forecast"
NOT_KNOWN = frozenset({UNTOLD})


def course(first, *pieces, told=True, members=()):
    """Pieces of a hundred seconds from `first`: (cover, depth), told or not."""
    cover, depth = np.array(pieces, dtype=np.float64).T
    return CloudCourse(
        edges_s=first + 100.0 * np.arange(len(pieces) + 1),
        cover=cover,
        optical_depth=depth,
        spread_stops=0.1 + cover / 3.0,
        evidence=np.array([TOLD if told else UNTOLD] * len(pieces)),
        known_until_s=first + 100.0 * len(pieces),
        members=members,
        notes=("by hand",),
    )


def at(made, *times):
    return made.cover[made.piece_of(np.array(times, dtype=np.float64))].tolist()


def test_a_record_gives_the_same_course_back_to_the_last_digit():
    made = course(1782043200.1, (1 / 3, 10 / 7), (0.0, 0.0), (0.1 + 0.2, 7e-5))
    read = course_from(json.loads(json.dumps(course_record(made, made.from_s, made.to_s))))
    assert same_course(read, made)
    assert (read.known_until_s, read.notes) == (made.known_until_s, made.notes)


def test_a_record_holds_the_pieces_that_touch_its_span():
    made = course(0.0, *[(share / 10, 5.0) for share in range(1, 8)])
    read = course_from(course_record(made, 250.0, 430.0))
    assert (read.from_s, read.to_s) == (200.0, 500.0)
    assert at(read, 250, 350, 430) == at(made, 250, 350, 430)
    whole = course_from(course_record(made, -1e9, 1e9))
    assert same_course(whole, made)


def test_a_newer_course_that_knows_everything_is_taken_as_it_is():
    kept, newer = course(0.0, (0.1, 5.0), (0.2, 5.0)), course(0.0, (0.5, 5.0), (0.6, 5.0), (0.7, 5.0))
    assert carried_on(kept, newer, 1e9, NOT_KNOWN) is newer


def test_what_a_newer_course_does_not_know_of_the_past_is_as_it_was_kept():
    kept, newer = course(0.0, *[(0.1, 5.0)] * 6), course(0.0, *[(0.6, 9.0)] * 8, told=False)
    made = carried_on(kept, newer, 300.0, NOT_KNOWN)
    assert at(made, 50, 250, 350, 750) == [0.1, 0.1, 0.6, 0.6]
    assert made.evidence[0] == TOLD
    assert made.optical_depth[0] == 5.0
    assert made.spread_stops[0] == kept.spread_stops[0]


def test_a_course_that_begins_later_is_begun_by_the_one_kept():
    kept, newer = course(0.0, (0.1, 5.0), (0.2, 5.0)), course(500.0, (0.7, 5.0), (0.8, 5.0))
    made = carried_on(kept, newer, 600.0, NOT_KNOWN)
    assert (made.from_s, made.to_s) == (0.0, 700.0)
    assert at(made, 50, 150, 300, 550, 650) == [0.1, 0.2, 0.7, 0.7, 0.8]


def test_what_is_not_over_yet_is_left_to_the_newer_course():
    kept, newer = course(0.0, *[(0.1, 5.0)] * 4), course(0.0, *[(0.6, 9.0)] * 4, told=False)
    assert at(carried_on(kept, newer, 150.0, NOT_KNOWN), 50, 150, 250) == [0.1, 0.6, 0.6]
    assert carried_on(kept, newer, 50.0, NOT_KNOWN) is newer


def test_the_members_of_an_ensemble_share_what_was_kept():
    members = (course(0.0, (0.5, 5.0), (0.4, 5.0)), course(0.0, (0.7, 5.0), (0.3, 5.0)))
    newer = replace(course(0.0, (0.6, 5.0), (0.6, 5.0), told=False), members=members)
    made = carried_on(course(0.0, (0.1, 5.0)), newer, 100.0, NOT_KNOWN)
    assert [at(member, 50, 150) for member in made.members] == [[0.1, 0.4], [0.1, 0.3]]
    assert all(np.array_equal(member.edges_s, made.edges_s) for member in made.members)


@pytest.mark.parametrize("name", ["edges_s", "cover", "optical_depth", "spread_stops", "evidence", "members"])
def test_courses_that_differ_anywhere_are_not_the_same(name):
    one = course(0.0, (0.5, 5.0), (0.4, 5.0), members=(course(0.0, (0.5, 5.0), (0.4, 5.0)),))
    assert same_course(one, course(0.0, (0.5, 5.0), (0.4, 5.0), members=one.members))
    other = {"members": (), "evidence": np.array([TOLD, UNTOLD])}.get(name)
    if other is None:
        other = getattr(one, name) + np.array([0.0, 0.01, 0.0])[: getattr(one, name).size]
    assert not same_course(one, replace(one, **{name: other}))
    assert not same_course(one, None)
    assert same_course(None, None)
