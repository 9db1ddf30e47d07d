import math

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.spot.sheet import Frame, normal, sample_points
from noonframe.spot.sky_view import sky_nodes, sky_view
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window

LEVEL = np.array([0.0, 0.0, 1.0])
UPRIGHT = np.array([0.0, -1.0, 0.0])
ROOFS = Skyline((0.0, 90.0, 100.0, 100.1, 140.0, 140.1, 200.0), (0.0, 5.0, 5.0, 25.0, 32.0, 10.0, 3.0))


def parallel(a, b, c):
    """Element to a parallel rectangle a by b at distance c, its normal through a corner; odd in a and in b.

    J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, B-3.
    """
    if a < 0 or b < 0:
        return -parallel(abs(a), b, c) if a < 0 else -parallel(a, abs(b), c)
    x, y = a / c, b / c
    p, q = math.sqrt(1 + x * x), math.sqrt(1 + y * y)
    return (x / p * math.atan(y / p) + y / q * math.atan(x / q)) / (2 * math.pi)


def perpendicular(width, height, distance):
    """Element to an upright rectangle on the element's plane, corner straight ahead; odd in width.

    J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, B-4.
    """
    if width == 0 or height == 0:
        return 0.0
    if width < 0:
        return -perpendicular(-width, height, distance)
    x, y = height / width, distance / width
    r = math.hypot(x, y)
    return (math.atan(1 / y) - y / r * math.atan(1 / r)) / (2 * math.pi)


def by_rays(point, sheet_normal, window, n=700):
    """Independent path: rays even in projected solid angle, walked out; sky, buildings, ground."""
    step = (np.arange(n) + 0.5) / n
    radius, angle = np.meshgrid(np.sqrt(step), 2 * np.pi * step)
    radius, angle = radius.ravel(), angle.ravel()
    up = np.asarray(sheet_normal) * [1, -1, 1]  # right, out, up
    side = np.cross(up, [0.0, 0.0, 1.0] if abs(up[2]) < 0.9 else [1.0, 0.0, 0.0])
    side = side / np.linalg.norm(side)
    other = np.cross(up, side)
    d = (
        (radius * np.cos(angle))[:, None] * side
        + (radius * np.sin(angle))[:, None] * other
        + np.sqrt(1 - radius**2)[:, None] * up
    )
    x, y, z = point[0], -point[1], point[2]
    free = d[:, 1] > 1e-12
    out = np.where(free, d[:, 1], 1.0)
    for face in (0.0, window.reveal_depth_m):
        t = (face - y) / out
        height = z + t * d[:, 2]
        free &= (np.abs(x + t * d[:, 0]) <= window.width_m / 2) & (height >= window.sill_m)
        free &= height <= window.head_m
        if face == 0.0:
            free &= height >= 0.0  # the table reaches to the wall
    rising = d[:, 2] > 0
    t = (window.head_m - z) / np.where(rising, d[:, 2], 1.0)
    reach = y + t * out - window.reveal_depth_m
    free &= ~(rising & (reach >= 0) & (reach <= window.overhang_depth_m) & (window.overhang_depth_m > 0))
    elevation = np.degrees(np.arctan2(d[:, 2], np.hypot(d[:, 0], d[:, 1])))
    height = np.zeros_like(elevation)
    if window.skyline is not None:
        azimuth = window.outward_azimuth_deg + np.degrees(np.arctan2(d[:, 0], d[:, 1]))
        height = window.skyline.elevation_at(azimuth)
    sky = free & (elevation > np.maximum(height, 0))
    ground = free & (elevation <= 0)
    return sky.mean(), (free & ~sky & ~ground).mean(), ground.mean()


@pytest.mark.reference
def test_perpendicular_formula_at_unit_sides():
    # Howell B-4 with a = b = c, worked from the formula: (pi/4 - atan(1/sqrt 2)/sqrt 2) / (2 pi) = 0.0557342.
    view = sky_view(np.array([[-0.5, 1.0, 0.0]]), LEVEL, Window(0.0, 1.0, 0.0, 1.0))
    assert view.sky[0] == pytest.approx(0.0557342, abs=5e-8)


