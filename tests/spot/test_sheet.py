import math

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.spot.sheet import Frame, corners, normal, sample_points, sample_weights
from noonframe.spot.window import Window

WINDOW = Window(135.0, 1.2, 0.1, 1.4, 0.2)
GOOD = {"distance_m": 0.8, "offset_m": 0.1, "width_m": 0.3, "height_m": 0.4}


def test_flat_sheet_runs_along_the_wall_and_away_from_it():
    places = corners(Frame(**GOOD), WINDOW)
    expected = [[-0.05, 0.6, 0], [0.25, 0.6, 0], [0.25, 1.0, 0], [-0.05, 1.0, 0]]
    assert places == pytest.approx(np.array(expected))
    assert normal(Frame(**GOOD), WINDOW) == pytest.approx([0, 0, 1])


def test_flat_sheet_has_no_aim():
    aimed = Frame(**GOOD, aim_azimuth_deg=10.0)
    assert corners(aimed, WINDOW) == pytest.approx(corners(Frame(**GOOD), WINDOW))


def test_points_are_cell_centres_in_reading_order_from_the_wall():
    points = sample_points(Frame(**GOOD), WINDOW, grid=(3, 2))
    assert points[:, 0] == pytest.approx([0.0, 0.1, 0.2] * 2)
    assert points[:, 1] == pytest.approx([0.7] * 3 + [0.9] * 3)
    assert sample_weights((3, 2)) == pytest.approx([1 / 6] * 6)


def test_one_cell_is_the_centre():
    assert sample_points(Frame(**GOOD), WINDOW, (1, 1)) == pytest.approx(np.array([[0.1, 0.8, 0.0]]))


def test_easel_stands_on_its_lower_edge_and_leans_towards_its_aim():
    frame = Frame(**GOOD, tilt_deg=60.0)
    places = corners(frame, WINDOW)
    rise = 0.4 * math.sin(math.radians(60.0))
    assert places[:, 2] == pytest.approx([0.0, 0.0, rise, rise])
    assert places[0, 1] < places[2, 1]  # the lower edge is nearer the window it leans towards
    assert places.mean(axis=0)[:2] == pytest.approx([0.1, 0.8])
    assert normal(frame, WINDOW) == pytest.approx([0, -math.sqrt(0.75), 0.5])


@pytest.mark.parametrize("tilt_deg", [0.0, 15.0, 50.0, 90.0])
@pytest.mark.parametrize("aim_deg", [0.0, 60.0, 135.0, 200.0, 315.0])
def test_sides_keep_their_length_and_stand_square_on_the_normal(tilt_deg, aim_deg):
    frame = Frame(1.5, -0.2, 0.3, 0.4, tilt_deg, aim_deg)
    places, up = corners(frame, WINDOW), normal(frame, WINDOW)
    width, height = places[1] - places[0], places[3] - places[0]
    assert np.linalg.norm(width) == pytest.approx(0.3)
    assert np.linalg.norm(height) == pytest.approx(0.4)
    assert width @ height == pytest.approx(0.0, abs=1e-12)
    assert [width @ up, height @ up] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert np.linalg.norm(up) == pytest.approx(1.0)
    assert sample_points(frame, WINDOW).mean(axis=0) == pytest.approx(places.mean(axis=0))


def test_normal_points_to_the_aim_in_local_coordinates():
    frame = Frame(1.5, 0.0, 0.3, 0.4, 90.0, 200.0)
    aim = math.radians(200.0)
    assert WINDOW.to_local(normal(frame, WINDOW)) == pytest.approx(
        [math.sin(aim), math.cos(aim), 0], abs=1e-12
    )


def test_a_slight_tilt_towards_the_window_is_nearly_flat():
    flat, leaning = Frame(**GOOD), Frame(**GOOD, tilt_deg=1e-6)
    assert corners(leaning, WINDOW) == pytest.approx(corners(flat, WINDOW), abs=1e-7)


def test_frame_in_the_wall_is_refused_with_the_least_distance():
    with pytest.raises(OutOfDomain, match=r"at least 0\.2") as caught:
        sample_points(Frame(0.19, 0.0, 0.3, 0.4), WINDOW)
    assert caught.value.field == "frame.distance_m"
    assert corners(Frame(0.2, 0.0, 0.3, 0.4), WINDOW)[0, 1] == pytest.approx(0.0, abs=1e-12)


def test_turned_easel_can_reach_the_wall_with_one_corner():
    # Upright and turned 90 degrees its width points at the wall: half of it must fit.
    with pytest.raises(OutOfDomain, match=r"frame\.distance_m"):
        corners(Frame(0.1, 0.0, 0.3, 0.4, 90.0, 225.0), WINDOW)


def test_upright_sheet_may_touch_the_wall():
    points = sample_points(Frame(0.0, 0.0, 0.3, 0.4, 90.0), WINDOW)
    assert (points[:, 1] == 0.0).all()


def test_without_a_window_there_is_no_wall():
    frame = Frame(0.0, 0.0, 0.3, 0.4, 30.0, 250.0)
    assert sample_points(frame, None)[:, 1].min() < 0.0
    assert normal(frame, None) == pytest.approx([0, -0.5, math.sqrt(0.75)])


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("distance_m", -0.1),
        ("distance_m", math.nan),
        ("offset_m", math.nan),
        ("offset_m", math.inf),
        ("width_m", 0.0),
        ("width_m", math.nan),
        ("height_m", -0.4),
        ("height_m", math.inf),
        ("tilt_deg", -1.0),
        ("tilt_deg", 90.1),
        ("tilt_deg", math.nan),
        ("aim_azimuth_deg", 360.1),
        ("aim_azimuth_deg", math.nan),
    ],
)
def test_wrong_value_is_named(field, value):
    with pytest.raises(OutOfDomain) as caught:
        Frame(**{**GOOD, field: value})
    assert caught.value.field == f"frame.{field}"


@pytest.mark.parametrize("grid", [(0, 5), (5, 0), (-1, 1)])
def test_empty_grid_is_refused(grid):
    with pytest.raises(OutOfDomain, match="grid"):
        sample_points(Frame(**GOOD), WINDOW, grid)
    with pytest.raises(OutOfDomain, match="grid"):
        sample_weights(grid)
