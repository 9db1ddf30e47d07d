import math

import numpy as np
import pytest
import shapely

from noonframe.errors import Malformed, OutOfDomain
from noonframe.spot.patch import beam_share, beam_share_sampled, lit, patch_polygon
from noonframe.spot.sheet import Frame, corners, normal, sample_points
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window

SOUTH_EAST = Window(135.0, 1.2, 0.1, 1.4)
FAR_M = 1e4  # stands for a slab much wider than the opening


def sun(azimuth_deg, elevation_deg):
    azimuth, elevation = np.broadcast_arrays(np.radians(azimuth_deg), np.radians(elevation_deg))
    level = np.cos(elevation)
    return np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)


def random_case(seed):
    """A window, a frame and a sun, with every feature present in some of the cases."""
    rng = np.random.default_rng(seed)
    outward = rng.uniform(0, 360)
    sill = rng.uniform(-0.3, 0.5)
    window = Window(
        outward,
        rng.uniform(0.4, 2.0),
        sill,
        max(sill, 0.0) + rng.uniform(0.5, 1.5),
        rng.choice([0.0, rng.uniform(0.0, 0.4)]),
        rng.choice([0.0, rng.uniform(0.0, 0.5)]),
    )
    tilt = rng.choice([0.0, rng.uniform(0.0, 90.0)])
    aim = (outward + rng.uniform(-60, 60)) % 360
    size = rng.uniform(0.1, 0.5)
    frame = Frame(rng.uniform(0.8, 2.0), rng.uniform(-0.6, 0.6), size, 1.2 * size, tilt, aim)
    return window, frame, sun([outward + rng.uniform(-60, 60)], [rng.uniform(5, 60)])


def ray_is_free(point, local_sun, window):
    """Independent path: walk a ray through solid walls; axes right, out, up from the inner face."""
    right, out, up = local_sun
    x, y, z = point[0], -point[1], point[2]
    if out <= 0 or up <= 0:
        return False
    for face in (0.0, window.reveal_depth_m):
        t = (face - y) / out
        if abs(x + t * right) > window.width_m / 2 or not window.sill_m <= z + t * up <= window.head_m:
            return False
    if window.overhang_depth_m:
        t = (window.head_m - z) / up  # where the ray meets the level of the slab
        if window.reveal_depth_m <= y + t * out <= window.reveal_depth_m + window.overhang_depth_m:
            return False
    return True


def right_out_up(vector, outward_deg):
    azimuth = math.atan2(vector[0], vector[1]) - math.radians(outward_deg)
    level = math.hypot(vector[0], vector[1])
    return level * math.sin(azimuth), level * math.cos(azimuth), vector[2]


def shadow_on_sheet(outline, local_sun, origin, axis_s, axis_t):
    """Polygon `outline` (right, out, up) thrown along the sun's rays on the plane of the sheet."""
    d = np.array(local_sun)
    flat = []
    for place in np.asarray(outline, dtype=float):
        s, t, _ = np.linalg.solve(np.stack([axis_s, axis_t, d], axis=1), place - origin)
        flat.append((s, t))
    return shapely.Polygon(flat)


def share_by_polygons(window, frame, vector):
    """Independent path: shapely's intersection of the thrown shadows, whatever the frame's tilt."""
    local = right_out_up(vector, window.outward_azimuth_deg)
    mirror = np.array([1.0, -1.0, 1.0])
    places, up = corners(frame, window) * mirror, normal(frame, window) * mirror
    if local[1] <= 0 or local[2] <= 0 or np.dot(up, local) <= 0:
        return 0.0
    origin, axis_s, axis_t = places[0], places[1] - places[0], places[3] - places[0]
    half, r, o = window.width_m / 2, window.reveal_depth_m, window.overhang_depth_m
    lit_part = shapely.box(0, 0, 1, 1)
    for face in (0.0, r):
        rect = [(-half, face, window.sill_m), (half, face, window.sill_m)]
        rect += [(half, face, window.head_m), (-half, face, window.head_m)]
        lit_part = lit_part & shadow_on_sheet(rect, local, origin, axis_s, axis_t)
    if o:
        h = window.head_m
        slab = [(-FAR_M, r, h), (FAR_M, r, h), (FAR_M, r + o, h), (-FAR_M, r + o, h)]
        lit_part = lit_part - shadow_on_sheet(slab, local, origin, axis_s, axis_t)
    return lit_part.area


@pytest.mark.reference
@pytest.mark.parametrize("seed", range(300))
def test_share_agrees_with_polygon_library(seed):
    window, frame, vector = random_case(seed)
    expected = share_by_polygons(window, frame, vector[0])
    assert beam_share(frame, vector, window)[0] == pytest.approx(expected, abs=1e-7)


def test_random_cases_do_not_all_say_the_same():
    shares = [beam_share(f, s, w)[0] for w, f, s in map(random_case, range(300))]
    assert sum(x == 0.0 for x in shares) > 20
    assert sum(x > 1 - 1e-9 for x in shares) > 20
    assert sum(0.02 < x < 0.98 for x in shares) > 40


