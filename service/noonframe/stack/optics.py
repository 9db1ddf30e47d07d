"""Transmittance of flat, smooth sheets against the angle of incidence.

A sheet is two parallel Fresnel surfaces around an absorbing bulk.  Light bounces between the surfaces and
adds up incoherently (a sheet is many wavelengths thick and daylight is not coherent), each polarisation by
itself, and unpolarised light is the mean of the two.  A sealed double pane is two such sheets with the same
bulk.  Scattering, coatings and the polarisation of skylight are left out.

Sources: M. Born and E. Wolf, *Principles of Optics*, 7th ed. (1999), section 1.5.2 (Fresnel's formulae);
J. A. Duffie and W. A. Beckman, *Solar Engineering of Thermal Processes*, 4th ed. (2013), chapter 5
(sheet with multiple reflection and absorption; pile of sheets).
"""

from functools import cache

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

HIGHEST_INDEX = 3.0
MOST_PANES = 3

# Halvings of the interval 0..1: the answer is then good to the last bit of a double.
_BISECTIONS = 54

# The integrand is smooth in the cosine but turns sharply near grazing incidence; 48 nodes hold the
# hemispherical mean of a glass pane to 1e-6.
_HEMISPHERE_NODES = 48


def _require_index(refractive_index: float) -> None:
    if not 1.0 <= refractive_index <= HIGHEST_INDEX:
        raise OutOfDomain("refractive_index", refractive_index, f"between 1 and {HIGHEST_INDEX:g}")


def _require_panes(panes: int) -> None:
    if not 1 <= panes <= MOST_PANES:
        raise OutOfDomain("panes", panes, f"between 1 and {MOST_PANES}")


def surface_reflectance(cos_incidence: FloatArray, refractive_index: float) -> tuple[FloatArray, FloatArray]:
    """Reflectance of one air-to-sheet surface, s- and p-polarised, shapes of `cos_incidence` (0 to 1)."""
    cos_inside = cos_refraction(cos_incidence, refractive_index)
    s_amplitude = (cos_incidence - refractive_index * cos_inside) / (
        cos_incidence + refractive_index * cos_inside
    )
    p_amplitude = (refractive_index * cos_incidence - cos_inside) / (
        refractive_index * cos_incidence + cos_inside
    )
    return s_amplitude**2, p_amplitude**2


def cos_refraction(cos_incidence: FloatArray, refractive_index: float) -> FloatArray:
    """Cosine of the angle inside the sheet, by Snell's law, shape of `cos_incidence`."""
    _require_index(refractive_index)
    inside: FloatArray = np.sqrt(1.0 - (1.0 - cos_incidence**2) / refractive_index**2)
    return inside


def pile(reflectance: FloatArray | float, internal: FloatArray, panes: int) -> tuple[FloatArray, FloatArray]:
    """Transmittance and reflectance of `panes` equal sheets for one polarisation.

    `reflectance` is that of one surface, `internal` the share of light that survives one crossing of
    the bulk of one sheet.
    """
    # One sheet: the sum of the geometric series of bounces.
    sheet_t = (1.0 - reflectance) ** 2 * internal / (1.0 - (reflectance * internal) ** 2)
    sheet_r = reflectance * (1.0 + internal * sheet_t)
    total_t, total_r = sheet_t, sheet_r
    for _ in range(panes - 1):
        between = 1.0 - total_r * sheet_r
        total_r = sheet_r + sheet_t**2 * total_r / between
        total_t = total_t * sheet_t / between
    return total_t, total_r


def normal_reflectance(refractive_index: float) -> float:
    """Reflectance of one surface at normal incidence."""
    _require_index(refractive_index)
    return ((refractive_index - 1.0) / (refractive_index + 1.0)) ** 2


def lossless_transmittance(refractive_index: float, panes: int = 1) -> float:
    """Highest transmittance at normal incidence that `refractive_index` lets through, with a clear bulk."""
    _require_panes(panes)
    return float(pile(normal_reflectance(refractive_index), np.ones(1), panes)[0][0])


def effective_index(handbook_index: float, highest_transmittance: float, panes: int = 1) -> float:
    """Index to use for a sheet whose measured transmittance reaches `highest_transmittance`.

    That is the handbook value, or, when the sheet transmits more than bare surfaces of that index can
    (primers and coatings that match the index, or an error of measurement), the highest index that agrees
    with the measurement.  One pane with a clear bulk: T = (1 - R)/(1 + R).
    """
    _require_panes(panes)
    if not 0.0 <= highest_transmittance <= 1.0:
        raise OutOfDomain("highest_transmittance", highest_transmittance, "between 0 and 1")
    if highest_transmittance <= lossless_transmittance(handbook_index, panes):
        return handbook_index
    # k equal lossless sheets: T = (1 - R)/(1 + (2k - 1) R), solved for R.
    reflectance = (1.0 - highest_transmittance) / (1.0 + (2 * panes - 1) * highest_transmittance)
    root = float(np.sqrt(reflectance))
    return (1.0 + root) / (1.0 - root)