@pytest.mark.reference
@pytest.mark.parametrize("seed", range(30))
def test_level_sheet_agrees_with_composed_rectangles(seed):
    rng = np.random.default_rng(seed)
    width, sill, v = rng.uniform(0.3, 3), rng.uniform(0.0, 1.0), rng.uniform(0.01, 4)
    head, u = sill + rng.uniform(0.1, 2), rng.uniform(-3, 3)
    left, right = -width / 2 - u, width / 2 - u
    expected = sum(
        sign * (perpendicular(right, top, v) - perpendicular(left, top, v))
        for sign, top in ((1, head), (-1, sill))
    )
    view = sky_view(np.array([[u, v, 0.0]]), LEVEL, Window(rng.uniform(0, 360), width, sill, head))
    assert view.sky[0] == pytest.approx(expected, abs=1e-12)
    assert view.ground[0] == view.buildings[0] == 0.0


@pytest.mark.reference
@pytest.mark.parametrize("seed", range(30))
def test_upright_sheet_agrees_with_composed_rectangles(seed):
    rng = np.random.default_rng(seed)
    width, sill, v = rng.uniform(0.3, 3), rng.uniform(0.0, 1.0), rng.uniform(0.01, 4)
    head, u, w = sill + rng.uniform(0.1, 2), rng.uniform(-3, 3), rng.uniform(0, 2.5)
    left, right = -width / 2 - u, width / 2 - u

    def band(low, high):
        a = parallel(right, high - w, v) - parallel(left, high - w, v)
        return a - parallel(right, low - w, v) + parallel(left, low - w, v)

    view = sky_view(np.array([[u, v, w]]), UPRIGHT, Window(77.0, width, sill, head))
    assert view.sky[0] == pytest.approx(band(max(sill, w), max(head, w)), abs=1e-12)
    assert view.ground[0] == pytest.approx(band(min(sill, w), min(head, w)), abs=1e-12)


def test_reveal_leaves_the_rectangle_seen_through_both_faces():
    # From 1 m behind a wall 0.5 m thick the outer face, seen on the inner one, is smaller by 1 / 1.5.
    deep = sky_view(np.array([[0.0, 1.0, 0.0]]), LEVEL, Window(0.0, 1.2, 0.3, 1.5, 0.5))
    # The outer face limits sides (0.6 / 1.5 = 0.4) and top (1.5 / 1.5 = 1.0), the inner face the sill (0.3).
    same = sky_view(np.array([[0.0, 1.0, 0.0]]), LEVEL, Window(0.0, 0.8, 0.3, 1.0))
    assert deep.sky[0] == pytest.approx(same.sky[0], abs=1e-14)


def test_overhang_lowers_the_top():
    # Head 1.5 at 1 m, slab to 2 m: the free view ends at a slope of 0.75.
    under = sky_view(np.array([[0.2, 1.0, 0.0]]), LEVEL, Window(0.0, 1.2, 0.3, 1.5, 0.0, 1.0))
    same = sky_view(np.array([[0.2, 1.0, 0.0]]), LEVEL, Window(0.0, 1.2, 0.3, 0.75))
    assert under.sky[0] == pytest.approx(same.sky[0], abs=1e-14)


def random_case(seed):
    rng = np.random.default_rng(seed)
    outward, sill = rng.uniform(60, 180), rng.uniform(-0.3, 0.6)
    window = Window(
        outward,
        rng.uniform(0.4, 2.0),
        sill,
        max(sill, 0.0) + rng.uniform(0.5, 1.5),
        rng.choice([0.0, rng.uniform(0.0, 0.4)]),
        rng.choice([0.0, rng.uniform(0.0, 0.5)]),
        skyline=ROOFS if seed % 2 else None,
    )
    frame = Frame(
        rng.uniform(0.5, 1.5),
        rng.uniform(-0.6, 0.6),
        0.5,
        0.6,
        rng.choice([0.0, rng.uniform(0, 90)]),
        rng.uniform(0, 360),
    )
    return window, frame


@pytest.mark.parametrize("seed", range(24))
def test_any_tilt_agrees_with_walking_rays(seed):
    window, frame = random_case(seed)
    points, up = sample_points(frame, window, (2, 1)), normal(frame, window)
    view = sky_view(points, up, window)
    for index, point in enumerate(points):
        # Half a million rays: the outline crosses about 1 in 500 cells, which even out to 5e-4.
        expected = by_rays(point, up, window)
        got = (view.sky[index], view.buildings[index], view.ground[index])
        assert got == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize("elevation_deg", [-5.0, 0.0])
