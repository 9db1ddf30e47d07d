"""A frame in the open: aim, incidence and what it sees."""

import numpy as np
import pvlib
import pytest

from noonframe.errors import OutOfDomain
from noonframe.spot.plane import Aim, OpenSpot, plane_view
from noonframe.spot.skyline import Skyline


def toward(zenith_deg: np.ndarray, azimuth_deg: np.ndarray) -> np.ndarray:
    zenith, azimuth = np.radians(zenith_deg), np.radians(azimuth_deg)
    return np.stack(
        [np.sin(zenith) * np.sin(azimuth), np.sin(zenith) * np.cos(azimuth), np.cos(zenith)], axis=-1
    )


@pytest.mark.parametrize(
    ("tilt_deg", "azimuth_deg", "normal"),
    [
        (0.0, 77.0, (0, 0, 1)),
        (90.0, 0.0, (0, 1, 0)),
        (90.0, 90.0, (1, 0, 0)),
        (90.0, 180.0, (0, -1, 0)),
        (90.0, 270.0, (-1, 0, 0)),
    ],
)
def test_normals_are_east_north_up(tilt_deg, azimuth_deg, normal):
    assert Aim(tilt_deg, azimuth_deg).normal == pytest.approx(normal, abs=1e-12)


@pytest.mark.parametrize(
    ("field", "arguments"),
    [
        ("tilt_deg", (-0.1, 0.0)),
        ("tilt_deg", (90.1, 0.0)),
        ("tilt_deg", (np.nan, 0.0)),
        ("aim_azimuth_deg", (10.0, -1.0)),
        ("aim_azimuth_deg", (10.0, 361.0)),
        ("aim_azimuth_deg", (10.0, np.nan)),
    ],
)
def test_an_aim_outside_the_domain_is_refused_by_name(field, arguments):
    with pytest.raises(OutOfDomain) as caught:
        Aim(*arguments)
    assert caught.value.field == field


@pytest.mark.reference
def test_incidence_agrees_with_pvlib():
    random = np.random.default_rng(2)
    zenith, azimuth = random.uniform(0.0, 95.0, 300), random.uniform(0.0, 360.0, 300)
    for tilt, aim in ((0.0, 0.0), (30.0, 170.0), (90.0, 271.0), (52.0, 360.0)):
        view = plane_view(OpenSpot(Aim(tilt, aim)), toward(zenith, azimuth))
        assert view.cos_incidence == pytest.approx(
            pvlib.irradiance.aoi_projection(tilt, aim, zenith, azimuth), abs=1e-12
        )


@pytest.mark.reference
@pytest.mark.parametrize("tilt_deg", [0.0, 20.0, 45.0, 90.0])
def test_shares_of_sky_and_ground_agree_with_pvlib(tilt_deg):
    view = plane_view(OpenSpot(Aim(tilt_deg, 123.0)), toward(np.array([10.0]), np.array([0.0])))
    assert view.sky_share == pytest.approx(float(pvlib.irradiance.isotropic(tilt_deg, 1.0)), abs=1e-12)
    ground = pvlib.irradiance.get_ground_diffuse(tilt_deg, ghi=1.0, albedo=1.0)
    assert view.ground_share == pytest.approx(float(ground), abs=1e-12)
    assert view.sky_share + view.ground_share == pytest.approx(1.0)


def test_a_skyline_hides_the_sun_and_part_of_the_sky():
    wall = Skyline((80.0, 100.0, 100.001, 359.0), (30.0, 30.0, 0.0, 0.0))
    spot = OpenSpot(Aim(0.0, 0.0), wall)
    view = plane_view(spot, toward(np.array([70.0, 50.0, 70.0]), np.array([90.0, 90.0, 200.0])))
    assert view.sun_clear.tolist() == [False, True, True]
    assert 0.9 < view.sky_share < 1.0
    assert not spot.is_plain


def test_a_level_ring_of_walls_leaves_the_cosine_weighted_cap():
    """A skyline of constant height h leaves 1 - sin^2 h of the light of an even sky on level ground (closed
    form)."""
    view = plane_view(OpenSpot(skyline=Skyline((0.0,), (25.0,))), toward(np.array([10.0]), np.array([0.0])))
    assert view.sky_share == pytest.approx(1.0 - np.sin(np.radians(25.0)) ** 2, abs=1e-4)


def test_a_skyline_at_ground_level_changes_nothing():
    suns = toward(np.linspace(0.0, 89.0, 20), np.linspace(0.0, 350.0, 20))
    for tilt in (0.0, 40.0):
        free = plane_view(OpenSpot(Aim(tilt, 150.0)), suns)
        ringed = plane_view(OpenSpot(Aim(tilt, 150.0), Skyline((0.0,), (0.0,))), suns)
        assert ringed.sun_clear.all()
        assert ringed.sky_share == pytest.approx(free.sky_share, abs=1e-4)


def test_only_a_level_open_spot_is_plain():
    assert OpenSpot().is_plain
    assert OpenSpot(Aim(0.0, 12.0)).is_plain
    assert not OpenSpot(Aim(0.1, 12.0)).is_plain


def test_east_and_west_are_mirror_images():
    zenith, azimuth = np.linspace(5.0, 85.0, 30), np.linspace(100.0, 170.0, 30)
    east = plane_view(OpenSpot(Aim(35.0, 140.0)), toward(zenith, azimuth))
    west = plane_view(OpenSpot(Aim(35.0, 220.0)), toward(zenith, 360.0 - azimuth))
    assert east.cos_incidence == pytest.approx(west.cos_incidence, abs=1e-12)
