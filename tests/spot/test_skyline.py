import math

import numpy as np
import pytest

from noonframe.errors import Malformed, OutOfDomain
from noonframe.spot.skyline import Skyline

YARD = Skyline((20.0, 80.0, 80.1, 150.0, 250.0, 250.1, 330.0), (4.0, 12.0, 35.0, 35.0, 35.0, 6.0, 18.0))


def sun(azimuth_deg, elevation_deg):
    azimuth, elevation = np.broadcast_arrays(np.radians(azimuth_deg), np.radians(elevation_deg))
    level = np.cos(elevation)
    return np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)


def share_by_counting(skyline, tilt_deg, aim_deg):
    """Independent path: a fine grid of equal solid angles over the upper hemisphere, added up."""
    height = (np.arange(900) + 0.5) / 900  # equal steps of sin(elevation) are equal solid angles
    azimuth_deg = (np.arange(1800) + 0.5) / 5
    azimuths, heights = np.meshgrid(azimuth_deg, height)
    directions = sun(azimuths, np.degrees(np.arcsin(heights)))
    tilt, aim = math.radians(tilt_deg), math.radians(aim_deg)
    normal = np.array([math.sin(tilt) * math.sin(aim), math.sin(tilt) * math.cos(aim), math.cos(tilt)])
    cosine = np.maximum(directions @ normal, 0.0)
    corners = list(zip(skyline.azimuth_deg, skyline.elevation_deg, strict=True))
    around = [(corners[-1][0] - 360, corners[-1][1]), *corners, (corners[0][0] + 360, corners[0][1])]
    skyline_deg = np.interp(azimuths, [a for a, _ in around], [e for _, e in around])
    clear = np.degrees(np.arcsin(heights)) > skyline_deg
    return float((cosine * clear).sum() * 2 * math.pi / cosine.size / math.pi)


def test_elevation_is_linear_between_corners_and_across_north():
    skyline = Skyline((10.0, 110.0, 350.0), (0.0, 10.0, 20.0))
    assert skyline.elevation_at(60.0) == pytest.approx(5.0)
    assert skyline.elevation_at(0.0) == pytest.approx(10.0)
    assert skyline.elevation_at(np.array([360.0, -360.0, 720.0])) == pytest.approx(10.0)
    assert skyline.elevation_at(-250.0) == pytest.approx(10.0)


def test_one_corner_is_a_constant_height():
    assert Skyline((200.0,), (7.0,)).elevation_at(np.arange(0.0, 360.0, 30.0)) == pytest.approx(7.0)


def test_nan_azimuth_has_nan_elevation():
    assert np.isnan(YARD.elevation_at(float("nan")))


def test_sun_below_the_skyline_is_blocked():
    # At 115 degrees the wall stands 35 degrees high, at 50 degrees 8.
    assert YARD.blocks(sun([115.0, 115.0, 50.0, 50.0], [34.9, 35.1, 7.9, 8.1])).tolist() == [True, False] * 2


def test_sun_overhead_and_at_the_poles_of_azimuth_has_an_answer():
    assert YARD.blocks(np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]])).tolist() == [False, True]


def test_sun_with_its_middle_on_the_skyline_counts_as_hidden():
    assert Skyline((0.0,), (0.0,)).blocks(sun([90.0], [0.0])).tolist() == [True]


def test_a_dip_below_the_horizontal_lets_a_low_sun_through():
    hill = Skyline((0.0,), (-2.0,))
    assert hill.blocks(sun([90.0, 90.0], [-1.0, -3.0])).tolist() == [False, True]


@pytest.mark.reference
@pytest.mark.parametrize("tilt_deg", [0.0, 20.0, 55.0, 90.0, 140.0, 180.0])
def test_open_ground_gives_the_isotropic_share(tilt_deg):
    # (1 + cos tilt) / 2: B. Y. H. Liu and R. C. Jordan, Solar Energy 7 (1963) 53-74 (from memory).
    share = Skyline((0.0,), (0.0,)).open_sky_fraction(tilt_deg, 77.0)
    assert share == pytest.approx((1 + math.cos(math.radians(tilt_deg))) / 2, abs=1e-9)


@pytest.mark.reference
@pytest.mark.parametrize("elevation_deg", [0.0, 5.0, 30.0, 60.0, 90.0])
def test_level_sheet_in_a_ring_of_hills_sees_cos_squared(elevation_deg):
    # Closed form: the integral of 2 sin e cos e from the skyline to the zenith is cos^2.
    share = Skyline((0.0,), (elevation_deg,)).open_sky_fraction(0.0, 0.0)
    assert share == pytest.approx(math.cos(math.radians(elevation_deg)) ** 2, abs=1e-12)


