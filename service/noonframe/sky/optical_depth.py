"""Vertical optical depths of the clear atmosphere and the sunlight above it, 280-480 nm.

[1] B. A. Bodhaine, N. B. Wood, E. G. Dutton and J. R. Slusser, "On Rayleigh optical depth calculations",
    J. Atmos. Oceanic Technol. 16, 1854-1861 (1999), Eq. 30.
[2] Ozone cross-sections: see data/ozone_cross_section.json.
[3] A. Angstrom, "On the atmospheric transmission of sun radiation and on dust in the air",
    Geografiska Annaler 11, 156-166 (1929).
[4] C. A. Gueymard, "The sun's total and spectral irradiance for solar energy applications and solar
    radiation models", Solar Energy 76, 423-453 (2004), as used in ASTM G173-03.
"""

from functools import cache
from typing import Final

import numpy as np

from noonframe.datafiles import data_folder, read_columns
from noonframe.errors import DataFileError, OutOfDomain
from noonframe.types import FloatArray

WAVELENGTH_NM: Final[FloatArray] = np.arange(280.0, 481.0, 5.0)
"""Centres of the 5 nm boxes every spectrum of the engine is given on, shape (41,)."""
WAVELENGTH_NM.setflags(write=False)

WAVELENGTH_STEP_NM: Final = 5.0

STANDARD_PRESSURE_HPA: Final = 1013.25
ANGSTROM_EXPONENT: Final = 1.3  # common continental value
ANGSTROM_LIMITS: Final = (-0.5, 3.0)  # coarse dust to fine smoke
AEROSOL_REFERENCE_NM: Final = 500.0
DOBSON_UNIT_M2: Final = 2.6867e20  # molecules per square metre in one Dobson unit


def rayleigh_optical_depth_bodhaine_1999(
    wavelength_nm: FloatArray | float, pressure_hpa: float = STANDARD_PRESSURE_HPA
) -> FloatArray:
    """Rayleigh optical depth of the air column, shape of `wavelength_nm`.  [unitless]

    Eq. 30 of [1] (sea level, 45 degrees north, 360 ppm CO2; 250-850 nm), scaled by surface pressure.
    Published formulas differ by up to 1.5 % over 300-480 nm.
    """
    _check_amount("pressure_hpa", pressure_hpa)
    wavelength = _checked_wavelength(wavelength_nm)
    square = (wavelength / 1000.0) ** 2  # micrometres squared
    numerator = 1.0455996 - 341.29061 / square - 0.90230850 * square
    denominator = 1.0 + 0.0027059889 / square - 85.968563 * square
    return 0.0021520 * numerator / denominator * (pressure_hpa / STANDARD_PRESSURE_HPA)


def ozone_cross_section_m2(wavelength_nm: FloatArray | float) -> FloatArray:
    """Absorption cross-section of stratospheric ozone (226 K), shape of `wavelength_nm`.  [m2 per molecule]

    5 nm means [2], interpolated in the logarithm between the box centres, 280-480 nm.  Beyond 350 nm the
    room-temperature values stand in for 226 K: the whole absorption is below 1 % there.
    """
    return np.exp(
        np.interp(_checked_wavelength(wavelength_nm), WAVELENGTH_NM, np.log(_cross_section_table_m2()))
    )


def ozone_optical_depth(wavelength_nm: FloatArray | float, ozone_du: float) -> FloatArray:
    """Ozone optical depth of a column of `ozone_du` Dobson units, shape of `wavelength_nm`.  [unitless]"""
    _check_amount("ozone_du", ozone_du)
    return ozone_cross_section_m2(wavelength_nm) * (DOBSON_UNIT_M2 * ozone_du)


def aerosol_optical_depth_angstrom(
    wavelength_nm: FloatArray | float,
    aerosol_optical_depth: float,
    angstrom_exponent: float = ANGSTROM_EXPONENT,
) -> FloatArray:
    """Aerosol optical depth from its value at 500 nm, shape of `wavelength_nm`.  [unitless]

    Angstrom's law [3].  `angstrom_exponent` -0.5 to 3: continental haze 1.0-1.6, dust and sea salt 0.2-0.7.
    """
    _check_amount("aerosol_optical_depth", aerosol_optical_depth)
    low, high = ANGSTROM_LIMITS
    if not low <= angstrom_exponent <= high:
        raise OutOfDomain("angstrom_exponent", angstrom_exponent, f"between {low:g} and {high:g}")
    wavelength = _checked_wavelength(wavelength_nm)
    return aerosol_optical_depth * (AEROSOL_REFERENCE_NM / wavelength) ** angstrom_exponent


@cache
def extraterrestrial_irradiance() -> FloatArray:
    """Sunlight above the atmosphere at 1 AU, 5 nm means at `WAVELENGTH_NM`, shape (41,).  [W m-2 nm-1]

    [4].  Multiply by (r0/r)^2 for the date.  Published spectra differ by up to 6 % in single boxes, so
    compare integrals over 20 nm or more.  The source begins at 280 nm: the first box is the mean of its
    upper half.
    """
    columns = read_columns(data_folder() / "extraterrestrial.csv")
    if not np.array_equal(columns["wavelength_nm"], WAVELENGTH_NM):
        raise DataFileError("wavelength_nm", "extraterrestrial.csv", "must run from 280 to 480 by 5")
    return _positive(columns["irradiance_w_m2_nm"], "extraterrestrial.csv")


@cache
def fine_extraterrestrial_irradiance() -> FloatArray:
    """Sunlight above the atmosphere at 1 AU [4], 1 nm means, 280 to 400 nm, shape (121,).  [W m-2 nm-1]

    For weighting functions too steep for 5 nm boxes, such as the erythemal one.
    """
    columns = read_columns(data_folder() / "extraterrestrial_1nm.csv")
    if not np.array_equal(columns["wavelength_nm"], np.arange(280.0, 400.5)):
        raise DataFileError("wavelength_nm", "extraterrestrial_1nm.csv", "must run from 280 to 400 by 1")
    return _positive(columns["irradiance_w_m2_nm"], "extraterrestrial_1nm.csv")


@cache
def _cross_section_table_m2() -> FloatArray:
    columns = read_columns(data_folder() / "ozone_cross_section.csv")
    if not np.array_equal(columns["wavelength_nm"], WAVELENGTH_NM):
        raise DataFileError("wavelength_nm", "ozone_cross_section.csv", "must run from 280 to 480 by 5")
    return _positive(columns["cross_section_1e_minus_24_m2"] * 1e-24, "ozone_cross_section.csv")


def _checked_wavelength(wavelength_nm: FloatArray | float) -> FloatArray:
    wavelength = np.asarray(wavelength_nm, dtype=np.float64)
    inside = (wavelength >= WAVELENGTH_NM[0]) & (wavelength <= WAVELENGTH_NM[-1])  # false for NaN
    if not inside.all():
        raise OutOfDomain("wavelength_nm", float(wavelength[~inside].flat[0]), "between 280 and 480")
    return wavelength


def _check_amount(field: str, value: float) -> None:
    if not 0.0 <= value < np.inf:  # also refuses NaN
        raise OutOfDomain(field, value, "a number of at least 0")


def _positive(values: FloatArray, name: str) -> FloatArray:
    if not (values > 0.0).all():
        raise DataFileError("value", name, "every value must be more than 0")
    values.setflags(write=False)
    return values
