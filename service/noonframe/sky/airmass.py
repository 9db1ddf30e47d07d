"""Relative air mass: how much longer the slanted path is than the vertical one, per absorber.

Each constituent sits at its own height, and at low sun the curvature of the earth makes that matter: at the
horizon the path through the whole air is 38 verticals, through ozone near 22 km only 12.

    [1] F. Kasten and A. T. Young, "Revised optical air mass tables and approximation formula",
        Applied Optics 28, 4735-4738 (1989), doi:10.1364/AO.28.004735.
    [2] N. Robinson (ed.), "Solar Radiation", Elsevier (1966); the form quoted by R. E. Bird and C. Riordan,
        J. Climate Appl. Meteor. 25, 87-97 (1986), Eq. 2-10.
"""

from typing import Final

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

ZENITH_LIMIT_DEG: Final = 96.0
"""Largest apparent zenith angle the sky models answer for: the end of civil twilight."""

EARTH_RADIUS_KM: Final = 6370.0  # [2], as used with the heights below
OZONE_HEIGHT_KM: Final = 22.0  # [2]
AEROSOL_HEIGHT_KM: Final = 2.0  # the scale height of boundary-layer haze
CLOUD_HEIGHT_KM: Final = 1.5  # middle of the cloud layer of the transfer table

_HORIZON_DEG = 90.0


def checked_zenith(apparent_zenith_deg: FloatArray | float) -> FloatArray:
    """The zenith angles as an array, or `OutOfDomain` if any is not within 0 to `ZENITH_LIMIT_DEG`."""
    zenith = np.asarray(apparent_zenith_deg, dtype=np.float64)
    inside = (zenith >= 0.0) & (zenith <= ZENITH_LIMIT_DEG)  # false for NaN
    if not inside.all():
        worst = float(zenith[~inside].flat[0])
        raise OutOfDomain("zenith_deg", worst, f"between 0 and {ZENITH_LIMIT_DEG:g}")
    return zenith


def airmass_kasten_young_1989(apparent_zenith_deg: FloatArray | float) -> FloatArray:
    """Air mass of the whole (Rayleigh) atmosphere, shape of `apparent_zenith_deg`.  [unitless]

    `apparent_zenith_deg` is refracted, 0 to 96.  The formula of [1] is within 0.5 % of its tables up to the
    horizon, where it gives 37.92.  Below the horizon it turns over at 92 degrees and vanishes at 96.08, so
    beyond 90 degrees the air mass instead grows exponentially with the slope it has at 90: smooth, monotone
    and finite (about 340 at 96 degrees), with no claim to accuracy, since no direct light arrives there.
    """
    zenith = checked_zenith(apparent_zenith_deg)
    above = np.minimum(zenith, _HORIZON_DEG)
    airmass = _kasten_young(above)
    return airmass * np.exp((zenith - above) * _horizon_growth_per_deg())


def airmass_shell(apparent_zenith_deg: FloatArray | float, height_km: float) -> FloatArray:
    """Air mass of a thin spherical shell `height_km` up, shape of `apparent_zenith_deg`.  [unitless]

    m = (1 + h/R) / sqrt(cos^2 z + 2 h/R), with R = 6370 km [2].  Good to h/R (0.3 % for ozone) of the exact
    geometry.  `apparent_zenith_deg` is 0 to 96; below the horizon the value at 90 is held.
    """
    if not height_km > 0.0:
        raise OutOfDomain("height_km", height_km, "more than 0")
    cosine = np.maximum(np.cos(np.radians(checked_zenith(apparent_zenith_deg))), 0.0)
    ratio = height_km / EARTH_RADIUS_KM
    return (1.0 + ratio) / np.sqrt(cosine**2 + 2.0 * ratio)


def _kasten_young(zenith_deg: FloatArray) -> FloatArray:
    """Eq. 3 of [1], up to the horizon."""
    return 1.0 / (np.cos(np.radians(zenith_deg)) + 0.50572 * (96.07995 - zenith_deg) ** -1.6364)


def _horizon_growth_per_deg() -> float:
    """d ln m / dz of Eq. 3 of [1] at 90 degrees, per degree."""
    depth = 96.07995 - _HORIZON_DEG
    slope = -np.pi / 180.0 + 0.50572 * 1.6364 * depth**-2.6364
    return float(-slope * _kasten_young(np.array(_HORIZON_DEG)))
