import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.sky.optical_depth import (
    WAVELENGTH_NM,
    WAVELENGTH_STEP_NM,
    aerosol_optical_depth_angstrom,
    extraterrestrial_irradiance,
    fine_extraterrestrial_irradiance,
    ozone_cross_section_m2,
    ozone_optical_depth,
    rayleigh_optical_depth_bodhaine_1999,
)


def test_the_grid_is_5_nm_from_280_to_480():
    assert WAVELENGTH_NM.shape == (41,)
    assert (WAVELENGTH_NM[0], WAVELENGTH_NM[-1]) == (280.0, 480.0)
    np.testing.assert_array_equal(np.diff(WAVELENGTH_NM), WAVELENGTH_STEP_NM)
    with pytest.raises(ValueError, match="read-only"):
        WAVELENGTH_NM[0] = 1.0


# Bodhaine et al. (1999), Eq. 30, at 1013.25 hPa; evaluated separately, half the last digit.
@pytest.mark.reference
@pytest.mark.parametrize(
    ("wavelength_nm", "expected"), [(300, 1.2164), (320, 0.9220), (350, 0.6303), (400, 0.3602), (480, 0.1695)]
)
def test_rayleigh_gives_the_values_of_its_formula(wavelength_nm, expected):
    assert rayleigh_optical_depth_bodhaine_1999(wavelength_nm) == pytest.approx(expected, abs=6e-5)


@pytest.mark.reference
def test_rayleigh_agrees_with_an_older_formula():
    # J. E. Hansen and L. D. Travis, Space Sci. Rev. 16, 527 (1974), constants from memory; published
    # formulas spread over 1.5 %.
    micrometre = WAVELENGTH_NM / 1000.0
    older = 0.008569 * micrometre**-4 * (1.0 + 0.0113 * micrometre**-2 + 0.00013 * micrometre**-4)
    np.testing.assert_allclose(rayleigh_optical_depth_bodhaine_1999(WAVELENGTH_NM), older, rtol=0.015)


def test_rayleigh_is_linear_in_pressure_and_near_the_fourth_power():
    full = rayleigh_optical_depth_bodhaine_1999(WAVELENGTH_NM, 1000.0)
    np.testing.assert_allclose(rayleigh_optical_depth_bodhaine_1999(WAVELENGTH_NM, 250.0), full / 4.0)
    assert (rayleigh_optical_depth_bodhaine_1999(WAVELENGTH_NM, 0.0) == 0.0).all()
    power = np.diff(np.log(full)) / np.diff(np.log(WAVELENGTH_NM))
    assert ((power > -4.45) & (power < -4.0)).all()


@pytest.mark.reference
def test_ozone_at_320_nm():
    # 2.15e-20 cm2 (Daumont et al. 1992, Malicet et al. 1995, 226 K) times 300 DU of 2.6867e16 cm-2.
    assert ozone_optical_depth(320.0, 300.0) == pytest.approx(0.173, abs=0.0005)


@pytest.mark.reference
@pytest.mark.parametrize(("wavelength_nm", "sigma_1e_minus_20_cm2"), [(300, 36.8), (310, 9.17), (325, 0.994)])
def test_ozone_agrees_with_an_independent_laboratory(wavelength_nm, sigma_1e_minus_20_cm2):
    # L. T. Molina and M. J. Molina, J. Geophys. Res. 91, 14501 (1986), Table 1, 226 K; sets differ by 1-3 %.
    assert ozone_cross_section_m2(wavelength_nm) == pytest.approx(sigma_1e_minus_20_cm2 * 1e-24, rel=0.03)


def test_ozone_scales_with_the_column_and_falls_steadily_through_the_huggins_bands():
    np.testing.assert_allclose(ozone_optical_depth(305.0, 400.0), 2.0 * ozone_optical_depth(305.0, 200.0))
    fine = np.arange(280.0, 351.0)  # beyond, the data change temperature
    assert (np.diff(ozone_cross_section_m2(fine)) < 0.0).all()
    assert (ozone_optical_depth(np.arange(350.0, 481.0), 600.0) < 0.02).all()