@pytest.mark.parametrize("seed", range(40))
def test_lit_agrees_with_walking_each_ray(seed):
    window, frame, vector = random_case(seed)
    points = sample_points(frame, window, (9, 9))
    local = right_out_up(vector[0], window.outward_azimuth_deg)
    expected = [ray_is_free(point, local, window) for point in points]
    assert lit(points, vector, window)[0].tolist() == expected


@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_share_is_the_limit_of_a_fine_grid(seed):
    window, frame, vector = random_case(seed)
    exact = beam_share(frame, vector, window)[0]
    # A straight edge misjudges at most the cells it crosses: about two rows of 200.
    assert beam_share_sampled(frame, vector, window, (200, 200))[0] == pytest.approx(exact, abs=0.02)


def test_patch_of_a_bare_opening_straight_ahead():
    # Sun square on at 45 degrees: the opening falls on the table as wide and as deep as it is.
    polygon = patch_polygon(sun(135.0, 45.0), SOUTH_EAST)
    expected = [[-0.6, 0.1], [0.6, 0.1], [0.6, 1.4], [-0.6, 1.4]]
    assert polygon == pytest.approx(np.array(expected))


def test_sun_to_the_right_throws_the_patch_to_the_left():
    # Looking out south-east, the right hand is south-west, so a southern sun stands to the right.
    polygon = patch_polygon(sun(180.0, 45.0), SOUTH_EAST)
    assert polygon[:, 0].mean() < -0.3


@pytest.mark.parametrize("seed", range(60))
def test_polygon_is_where_points_are_lit(seed):
    window, _, vector = random_case(seed)
    rng = np.random.default_rng(seed)
    height = float(rng.choice([0.0, 0.2]))
    places = np.column_stack([rng.uniform(-3, 3, 400), rng.uniform(0, 5, 400), np.full(400, height)])
    polygon = patch_polygon(vector[0], window, height)
    inside = np.zeros(400, dtype=bool)
    if len(polygon):
        inside = shapely.contains_xy(shapely.Polygon(polygon), places[:, 0], places[:, 1])
    assert lit(places, vector, window)[0].tolist() == inside.tolist()


def test_sun_behind_the_wall_or_below_the_horizon_gives_no_patch():
    frame = Frame(0.8, 0.0, 0.3, 0.4)
    for vector in (sun(315.0, 40.0), sun(45.0, 40.0), sun(225.0, 40.0), sun(135.0, -5.0), sun(135.0, 0.0)):
        assert patch_polygon(vector, SOUTH_EAST).shape == (0, 2)
        assert beam_share(frame, vector[None], SOUTH_EAST).tolist() == [0.0]
        assert not lit(sample_points(frame, SOUTH_EAST), vector[None], SOUTH_EAST).any()


def test_sun_overhead_gives_no_patch():
    assert patch_polygon(np.array([0.0, 0.0, 1.0]), SOUTH_EAST).shape == (0, 2)


def area(window, vector):
    return shapely.Polygon(patch_polygon(vector, window)).area


def test_deeper_reveal_shrinks_the_patch():
    vector = sun(165.0, 35.0)
    areas = [area(Window(135.0, 1.2, 0.1, 1.4, depth), vector) for depth in (0.0, 0.1, 0.3, 0.6)]
    assert (np.diff(areas) < 0).all()


def test_overhang_cuts_the_far_end_of_the_patch():
    bare = patch_polygon(sun(135.0, 45.0), SOUTH_EAST)
    under = patch_polygon(sun(135.0, 45.0), Window(135.0, 1.2, 0.1, 1.4, 0.0, 0.5))
    assert under[:2] == pytest.approx(bare[:2])
    assert under[2:, 1] == pytest.approx(bare[2:, 1] - 0.5)


def test_tunnel_closes_at_grazing_azimuth():
    # Width 1.2 and depth 0.3: shut when the sun stands more than atan(1.2 / 0.3) = 75.96 degrees off.
    window = Window(135.0, 1.2, 0.1, 1.4, 0.3)
    assert len(patch_polygon(sun(135.0 + 75.9, 20.0), window)) == 4
    assert len(patch_polygon(sun(135.0 + 76.0, 20.0), window)) == 0
    assert len(patch_polygon(sun(135.0 + 76.0, 20.0), SOUTH_EAST)) == 4


def test_tunnel_closes_under_a_high_sun():
    # Height 1.3 and depth 0.3: shut above atan(1.3 / 0.3) = 77.0 degrees, square on.
    window = Window(135.0, 1.2, 0.1, 1.4, 0.3)
    assert len(patch_polygon(sun(135.0, 76.9), window)) == 4
    assert not lit(np.array([[0.0, 0.05, 0.0]]), sun([135.0], [78.0]), window).any()
    assert patch_polygon(sun(135.0, 78.0), window).shape == (0, 2)