def test_flat_skyline_equals_none(elevation_deg):
    plain = Window(130.0, 1.2, 0.1, 1.5, 0.25, 0.3)
    flat = Window(130.0, 1.2, 0.1, 1.5, 0.25, 0.3, skyline=Skyline((0.0,), (elevation_deg,)))
    for frame in (Frame(0.5, 0.2, 0.3, 0.4), Frame(0.5, -0.3, 0.3, 0.4, 55.0, 80.0)):
        points, up = sample_points(frame, plain), normal(frame, plain)
        bare, behind = sky_view(points, up, plain), sky_view(points, up, flat)
        assert behind.sky == pytest.approx(bare.sky, abs=1e-6)
        assert behind.ground == pytest.approx(bare.ground, abs=1e-15)
        assert behind.buildings == pytest.approx(0.0, abs=1e-12)


def test_sky_and_buildings_share_out_the_view():
    plain = Window(130.0, 1.2, 0.1, 1.5, 0.25, 0.3)
    town = Window(130.0, 1.2, 0.1, 1.5, 0.25, 0.3, skyline=ROOFS)
    frame = Frame(0.5, 0.2, 0.3, 0.4)
    points = sample_points(frame, plain)
    bare, behind = sky_view(points, LEVEL, plain).sky, sky_view(points, LEVEL, town)
    assert behind.sky + behind.buildings == pytest.approx(bare, abs=1e-6)
    assert (behind.sky < bare).all()


def test_wall_to_the_zenith_opposite_leaves_no_sky():
    window = Window(130.0, 1.2, 0.1, 1.5, skyline=Skyline((0.0,), (90.0,)))
    view = sky_view(np.array([[0.0, 0.5, 0.0]]), LEVEL, window)
    assert view.sky[0] == pytest.approx(0.0, abs=1e-15)
    assert view.buildings[0] > 0.1


@pytest.mark.parametrize("outward_deg", [180.0, 0.0, 360.0, 90.0])
def test_narrow_tower_takes_its_own_share(outward_deg):
    # 2 degrees wide, with sides that fall between the strips of the integration.
    turned = [(179.13, 0.0), (179.1301, 89.0), (181.13, 89.0), (181.1301, 0.0)]
    tower = Skyline.from_pairs(sorted(((a + outward_deg + 180.0) % 360.0, e) for a, e in turned))
    plain = Window(outward_deg, 1.0, 0.0, 1.0)
    behind = Window(outward_deg, 1.0, 0.0, 1.0, skyline=tower)
    point = np.array([[0.0, 1.0, 0.0]])
    taken = sky_view(point, LEVEL, plain).sky - sky_view(point, LEVEL, behind).sky
    # Closed form per radian of azimuth: sin^2 of the head's elevation, here 45 degrees, over 2 pi.
    assert taken[0] == pytest.approx(math.radians(2.0) * 0.5 / (2 * math.pi), rel=1e-3)


def test_table_hides_what_of_the_opening_lies_below_it():
    point = np.array([[0.1, 1.0, 0.5]])
    low = sky_view(point, UPRIGHT, Window(0.0, 1.2, -0.5, 1.5))
    level = sky_view(point, UPRIGHT, Window(0.0, 1.2, 0.0, 1.5))
    assert low.ground[0] == pytest.approx(level.ground[0], abs=1e-15)
    assert low.ground[0] > 0.05


def test_behind_the_table_edge_the_reveal_goes_on_down():
    # Outer sill seen at a slope of -1.0 / 1.5, so the table edge at -0.5 decides; sides at 0.6 / 1.5.
    deep = sky_view(np.array([[0.0, 1.0, 0.5]]), UPRIGHT, Window(0.0, 1.2, -0.5, 1.5, 0.5))
    same = sky_view(np.array([[0.0, 1.0, 0.5]]), UPRIGHT, Window(0.0, 0.8, 0.0, 1.5))
    assert deep.ground[0] == pytest.approx(same.ground[0], abs=1e-15)


