"""Edge blur of an object above the sheet."""

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.spot.shadow import edge_blur


def toward(zenith_deg, azimuth_deg):
    z, a = np.radians(zenith_deg), np.radians(azimuth_deg)
    return np.stack([np.sin(z) * np.sin(a), np.sin(z) * np.cos(a), np.cos(z)], axis=-1)


def test_a_still_sun_overhead_blurs_by_its_disc_alone():
    # The sun is 31.99 arc minutes across (mean, from memory): 9.3 thousandths of the height
    blur = edge_blur(toward(np.array([0.0]), np.array([0.0])), np.array([1.0]), np.array([0.0]), 10.0)
    assert blur.wander_mm == 0.0
    assert blur.edge_blur_mm == pytest.approx(10.0 * 0.0093, rel=0.01)


def test_the_edge_wanders_by_the_height_times_the_change_of_the_tangent():
    suns = toward(np.array([45.0, 60.0]), np.array([180.0, 180.0]))
    blur = edge_blur(suns, np.ones(2), np.zeros(2), 5.0)
    assert blur.wander_mm == pytest.approx(5.0 * (np.tan(np.radians(60)) - 1.0), rel=1e-6)


def test_a_sun_that_swings_round_at_one_height_moves_the_edge_along_a_chord():
    suns = toward(np.full(50, 45.0), np.linspace(150.0, 210.0, 50))
    blur = edge_blur(suns, np.ones(50), np.zeros(50), 8.0)
    assert blur.wander_mm == pytest.approx(8.0 * 2.0 * np.sin(np.radians(30.0)), rel=1e-3)


def test_blur_is_proportional_to_height_and_nothing_at_none():
    suns = toward(np.array([40.0, 45.0]), np.array([170.0, 185.0]))
    once = edge_blur(suns, np.ones(2), np.ones(2), 3.0)
    twice = edge_blur(suns, np.ones(2), np.ones(2), 6.0)
    assert twice.edge_blur_mm == pytest.approx(2 * once.edge_blur_mm)
    assert once.diffuse_share == pytest.approx(0.5)
    assert edge_blur(suns, np.ones(2), np.ones(2), 0.0).edge_blur_mm == 0.0


def test_without_beam_there_is_no_shadow_to_speak_of():
    assert edge_blur(toward(np.array([40.0]), np.array([0.0])), np.zeros(1), np.ones(1), 3.0) is None


@pytest.mark.parametrize("height", [-1.0, float("nan"), 501.0])
def test_a_height_outside_the_domain_is_refused(height):
    with pytest.raises(OutOfDomain, match="object_height_mm"):
        edge_blur(toward(np.array([40.0]), np.array([0.0])), np.ones(1), np.ones(1), height)