def test_sill_below_the_work_surface_starts_the_patch_at_the_wall():
    polygon = patch_polygon(sun(135.0, 45.0), Window(135.0, 1.2, -0.5, 1.4))
    assert polygon[:2, 1].tolist() == [0.0, 0.0]


@pytest.mark.parametrize("seed", range(20))
def test_mirrored_sun_and_offset_give_the_same_share(seed):
    window, frame, vector = random_case(seed)
    right, out, up = right_out_up(vector[0], window.outward_azimuth_deg)
    mirrored_azimuth = window.outward_azimuth_deg + math.degrees(math.atan2(-right, out))
    mirrored_sun = sun([mirrored_azimuth], [math.degrees(math.asin(up))])
    turned = (2 * window.outward_azimuth_deg - frame.aim_azimuth_deg) % 360
    mirrored = Frame(frame.distance_m, -frame.offset_m, frame.width_m, frame.height_m, frame.tilt_deg, turned)
    expected = beam_share(frame, vector, window)[0]
    assert beam_share(mirrored, mirrored_sun, window)[0] == pytest.approx(expected, abs=1e-9)


def test_edges_that_coincide_are_counted_once():
    # The sheet is as wide as the opening and the sun square on: its sides lie on the patch's sides.
    frame = Frame(0.75, 0.0, 1.2, 1.3)
    assert beam_share(frame, sun([135.0], [45.0]), SOUTH_EAST)[0] == pytest.approx(1.0)
    assert beam_share(Frame(1.4, 0.0, 1.2, 1.3), sun([135.0], [45.0]), SOUTH_EAST)[0] == pytest.approx(0.5)


def test_sun_behind_the_easel_gives_nothing():
    turned_away = Frame(1.0, 0.0, 0.3, 0.4, 90.0, 315.0)
    assert beam_share(turned_away, sun([135.0], [20.0]), SOUTH_EAST).tolist() == [0.0]
    assert beam_share_sampled(turned_away, sun([135.0], [20.0]), SOUTH_EAST).tolist() == [0.0]
    assert beam_share(Frame(1.0, 0.0, 0.3, 0.4, 90.0), sun([135.0], [20.0]), SOUTH_EAST)[0] == pytest.approx(
        1
    )


def test_upright_sheet_against_the_opening_is_lit_where_the_opening_is():
    # Sheet 0.4 high from the table, opening from 0.1 up: three quarters.
    flush = Frame(0.0, 0.0, 0.3, 0.4, 90.0)
    assert beam_share(flush, sun([135.0], [20.0]), SOUTH_EAST)[0] == pytest.approx(0.75)


def test_house_opposite_hides_a_low_sun():
    window = Window(135.0, 1.2, 0.1, 1.4, skyline=Skyline((100.0, 170.0), (20.0, 30.0)))
    frame = Frame(0.8, 0.0, 0.3, 0.4)
    share = beam_share(frame, sun([135.0, 135.0], [24.9, 40.0]), window)
    assert share[0] == 0.0
    assert share[1] == pytest.approx(1.0)
    assert patch_polygon(sun(135.0, 24.9), window).shape == (0, 2)


def test_one_instant_equals_its_place_in_a_day():
    frame = Frame(0.9, 0.2, 0.3, 0.4, 20.0, 150.0)
    window = Window(135.0, 1.2, 0.1, 1.4, 0.2, 0.3)
    day = sun(np.linspace(60, 240, 91), np.linspace(3, 60, 91))
    points = sample_points(frame, window)
    share, shining = beam_share(frame, day, window), lit(points, day, window)
    assert 0.0 < share.max() <= 1.0
    for index in range(0, 91, 7):
        assert beam_share(frame, day[index : index + 1], window)[0] == pytest.approx(share[index], abs=1e-12)
        assert lit(points, day[index : index + 1], window)[0].tolist() == shining[index].tolist()


def test_bad_input_is_named():
    frame = Frame(0.9, 0.2, 0.3, 0.4)
    with pytest.raises(OutOfDomain, match="sun"):
        beam_share(frame, np.array([[math.nan, 0.0, 1.0]]), SOUTH_EAST)
    with pytest.raises(Malformed, match="sun"):
        beam_share(frame, sun(135.0, 45.0), SOUTH_EAST)
    with pytest.raises(OutOfDomain, match="points"):
        lit(np.array([[0.0, -0.2, 0.0]]), sun([135.0], [45.0]), SOUTH_EAST)
    with pytest.raises(OutOfDomain, match="height_m"):
        patch_polygon(sun(135.0, 45.0), SOUTH_EAST, -0.1)
    with pytest.raises(OutOfDomain, match=r"frame\.distance_m"):
        beam_share(Frame(0.1, 0.2, 0.3, 0.4), sun([135.0], [45.0]), SOUTH_EAST)


def test_night_without_sun_is_dark():
    nothing = np.empty((0, 3))
    frame = Frame(0.9, 0.2, 0.3, 0.4)
    assert beam_share(frame, nothing, SOUTH_EAST).shape == (0,)
    assert lit(sample_points(frame, SOUTH_EAST), nothing, SOUTH_EAST).shape == (0, 25)