@pytest.mark.parametrize("seed", range(6))
def test_jagged_skyline_is_settled_to_a_thousandth(seed, monkeypatch):
    rng = np.random.default_rng(seed)
    azimuths = np.sort(rng.choice(3600, 40, replace=False)) / 10
    town = Skyline(tuple(azimuths.tolist()), tuple(rng.uniform(-5, 50, 40).tolist()))
    window = Window(rng.uniform(0, 360), 1.5, 0.1, 1.5, 0.2, skyline=town)
    points = sample_points(Frame(0.7, 0.2, 0.3, 0.4), window)
    usual = sky_view(points, LEVEL, window)
    monkeypatch.setattr("noonframe.spot.sky_view._STRIPS", 4000)
    fine = sky_view(points, LEVEL, window)
    assert (np.abs(usual.sky - fine.sky) / (fine.sky + fine.buildings)).max() < 1e-3


def test_endless_opening_gives_half_the_sky_to_a_level_sheet():
    view = sky_view(np.array([[0.0, 0.5, 0.0]]), LEVEL, Window(10.0, 1e7, 0.0, 1e7))
    assert view.sky[0] == pytest.approx(0.5, abs=1e-6)


def test_sheet_flush_in_the_opening_sees_half_sky_and_half_ground():
    window = Window(10.0, 1.2, -0.1, 1.0)
    frame = Frame(0.0, 0.0, 0.3, 0.4, 90.0)
    view = sky_view(sample_points(frame, window), normal(frame, window), window)
    assert view.sky == pytest.approx(0.5, abs=1e-8)
    assert view.ground == pytest.approx(0.5, abs=1e-8)


def test_sheet_flush_with_the_wall_beside_the_opening_sees_nothing():
    view = sky_view(np.array([[0.7, 0.0, 0.5]]), UPRIGHT, Window(10.0, 1.2, 0.0, 1.0))
    assert view.sky[0] == 0.0


@pytest.mark.parametrize(
    ("point", "up"),
    [
        ([0.0, 0.5, 0.0], [0.0, 1.0, 0.0]),  # faces into the room
        ([0.0, 0.5, 1.2], [0.0, 0.0, 1.0]),  # above the head
    ],
)
def test_sheet_that_cannot_see_out_has_no_sky(point, up):
    view = sky_view(np.array([point]), np.array(up), Window(10.0, 1.2, 0.1, 1.0))
    assert view.sky[0] == view.ground[0] == 0.0


def test_shut_tunnel_has_no_sky():
    # From hard by the wall and far to the side no ray passes both faces.
    view = sky_view(np.array([[2.0, 0.05, 0.0]]), LEVEL, Window(10.0, 1.2, 0.1, 1.0, 0.5))
    assert view.sky[0] == 0.0


@pytest.mark.parametrize("skyline", [None, Skyline((90.0, 180.0, 270.0), (0.0, 30.0, 0.0))])
def test_left_mirrors_right(skyline):
    window = Window(180.0, 1.2, 0.1, 1.5, 0.2, 0.3, skyline=skyline)
    points = np.array([[0.4, 0.6, 0.1], [0.9, 1.4, 0.0]])
    up = np.array([0.36, -0.48, 0.8])
    there, back = sky_view(points, up, window), sky_view(points * [-1, 1, 1], up * [-1, 1, 1], window)
    assert there.sky == pytest.approx(back.sky, abs=1e-9)
    assert there.sky.min() > 0.0


def test_view_falls_with_distance_and_reveal():
    points = np.array([[0.0, v, 0.0] for v in (0.5, 1.0, 2.0, 4.0)])
    bare = sky_view(points, LEVEL, Window(0.0, 1.2, 0.0, 1.5)).sky
    deep = sky_view(points, LEVEL, Window(0.0, 1.2, 0.0, 1.5, 0.3)).sky
    assert (np.diff(bare) < 0).all()
    assert (deep < bare).all()


@pytest.mark.parametrize("skyline", [None, ROOFS])
def test_one_point_equals_its_place_among_many(skyline):
    window = Window(130.0, 1.2, 0.1, 1.5, 0.25, 0.3, skyline=skyline)
    frame = Frame(0.6, 0.2, 0.3, 0.4, 35.0, 100.0)
    points, up = sample_points(frame, window), normal(frame, window)
    many, nodes = sky_view(points, up, window), sky_nodes(points, up, window)
    for index in (0, 7, 24):
        alone = sky_view(points[index : index + 1], up, window)
        assert alone.sky[0] == pytest.approx(many.sky[index], abs=1e-15)
        assert alone.ground[0] == pytest.approx(many.ground[index], abs=1e-15)
        one = sky_nodes(points[index : index + 1], up, window)
        assert one.weight[0] == pytest.approx(nodes.weight[index], abs=1e-15)
        assert one.direction[0] == pytest.approx(nodes.direction[index], abs=1e-12)