def internal_transmittance(transmittance: FloatArray, refractive_index: float, panes: int = 1) -> FloatArray:
    """exp(-kd) of each sheet, from the transmittance measured at normal incidence; shape of `transmittance`.

    Raises `OutOfDomain` where a value is negative, NaN, or more than clear sheets of that index let through.
    """
    _require_panes(panes)
    limit = lossless_transmittance(refractive_index, panes)
    # Rounding in the index or in a file's last digit must not refuse a perfectly clear sheet.
    good = (transmittance >= 0.0) & (transmittance <= limit + 1e-9)
    if not np.all(good):
        worst = float(np.atleast_1d(transmittance)[~np.atleast_1d(good)][0])
        raise OutOfDomain(
            "transmittance", worst, f"between 0 and {limit:.4f}, the limit of index {refractive_index:g}"
        )
    reflectance = normal_reflectance(refractive_index)
    if panes == 1:
        # Positive root of T R² A² + (1 - R)² A - T = 0 in the form that stays exact as T or R goes to 0.
        pair = (1.0 - reflectance) ** 2
        root = np.sqrt(pair**2 + (2.0 * transmittance * reflectance) ** 2)
        internal: FloatArray = np.minimum(2.0 * transmittance / (pair + root), 1.0)
        return internal
    low, high = np.zeros_like(transmittance), np.ones_like(transmittance)
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        too_clear = pile(reflectance, middle, panes)[0] > transmittance
        high = np.where(too_clear, middle, high)
        low = np.where(too_clear, low, middle)
    return np.where(transmittance > 0.0, high, 0.0)


def internal_absorbance(transmittance: FloatArray, refractive_index: float, panes: int = 1) -> FloatArray:
    """kd, base e, of each sheet; infinite where nothing is transmitted.  See `internal_transmittance`."""
    internal = internal_transmittance(transmittance, refractive_index, panes)
    kd = np.full(internal.shape, np.inf)
    np.log(internal, out=kd, where=internal > 0.0)
    return np.where(internal > 0.0, np.maximum(-kd, 0.0), np.inf)


def sheet_transmittance(
    cos_incidence: FloatArray, internal: FloatArray, refractive_index: float, panes: int = 1
) -> FloatArray:
    """Transmittance for unpolarised light, shape (n, n_wavelength).

    `cos_incidence` (n,) from 0 to 1; `internal` (n_wavelength,) is exp(-kd) of each sheet at normal
    incidence.
    At grazing incidence (cosine 0) nothing enters.
    """
    _require_panes(panes)
    entering = cos_incidence > 0.0
    # Grazing rows are computed at normal incidence, to stay clear of 0/0, and set to zero afterwards.
    cosine = np.where(entering, cos_incidence, 1.0)
    path = 1.0 / cos_refraction(cosine, refractive_index)
    slanted = internal[np.newaxis, :] ** path[:, np.newaxis]
    s, p = surface_reflectance(cosine, refractive_index)
    mean = 0.5 * (pile(s[:, np.newaxis], slanted, panes)[0] + pile(p[:, np.newaxis], slanted, panes)[0])
    mean[~entering] = 0.0
    return mean


def cos_from_incidence(incidence_deg: FloatArray) -> FloatArray:
    """Cosine of the angle of incidence, 0 from 90 to 180° where the light comes from behind; shape (n,).

    Raises `OutOfDomain` for an angle outside 0 to 180° or NaN.
    """
    if incidence_deg.ndim != 1:
        raise OutOfDomain("incidence_deg", incidence_deg.shape, "a list of angles, shape (n,)")
    good = (incidence_deg >= 0.0) & (incidence_deg <= 180.0)
    if not np.all(good):
        raise OutOfDomain("incidence_deg", float(incidence_deg[~good][0]), "between 0 and 180 degrees")
    return np.where(incidence_deg < 90.0, np.cos(np.radians(incidence_deg)), 0.0)


@cache
def hemisphere_nodes() -> tuple[FloatArray, FloatArray]:
    """Cosines and weights, shapes (48,), of the cosine-weighted mean over a uniform hemisphere.

    mean = 2 ∫ T(µ) µ dµ over 0..1, by Gauss-Legendre; the weights add up to 1.
    """
    node, weight = np.polynomial.legendre.leggauss(_HEMISPHERE_NODES)
    cosine: FloatArray = 0.5 * (node + 1.0)
    share: FloatArray = weight * cosine
    cosine.flags.writeable = False
    share.flags.writeable = False
    return cosine, share


def hemispherical_transmittance(internal: FloatArray, refractive_index: float, panes: int = 1) -> FloatArray:
    """Transmittance for light that comes evenly from the whole hemisphere, shape (n_wavelength,)."""
    cosine, share = hemisphere_nodes()
    mean: FloatArray = share @ sheet_transmittance(cosine, internal, refractive_index, panes)
    return mean
