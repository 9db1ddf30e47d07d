"""Fresnel sheets: published formulae at their limits, a reference table, and a ray count as a second path."""

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.stack.optics import (
    cos_from_incidence,
    effective_index,
    hemisphere_nodes,
    hemispherical_transmittance,
    internal_absorbance,
    internal_transmittance,
    lossless_transmittance,
    pile,
    sheet_transmittance,
    surface_reflectance,
)

ANGLES = (30.0, 40.0, 50.0, 60.0, 65.0, 70.0, 75.0, 80.0, 85.0)

# kd: T(0), then T(angle)/T(0) at the angles above and for the hemisphere, n = 1.526.  Reference computation
# of the two-surface sheet with multiple reflection (Duffie & Beckman 2013, chapter 5), three decimals.
PANE_TABLE = {
    0.0: (0.917, (0.997, 0.990, 0.970, 0.918, 0.868, 0.789, 0.670, 0.497, 0.268), 0.922),
    0.1: (0.829, (0.992, 0.980, 0.954, 0.896, 0.843, 0.762, 0.640, 0.463, 0.229), 0.907),
    0.4: (0.614, (0.974, 0.950, 0.909, 0.836, 0.777, 0.692, 0.570, 0.398, 0.176), 0.870),
    0.8: (0.411, (0.952, 0.911, 0.853, 0.765, 0.702, 0.617, 0.500, 0.341, 0.143), 0.826),
}
TABLE_TOLERANCE = 0.001  # a unit in the last printed digit


def at_angle(incidence_deg: float, internal: float, index: float, panes: int = 1) -> float:
    cosine = cos_from_incidence(np.array([incidence_deg]))
    return float(sheet_transmittance(cosine, np.array([internal]), index, panes)[0, 0])


@pytest.mark.reference
@pytest.mark.parametrize("kd", PANE_TABLE)
def test_pane_matches_the_reference_table_of_angles(kd):
    normal, ratios, _ = PANE_TABLE[kd]
    internal = np.exp(-kd)
    at_normal = at_angle(0.0, internal, 1.526)
    assert at_normal == pytest.approx(normal, abs=TABLE_TOLERANCE)
    found = [at_angle(angle, internal, 1.526) / at_normal for angle in ANGLES]
    assert found == pytest.approx(ratios, abs=TABLE_TOLERANCE)


@pytest.mark.reference
@pytest.mark.parametrize("kd", PANE_TABLE)
def test_hemispherical_mean_matches_the_reference_table(kd):
    mean = hemispherical_transmittance(np.array([np.exp(-kd)]), 1.526)[0]
    assert mean / at_angle(0.0, np.exp(-kd), 1.526) == pytest.approx(PANE_TABLE[kd][2], abs=TABLE_TOLERANCE)


@pytest.mark.reference
@pytest.mark.parametrize(("index", "expected"), [(1.526, 0.917), (1.49, 0.925), (1.65, 0.887)])
def test_clear_sheet_passes_what_two_bare_surfaces_leave(index, expected):
    # Closed form 2n/(n² + 1), Born & Wolf section 1.6.4 in the incoherent limit; half a last printed digit.
    assert lossless_transmittance(index) == pytest.approx(expected, abs=0.0006)
    assert lossless_transmittance(index) == pytest.approx(2.0 * index / (index**2 + 1.0), rel=1e-12)


def test_p_light_is_not_reflected_at_brewsters_angle_and_all_light_is_at_grazing():
    _, p = surface_reflectance(np.array([np.cos(np.arctan(1.526))]), 1.526)
    assert p[0] < 1e-30
    s, p = surface_reflectance(np.array([0.0]), 1.526)
    assert (s[0], p[0]) == (1.0, 1.0)


def test_one_sheet_equals_the_sum_of_its_bounces():
    reflectance, internal = 0.3, 0.8
    bounces = sum(
        (1 - reflectance) ** 2 * internal * (reflectance * internal) ** (2 * count) for count in range(60)
    )
    assert pile(reflectance, np.array([internal]), 1)[0][0] == pytest.approx(bounces, rel=1e-12)


@pytest.mark.parametrize("panes", [1, 2, 3])
def test_clear_sheets_lose_nothing(panes):
    transmitted, reflected = pile(0.17, np.ones(1), panes)
    assert transmitted[0] + reflected[0] == pytest.approx(1.0, abs=1e-14)
    # Pile of k clear plates (Stokes 1862): (1 - R)/(1 + (2k - 1) R).
    assert transmitted[0] == pytest.approx((1 - 0.17) / (1 + (2 * panes - 1) * 0.17), rel=1e-12)