@pytest.mark.parametrize("seed", range(16))
def test_nodes_add_up_to_the_view_and_lie_in_it(seed):
    window, frame = random_case(seed)
    points, up = sample_points(frame, window, (2, 2)), normal(frame, window)
    nodes, view = sky_nodes(points, up, window), sky_view(points, up, window)
    assert nodes.direction.shape == (4, 64, 3)
    assert nodes.weight.sum(axis=1) == pytest.approx(view.sky, abs=1e-5)
    assert np.linalg.norm(nodes.direction, axis=2) == pytest.approx(1.0)
    assert nodes.pane_cosine == pytest.approx(-window.from_local(nodes.direction)[..., 1], abs=1e-12)
    used = nodes.direction[nodes.weight > 0]
    assert (used[:, 2] >= 0).all()
    if window.skyline is not None:
        assert not window.skyline.blocks(used).any()


@pytest.mark.parametrize("skyline", [None, ROOFS])
@pytest.mark.parametrize("tilt_deg", [0.0, 40.0])
def test_nodes_weigh_angles_as_many_nodes_do(skyline, tilt_deg):
    # A smooth curve that falls like a pane's transmittance at slanting light.
    window = Window(130.0, 1.2, 0.1, 1.5, 0.25, skyline=skyline)
    frame = Frame(0.6, 0.3, 0.3, 0.4, tilt_deg)
    points, up = sample_points(frame, window), normal(frame, window)

    def weighed(columns, rows):
        nodes = sky_nodes(points, up, window, columns, rows)
        return (nodes.weight * (1 - (1 - nodes.pane_cosine) ** 3)).sum(axis=1)

    assert weighed(16, 4) == pytest.approx(weighed(120, 12), rel=2e-3)


@pytest.mark.reference
def test_nodes_reproduce_the_mean_cosine_to_the_pane():
    # Closed form: over a cosine-weighted dome the mean cosine is 2/3; an upright flush sheet sees half of it.
    window = Window(130.0, 1.2, -0.1, 1.5)
    nodes = sky_nodes(np.array([[0.0, 0.0, 0.5]]), UPRIGHT, window)
    assert (nodes.weight * nodes.pane_cosine).sum() == pytest.approx(0.5 * 2 / 3, rel=1e-3)


def test_gap_between_towers_is_found_by_the_nodes():
    gap = Skyline((10.0, 129.5, 129.6, 130.4, 130.5), (80.0, 80.0, 0.0, 0.0, 80.0))
    window = Window(130.0, 1.2, 0.1, 1.5, skyline=gap)
    nodes = sky_nodes(np.array([[0.0, 0.6, 0.0]]), LEVEL, window)
    azimuth = np.degrees(np.arctan2(nodes.direction[..., 0], nodes.direction[..., 1]))
    assert nodes.weight.sum() > 1e-4
    assert azimuth == pytest.approx(130.0, abs=0.5)


def test_nodes_of_a_point_without_sky_weigh_nothing():
    nodes = sky_nodes(np.array([[0.0, 0.5, 1.2]]), LEVEL, Window(10.0, 1.2, 0.1, 1.0))
    assert (nodes.weight == 0.0).all()
    assert np.isfinite(nodes.direction).all()


def test_bad_input_is_named():
    window = Window(10.0, 1.2, 0.1, 1.0)
    with pytest.raises(OutOfDomain, match="points"):
        sky_view(np.array([[0.0, math.nan, 0.0]]), LEVEL, window)
    with pytest.raises(OutOfDomain, match="points"):
        sky_nodes(np.array([[0.0, -0.1, 0.0]]), LEVEL, window)
    with pytest.raises(OutOfDomain, match="normal"):
        sky_view(np.array([[0.0, 0.5, 0.0]]), 2 * LEVEL, window)
    with pytest.raises(OutOfDomain, match="columns"):
        sky_nodes(np.array([[0.0, 0.5, 0.0]]), LEVEL, window, columns=0)
