"""Places on a table."""

import pytest

from noonframe.errors import OutOfDomain
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.sheet import Frame, corners
from noonframe.spot.table import Table, default_table, places_on
from noonframe.spot.window import Window

SPOT = WindowSpot(Window(135.0, 1.2, 0.1, 1.5, 0.2), Frame(0.6, 0.0, 0.3, 0.4))


def test_the_given_place_comes_first_and_no_place_twice():
    places = places_on(default_table(SPOT), SPOT, 60)
    assert places[0] == SPOT
    assert len(set(places)) == len(places) <= 60
    assert len(places) > 40


def test_every_place_stands_clear_of_the_wall_and_on_the_table():
    table = Table(0.2, 1.0, -0.4, 0.5)
    for place in places_on(table, SPOT, 30)[1:]:
        assert corners(place.frame, place.window)[:, 1].min() >= -1e-9
        assert 0.2 <= place.frame.distance_m <= 1.0
        assert -0.4 <= place.frame.offset_m <= 0.5


def test_places_too_near_the_wall_for_the_frame_are_left_out():
    places = places_on(Table(0.0, 1.0, 0.0, 0.0), SPOT, 12)
    assert min(place.frame.distance_m for place in places) >= 0.2


def test_a_table_of_one_line_is_a_row_of_places():
    places = places_on(Table(0.5, 0.5, -0.5, 0.5), SPOT, 9)
    assert {place.frame.distance_m for place in places[1:]} == {0.5}
    assert len(places) == 9


@pytest.mark.parametrize(
    ("table", "field"),
    [
        ((-0.1, 1.0, 0.0, 0.0), "table.nearest_m"),
        ((1.0, 0.5, 0.0, 0.0), "table.farthest_m"),
        ((0.5, 1.0, 1.0, 0.0), "table.rightmost_m"),
        ((0.5, float("nan"), 0.0, 0.0), "table.farthest_m"),
        ((0.5, 1.0, -1e9, 0.0), "table.leftmost_m"),
    ],
)
def test_a_table_that_cannot_be_is_refused_by_name(table, field):
    with pytest.raises(OutOfDomain) as caught:
        Table(*table)
    assert caught.value.field == field


@pytest.mark.parametrize("most", [0, 201])
def test_the_number_of_places_is_bounded(most):
    with pytest.raises(OutOfDomain, match="most_places"):
        places_on(default_table(SPOT), SPOT, most)