@pytest.mark.parametrize("panes", [1, 2, 3])
def test_energy_is_never_gained(panes):
    internal = np.linspace(0.0, 1.0, 11)
    transmitted, reflected = pile(0.1, internal, panes)
    assert np.all(transmitted + reflected <= 1.0 + 1e-14)
    assert np.all(transmitted >= 0.0)


def test_a_sheet_of_air_is_not_there():
    cosine = cos_from_incidence(np.array([0.0, 45.0, 80.0, 89.9]))
    assert sheet_transmittance(cosine, np.ones(1), 1.0)[:, 0] == pytest.approx(np.ones(4), abs=1e-12)


@pytest.mark.parametrize("internal", [0.2, 0.7, 1.0])
def test_transmittance_falls_steadily_beyond_60_degrees_to_nothing_at_90(internal):
    cosine = cos_from_incidence(np.arange(60.0, 91.0))
    curve = sheet_transmittance(cosine, np.array([internal]), 1.526)[:, 0]
    assert np.all(np.diff(curve) < 0.0)
    assert curve[-1] == 0.0


def test_light_from_behind_does_not_count_and_scalars_equal_array_elements():
    angles = np.array([0.0, 33.0, 89.0, 90.0, 120.0, 180.0])
    together = sheet_transmittance(cos_from_incidence(angles), np.array([0.9]), 1.5)[:, 0]
    assert np.all(together[3:] == 0.0)
    assert [at_angle(angle, 0.9, 1.5) for angle in angles] == list(together)


def test_grazing_light_is_close_to_nothing_without_a_jump():
    assert 0.0 < at_angle(89.999, 1.0, 1.526) < 1e-3


@pytest.mark.parametrize("bad", [np.nan, -1.0, 180.5, np.inf])
def test_impossible_angle_is_refused_by_name(bad):
    with pytest.raises(OutOfDomain, match="incidence_deg"):
        cos_from_incidence(np.array([10.0, bad]))


@pytest.mark.parametrize("panes", [1, 2, 3])
@pytest.mark.parametrize("kd", [0.0, 0.03, 0.8, 9.0])
def test_absorbance_comes_back_from_the_transmittance(kd, panes):
    transmittance = np.array([at_angle(0.0, np.exp(-kd), 1.526, panes)])
    assert internal_absorbance(transmittance, 1.526, panes)[0] == pytest.approx(kd, abs=1e-9)


def test_an_opaque_sheet_has_infinite_absorbance_and_stays_opaque():
    assert internal_absorbance(np.zeros(2), 1.5).tolist() == [np.inf, np.inf]
    assert internal_transmittance(np.zeros(1), 1.5, panes=2)[0] == 0.0
    assert at_angle(60.0, 0.0, 1.5) == 0.0


@pytest.mark.parametrize("bad", [-0.01, np.nan, 0.93])
def test_transmittance_that_the_index_rules_out_is_refused(bad):
    with pytest.raises(OutOfDomain, match="transmittance"):
        internal_transmittance(np.array([0.5, bad]), 1.526)


@pytest.mark.parametrize("panes", [1, 2])
def test_effective_index_lets_through_exactly_the_measured_maximum(panes):
    index = effective_index(1.65, 0.85 if panes == 2 else 0.925, panes)
    assert index < 1.65
    assert lossless_transmittance(index, panes) == pytest.approx(0.85 if panes == 2 else 0.925, rel=1e-12)
    assert effective_index(1.526, 0.5, panes) == 1.526
    assert effective_index(1.5, 1.0, panes) == 1.0


@pytest.mark.parametrize(("index", "panes"), [(0.9, 1), (np.nan, 1), (3.5, 1), (1.5, 0), (1.5, 4)])
def test_index_and_pane_count_outside_the_model_are_refused(index, panes):
    with pytest.raises(OutOfDomain, match=r"refractive_index|panes"):
        lossless_transmittance(index, panes)


def test_hemisphere_weights_integrate_known_shapes():
    cosine, share = hemisphere_nodes()
    assert share.sum() == pytest.approx(1.0, abs=1e-13)
    assert share @ cosine == pytest.approx(2.0 / 3.0, abs=1e-13)  # 2 ∫ µ² dµ
    fine = (np.arange(200_000) + 0.5) / 200_000
    brute = 2.0 * np.mean(sheet_transmittance(fine, np.array([0.8]), 1.526)[:, 0] * fine)
    assert hemispherical_transmittance(np.array([0.8]), 1.526)[0] == pytest.approx(brute, abs=1e-6)