def test_aerosol_follows_its_exponent():
    at_250_nm_higher = aerosol_optical_depth_angstrom(np.array([300.0, 400.0]), 0.2, 1.0)
    np.testing.assert_allclose(at_250_nm_higher, [0.2 * 5.0 / 3.0, 0.25])
    np.testing.assert_allclose(aerosol_optical_depth_angstrom(WAVELENGTH_NM, 0.2, 0.0), 0.2)
    assert (aerosol_optical_depth_angstrom(WAVELENGTH_NM, 0.0) == 0.0).all()


# Trapezoid over the ASTM G173-03 file.  The 5 nm boxes are weighted by their share of the band; where a
# band's edge cuts a box whose spectrum is uneven (the calcium lines below 400 nm) that costs up to 0.45 %.
@pytest.mark.reference
@pytest.mark.parametrize(
    ("low_nm", "high_nm", "expected_w_m2"),
    [(315, 400, 85.50), (300, 400, 94.65), (400, 450, 86.90), (400, 480, 147.68), (300, 480, 242.32)],
)
def test_extraterrestrial_band_totals(low_nm, high_nm, expected_w_m2):
    box = np.minimum(WAVELENGTH_NM + 2.5, high_nm) - np.maximum(WAVELENGTH_NM - 2.5, low_nm)
    assert np.clip(box, 0.0, 5.0) @ extraterrestrial_irradiance() == pytest.approx(expected_w_m2, rel=0.0045)


@pytest.mark.reference
def test_fine_extraterrestrial_totals():
    fine = fine_extraterrestrial_irradiance()
    wavelength = np.arange(280.0, 400.5)
    share = np.where((wavelength == 315) | (wavelength == 400), 0.5, (wavelength > 315) * 1.0)
    assert share @ fine == pytest.approx(85.50, rel=0.002)  # ASTM G173-03 file, trapezoid


def test_five_fine_boxes_make_a_coarse_one():
    fine = fine_extraterrestrial_irradiance()
    coarse = extraterrestrial_irradiance()
    for index in range(1, 24):  # 285-395 nm: boxes wholly inside both
        assert fine[5 * index - 2 : 5 * index + 3].mean() == pytest.approx(coarse[index], rel=1e-4)


def test_scalar_and_array_agree():
    for depth in (
        rayleigh_optical_depth_bodhaine_1999,
        ozone_cross_section_m2,
        lambda nm: ozone_optical_depth(nm, 300.0),
        lambda nm: aerosol_optical_depth_angstrom(nm, 0.1),
    ):
        grid = np.array([[300.0, 317.5], [400.0, 480.0]])
        whole = depth(grid)
        assert whole.shape == grid.shape
        assert depth(317.5) == whole[0, 1]
        assert np.shape(depth(317.5)) == ()


@pytest.mark.parametrize("bad", [279.0, 481.0, np.nan])
def test_a_wavelength_outside_the_tables_is_refused(bad):
    for depth in (rayleigh_optical_depth_bodhaine_1999, ozone_cross_section_m2):
        with pytest.raises(OutOfDomain, match="wavelength_nm"):
            depth(np.array([300.0, bad]))
    with pytest.raises(OutOfDomain, match="wavelength_nm"):
        aerosol_optical_depth_angstrom(bad, 0.1)


@pytest.mark.parametrize("bad", [-1.0, np.nan, np.inf])
def test_an_impossible_amount_is_refused(bad):
    with pytest.raises(OutOfDomain, match="pressure_hpa"):
        rayleigh_optical_depth_bodhaine_1999(350.0, bad)
    with pytest.raises(OutOfDomain, match="ozone_du"):
        ozone_optical_depth(320.0, bad)
    with pytest.raises(OutOfDomain, match="aerosol_optical_depth"):
        aerosol_optical_depth_angstrom(400.0, bad)
    with pytest.raises(OutOfDomain, match="angstrom_exponent"):
        aerosol_optical_depth_angstrom(400.0, 0.1, bad)