@pytest.mark.reference
def test_upright_sheet_before_a_ring_of_hills():
    # Closed form: (1/pi) (integral of cos azimuth = 2) (integral of cos^2 e from e0 to 90) .
    e = math.radians(25.0)
    expected = 2 / math.pi * (math.pi / 2 - e - math.sin(e) * math.cos(e)) / 2
    assert Skyline((0.0,), (25.0,)).open_sky_fraction(90.0, 123.0) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("tilt_deg", "aim_deg"), [(0, 0), (25, 180), (60, 80), (90, 260), (90, 115), (130, 40)]
)
def test_ragged_skyline_agrees_with_counting(tilt_deg, aim_deg):
    share = YARD.open_sky_fraction(float(tilt_deg), float(aim_deg))
    assert share == pytest.approx(share_by_counting(YARD, tilt_deg, aim_deg), abs=5e-4)


def test_half_circle_wall_takes_half_of_what_a_full_one_takes():
    low, full = Skyline((0.0,), (0.0,)), Skyline((0.0,), (40.0,))
    half = Skyline((0.0, 180.0, 180.0001, 359.9999), (40.0, 40.0, 0.0, 0.0))
    taken = low.open_sky_fraction(0.0, 0.0) - half.open_sky_fraction(0.0, 0.0)
    assert taken == pytest.approx((1 - full.open_sky_fraction(0.0, 0.0)) / 2, abs=1e-6)


def test_a_dip_below_the_horizontal_adds_no_sky():
    assert Skyline((0.0,), (-5.0,)).open_sky_fraction(0.0, 0.0) == pytest.approx(1.0, abs=1e-12)


def test_scalar_equals_array_element():
    tilt, aim = np.array([[0.0], [40.0], [90.0]]), np.array([10.0, 200.0])
    shares = YARD.open_sky_fraction(tilt, aim)
    assert shares.shape == (3, 2)
    for i in range(3):
        for j in range(2):
            alone = YARD.open_sky_fraction(float(tilt[i, 0]), float(aim[j]))
            assert isinstance(alone, float)
            assert shares[i, j] == pytest.approx(alone, abs=1e-13)


@pytest.mark.parametrize(
    ("azimuths", "elevations", "field"),
    [
        ((10.0, 10.0), (0.0, 1.0), r"skyline\[1\].azimuth_deg"),
        ((10.0, 5.0), (0.0, 1.0), r"skyline\[1\].azimuth_deg"),
        ((0.0, 360.0), (0.0, 1.0), r"skyline\[1\].azimuth_deg"),
        ((-1.0,), (0.0,), r"skyline\[0\].azimuth_deg"),
        ((math.nan,), (0.0,), r"skyline\[0\].azimuth_deg"),
        ((0.0, 90.0), (0.0, 90.5), r"skyline\[1\].elevation_deg"),
        ((0.0,), (-5.1,), r"skyline\[0\].elevation_deg"),
        ((0.0,), (math.nan,), r"skyline\[0\].elevation_deg"),
        ((), (), "skyline"),
    ],
)
def test_wrong_corners_are_named(azimuths, elevations, field):
    with pytest.raises(OutOfDomain, match=field):
        Skyline(azimuths, elevations)


def test_pairs_make_the_same_skyline_and_must_be_pairs():
    assert Skyline.from_pairs([[0, 1], [90, 2]]) == Skyline((0.0, 90.0), (1.0, 2.0))
    with pytest.raises(Malformed, match=r"skyline\[1\]"):
        Skyline.from_pairs([[0, 1], [90, 2, 3]])
    with pytest.raises(Malformed, match="skyline"):
        Skyline((0.0, 1.0), (0.0,))


@pytest.mark.parametrize(("tilt", "aim", "field"), [(-1, 0, "tilt"), (181, 0, "tilt"), (math.nan, 0, "tilt")])
def test_tilt_out_of_range_is_named(tilt, aim, field):
    with pytest.raises(OutOfDomain, match=field):
        YARD.open_sky_fraction(tilt, aim)


def test_nan_aim_is_named():
    with pytest.raises(OutOfDomain, match="aim_azimuth_deg"):
        YARD.open_sky_fraction(30.0, math.nan)


@pytest.mark.parametrize("vector", [[math.nan, 0.0, 1.0], [0.0, 0.0, 0.9], [0.0, 0.0, 0.0]])
def test_sun_that_is_no_unit_vector_is_refused(vector):
    with pytest.raises(OutOfDomain, match="sun"):
        YARD.blocks(np.array([[0.0, 0.0, 1.0], vector]))


def test_sun_of_wrong_shape_is_refused():
    with pytest.raises(Malformed, match="sun"):
        YARD.blocks(np.array([0.0, 0.0, 1.0]))
