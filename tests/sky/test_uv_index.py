"""The erythema action spectrum and the fine integral behind the UV index."""

import numpy as np
import pytest

from noonframe.sky.optical_depth import WAVELENGTH_NM, fine_extraterrestrial_irradiance
from noonframe.sky.uv_index import INDEX_PER_W_M2, erythema_action, fine_wavelength_nm, uv_index_of


@pytest.mark.reference
@pytest.mark.parametrize(
    ("wavelength_nm", "action"),
    [
        (250.0, 1.0),
        (298.0, 1.0),
        (300.0, 0.6486),
        (310.0, 0.0745),
        (320.0, 0.00855),
        (340.0, 0.00100),
        (360.0, 0.000501),
        (400.0, 0.000126),
    ],
)
def test_action_matches_the_standard(wavelength_nm, action):
    """ISO/CIE 17166:2019 (formula from memory, values computed from it to three figures)."""
    assert erythema_action(np.array([wavelength_nm]))[0] == pytest.approx(action, rel=6e-3)


def test_action_is_zero_outside_its_range_and_nearly_joins_at_its_breaks():
    """At 328 nm the two branches of the standard differ by 0.1 %."""
    assert erythema_action(np.array([249.9, 400.1])).tolist() == [0.0, 0.0]
    for nm in (298.0, 328.0):
        below, above = erythema_action(np.array([nm - 1e-6, nm + 1e-6]))
        assert above == pytest.approx(below, rel=2e-3)


def test_a_constant_transmission_gives_the_weighted_sunlight():
    """Closed form: with transmission 1 the index is 40 times the weighted extraterrestrial spectrum."""
    nm = fine_wavelength_nm()
    weighted = np.trapezoid(fine_extraterrestrial_irradiance() * erythema_action(nm), nm)
    index = uv_index_of(
        WAVELENGTH_NM, np.full((3, WAVELENGTH_NM.size), 0.5), fine_extraterrestrial_irradiance()
    )
    assert index == pytest.approx(np.full(3, 0.5 * INDEX_PER_W_M2 * weighted), rel=1e-9)


def test_a_smooth_logarithm_is_interpolated_exactly():
    """A cubic in the logarithm is what the interpolation reproduces; ozone's edge is close to one."""
    nm = fine_wavelength_nm()

    def edge(wavelength: np.ndarray) -> np.ndarray:
        x = (wavelength - 340.0) / 60.0
        return np.exp(-6.0 * (1.0 - x) ** 3)

    index = uv_index_of(WAVELENGTH_NM, edge(WAVELENGTH_NM)[None], fine_extraterrestrial_irradiance())
    truth = (
        np.trapezoid(edge(nm) * fine_extraterrestrial_irradiance() * erythema_action(nm), nm) * INDEX_PER_W_M2
    )
    assert index[0] == pytest.approx(truth, rel=1e-6)


def test_darkness_gives_zero_and_no_warning():
    dark = uv_index_of(WAVELENGTH_NM, np.zeros((2, WAVELENGTH_NM.size)), fine_extraterrestrial_irradiance())
    assert dark == pytest.approx(0.0, abs=1e-20)


def test_one_row_equals_its_place_among_many():
    transmission = np.exp(-np.linspace(0.5, 4.0, 7)[:, None] * (400.0 / WAVELENGTH_NM) ** 4)
    together = uv_index_of(WAVELENGTH_NM, transmission, fine_extraterrestrial_irradiance())
    alone = [
        float(uv_index_of(WAVELENGTH_NM, row[None], fine_extraterrestrial_irradiance())[0])
        for row in transmission
    ]
    assert together == pytest.approx(alone, rel=1e-12)
