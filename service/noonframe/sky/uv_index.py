"""The UV index: erythemal irradiance on the level ground, times 40 m2/W.

The short end decides the index, and there transmission halves within a 5 nm box.  So the light is
taken on 1 nm points from 280 to 400 nm: log transmission is interpolated in wavelength by a cubic
through the 5 nm nodes of the transfer table, and multiplied by 1 nm means of the extraterrestrial
spectrum.  Light of 250-280 nm does not reach the ground.
Source: WHO/WMO/UNEP/ICNIRP (2002), Global Solar UV Index, WHO/SDE/OEH/02.2; ISO/CIE 17166:2019.
"""

from functools import cache

import numpy as np

from noonframe.types import FloatArray

INDEX_PER_W_M2 = 40.0
_SHORTEST_NM, _LONGEST_NM = 280.0, 400.0
_DARKEST_LOG = -80.0


def erythema_action(wavelength_nm: FloatArray) -> FloatArray:
    """Erythema action spectrum, shape of the input, valid 250-400 nm; zero outside.  [unitless]

    Source: ISO/CIE 17166:2019 (constants from memory; the last branch uses 140, as the standard does,
    not the 139 of McKinlay and Diffey 1987).
    """
    middle = 10.0 ** (0.094 * (298.0 - wavelength_nm))
    long = 10.0 ** (0.015 * (140.0 - wavelength_nm))
    action = np.where(wavelength_nm <= 298.0, 1.0, np.where(wavelength_nm <= 328.0, middle, long))
    inside = (wavelength_nm >= 250.0) & (wavelength_nm <= 400.0)
    return np.where(inside, action, 0.0)


@cache
def fine_wavelength_nm() -> FloatArray:
    """The 1 nm points of the index, shape (121,)."""
    return np.arange(_SHORTEST_NM, _LONGEST_NM + 0.5)


@cache
def _fine_operator(first_nm: float, step_nm: float, count: int) -> FloatArray:
    """Matrix (n_fine, count) of the cubic interpolation from equal nodes on to the 1 nm points."""
    position = (fine_wavelength_nm() - first_nm) / step_nm
    start = np.clip(np.floor(position).astype(np.intp) - 1, 0, count - 4)
    x = position - start
    weights = np.zeros((position.size, count))
    rows = np.arange(position.size)
    for k in range(4):
        others = [j for j in range(4) if j != k]
        lagrange = np.prod([(x - j) / (k - j) for j in others], axis=0)
        weights[rows, start + k] = lagrange
    return weights


def uv_index_of(
    wavelength_nm: FloatArray, transmission: FloatArray, fine_extraterrestrial_w_m2_nm: FloatArray
) -> FloatArray:
    """UV index (n,) at 1 AU from the level-ground transmission (n, n_wavelength).

    `transmission` is global horizontal irradiance over extraterrestrial normal irradiance on equally
    spaced `wavelength_nm` (n_wavelength,) that start at 280 nm and reach 400 nm;
    `fine_extraterrestrial_w_m2_nm` (121,) holds 1 nm means from 280 to 400 nm.
    """
    step_nm = float(wavelength_nm[1] - wavelength_nm[0])
    operator = _fine_operator(float(wavelength_nm[0]), step_nm, wavelength_nm.size)
    log = np.log(np.maximum(transmission, np.exp(_DARKEST_LOG)))
    weight = erythema_action(fine_wavelength_nm()) * fine_extraterrestrial_w_m2_nm
    weight[[0, -1]] *= 0.5  # trapezoid ends
    return INDEX_PER_W_M2 * np.exp(log @ operator.T) @ weight
