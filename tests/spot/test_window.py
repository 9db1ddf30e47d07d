import math

import numpy as np
import pytest

from noonframe.errors import Malformed, OutOfDomain
from noonframe.spot.window import Window, checked_points

GOOD = {"outward_azimuth_deg": 135.0, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.4}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("outward_azimuth_deg", math.nan),
        ("outward_azimuth_deg", -1.0),
        ("outward_azimuth_deg", 361.0),
        ("width_m", 0.0),
        ("width_m", -1.0),
        ("width_m", math.nan),
        ("width_m", math.inf),
        ("sill_m", 1.4),
        ("sill_m", 2.0),
        ("sill_m", math.nan),
        ("head_m", 0.0),
        ("head_m", -0.2),
        ("head_m", math.nan),
        ("reveal_depth_m", -0.1),
        ("reveal_depth_m", math.nan),
        ("overhang_depth_m", -0.1),
        ("overhang_depth_m", math.inf),
    ],
)
def test_wrong_value_is_named(field, value):
    with pytest.raises(OutOfDomain) as caught:
        Window(**{**GOOD, field: value})
    assert caught.value.field == f"window.{field}"


def test_window_below_the_table_says_so():
    with pytest.raises(OutOfDomain, match="below the work surface") as caught:
        Window(90.0, 1.0, -1.0, -0.2)
    assert caught.value.field == "window.head_m"


def test_pane_needs_an_id():
    with pytest.raises(Malformed, match=r"window\.pane"):
        Window(**GOOD, pane="")


def test_sill_below_the_work_surface_is_allowed():
    assert Window(90.0, 1.0, -0.3, 0.5).sill_m == -0.3


@pytest.mark.parametrize(
    ("outward_deg", "right_hand"),
    [(0.0, [1, 0, 0]), (90.0, [0, -1, 0]), (180.0, [-1, 0, 0]), (270.0, [0, 1, 0]), (360.0, [1, 0, 0])],
)
def test_right_of_someone_looking_out(outward_deg, right_hand):
    # Looking north the right hand is east; looking east it is south.
    assert Window(outward_deg, 1.0, 0.0, 1.0).axes()[0] == pytest.approx(right_hand, abs=1e-12)


def test_outward_is_minus_v():
    local = Window(135.0, 1.0, 0.0, 1.0).to_local(np.array([0.0, -1.0, 0.0]))
    assert local == pytest.approx([math.sqrt(0.5), -math.sqrt(0.5), 0.0])


def test_coordinates_go_there_and_back():
    vectors = np.random.default_rng(3).normal(size=(20, 3))
    window = Window(211.0, 1.0, 0.0, 1.0)
    assert window.to_local(window.from_local(vectors)) == pytest.approx(vectors, abs=1e-14)
    assert window.from_local(vectors[4]) == pytest.approx(window.from_local(vectors)[4], abs=1e-15)


@pytest.mark.parametrize(
    "point", [[0.0, -0.1, 0.0], [0.0, 0.5, -0.1], [math.nan, 0.5, 0.0], [0.0, math.inf, 0.0]]
)
def test_point_outside_the_room_is_refused(point):
    with pytest.raises(OutOfDomain, match="points"):
        checked_points(np.array([[0.0, 1.0, 0.0], point]))


def test_points_of_wrong_shape_are_refused():
    with pytest.raises(Malformed, match="points"):
        checked_points(np.zeros(3))
