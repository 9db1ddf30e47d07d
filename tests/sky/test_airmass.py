import numpy as np
import pytest
from pvlib.atmosphere import get_relative_airmass

from noonframe.errors import OutOfDomain
from noonframe.sky.airmass import (
    EARTH_RADIUS_KM,
    OZONE_HEIGHT_KM,
    ZENITH_LIMIT_DEG,
    airmass_kasten_young_1989,
    airmass_shell,
)

# Kasten and Young (1989), Eq. 3, as evaluated by pvlib 0.16.1; tolerance is half the last digit given.
KASTEN_YOUNG = [
    (0.0, 1.000, 5e-4),
    (30.0, 1.154, 5e-4),
    (48.19, 1.498, 5e-4),
    (60.0, 1.994, 5e-4),
    (70.0, 2.903, 5e-4),
    (80.0, 5.586, 5e-4),
    (85.0, 10.306, 5e-4),
    (88.0, 19.43, 5e-3),
    (90.0, 37.92, 5e-3),
]


@pytest.mark.reference
@pytest.mark.parametrize(("zenith_deg", "expected", "tolerance"), KASTEN_YOUNG)
def test_kasten_young_gives_its_published_values(zenith_deg, expected, tolerance):
    assert airmass_kasten_young_1989(zenith_deg) == pytest.approx(expected, abs=tolerance)


@pytest.mark.reference
def test_kasten_young_agrees_with_pvlib_down_to_the_horizon():
    zenith = np.linspace(0.0, 90.0, 181)
    np.testing.assert_allclose(
        airmass_kasten_young_1989(zenith), get_relative_airmass(zenith, "kastenyoung1989"), rtol=1e-12
    )


def test_kasten_young_runs_on_smoothly_below_the_horizon():
    step = 1e-3
    zenith = np.array([90.0 - 2 * step, 90.0 - step, 90.0, 90.0 + step, 90.0 + 2 * step])
    slopes = np.diff(np.log(airmass_kasten_young_1989(zenith))) / step
    np.testing.assert_allclose(slopes, slopes[0], rtol=2e-3)
    twilight = airmass_kasten_young_1989(np.linspace(89.0, ZENITH_LIMIT_DEG, 200))
    assert np.isfinite(twilight).all()
    assert (np.diff(twilight) > 0.0).all()


@pytest.mark.parametrize("height_km", [1.5, 2.0, 22.0])
def test_shell_agrees_with_the_exact_geometry_of_a_thin_shell(height_km):
    # Secant of the angle at which the ray crosses the shell, by the law of sines.  The published form is its
    # expansion to first order in h/R.
    zenith = np.linspace(0.0, 90.0, 91)
    sine_at_shell = np.sin(np.radians(zenith)) * EARTH_RADIUS_KM / (EARTH_RADIUS_KM + height_km)
    exact = 1.0 / np.sqrt(1.0 - sine_at_shell**2)
    np.testing.assert_allclose(
        airmass_shell(zenith, height_km), exact, rtol=1.01 * height_km / EARTH_RADIUS_KM
    )


def test_a_higher_shell_is_crossed_more_steeply():
    low, high = airmass_shell(85.0, 2.0), airmass_shell(85.0, OZONE_HEIGHT_KM)
    assert 1.0 < high < low < 1.0 / np.cos(np.radians(85.0))


def test_shell_never_decreases_with_zenith_angle():
    assert (np.diff(airmass_shell(np.linspace(0.0, ZENITH_LIMIT_DEG, 193), OZONE_HEIGHT_KM)) >= 0.0).all()


def test_shape_follows_the_input():
    zenith = np.array([[10.0, 40.0, 70.0], [80.0, 90.0, 95.0]])
    for airmass in (airmass_kasten_young_1989, lambda z: airmass_shell(z, 2.0)):
        whole = airmass(zenith)
        assert whole.shape == zenith.shape
        assert airmass(70.0) == whole[0, 2]
        assert np.shape(airmass(70.0)) == ()


@pytest.mark.parametrize("bad", [-0.1, 96.1, np.nan, np.inf])
def test_a_zenith_angle_outside_the_domain_is_refused(bad):
    with pytest.raises(OutOfDomain, match="zenith_deg"):
        airmass_kasten_young_1989(np.array([10.0, bad]))
    with pytest.raises(OutOfDomain, match="zenith_deg"):
        airmass_shell(bad, 2.0)


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan])
def test_a_shell_on_the_ground_is_refused(bad):
    with pytest.raises(OutOfDomain, match="height_km"):
        airmass_shell(30.0, bad)
