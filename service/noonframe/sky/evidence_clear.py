"""What the shortwave irradiance would be without cloud, over a forecast's own intervals."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from noonframe.sky.evidence_broadband import broadband_table, node_factors
from noonframe.sky.optical_depth import AEROSOL_REFERENCE_NM, ANGSTROM_EXPONENT
from noonframe.sun.place import Place
from noonframe.sun.position import sun_track
from noonframe.types import FloatArray

PRECIPITABLE_WATER_CM = 1.4
"""Of the US Standard Atmosphere.  From 0.7 to 3 cm the clear irradiance moves by about 4 %."""

SOLAR_CONSTANT_W_M2 = 1361.0
"""Total solar irradiance at 1 AU: Kopp and Lean (2011), Geophys. Res. Lett. 38, L01706."""

SOLIS_LIMIT_AT_500_NM = 0.70
"""The clear-sky model is fitted up to an aerosol optical depth of 0.45 at 700 nm: 0.70 at 500 nm."""

_SUB_STEP_S = 300.0
_TO_700_NM = (700.0 / AEROSOL_REFERENCE_NM) ** -ANGSTROM_EXPONENT


def clear_global_w_m2(place: Place, unix_s: FloatArray, aerosol_optical_depth: float) -> FloatArray:
    """Global irradiance of the whole spectrum on level ground under a cloudless sky, (n,).  [W m-2]

    The simplified Solis model of Ineichen (2008), Solar Energy 82, 758-762, through pvlib: it takes the
    aerosol optical depth itself, so no turbidity has to be made up.  `aerosol_optical_depth` is at 500 nm;
    within 3 % of the Bird model up to 0.12 and zenith 70 degrees, and outside its fit from
    `SOLIS_LIMIT_AT_500_NM` on, where the two part by a fifth and more.
    """
    return _clear_and_zenith(place, unix_s, aerosol_optical_depth)[0]


def _clear_and_zenith(
    place: Place, unix_s: FloatArray, aerosol_optical_depth: float
) -> tuple[FloatArray, FloatArray]:
    from pvlib.clearsky import simplified_solis

    track = sun_track(place, unix_s)
    zenith = track.zenith_deg
    clear = np.zeros(unix_s.shape)
    up = zenith < 90.0
    if up.any():
        clear[up] = simplified_solis(
            90.0 - zenith[up],
            aod700=aerosol_optical_depth * _TO_700_NM,
            precipitable_water=PRECIPITABLE_WATER_CM,
            pressure=place.pressure_hpa * 100.0,
            dni_extra=SOLAR_CONSTANT_W_M2 * track.distance_factor[up],
        )["ghi"]
    return clear, zenith


@dataclass(frozen=True, eq=False)
class ClearIntervals:
    """The cloudless sky over `n` intervals.

    `global_w_m2` (n,) is the mean, `zenith_deg` (n,) the zenith weighed by the irradiance (the middle's
    when there is none), `nodes` (n, n_node) the table's global factors weighed likewise, so that they
    belong to the mean of the interval.  `sub_s` and `sub_weight` (n, n_sub) are the instants looked at and
    their shares of the irradiance.
    """

    global_w_m2: FloatArray
    zenith_deg: FloatArray
    nodes: FloatArray
    sub_s: FloatArray
    sub_weight: FloatArray


def clear_intervals(
    place: Place, start_s: FloatArray, end_s: FloatArray, aerosol_optical_depth: float
) -> ClearIntervals:
    """The cloudless sky over intervals `start_s` to `end_s` (n,); an empty one stands for its instant."""
    return _kept_intervals(place, start_s.tobytes(), end_s.tobytes(), aerosol_optical_depth)


@lru_cache(maxsize=32)
def _kept_intervals(
    place: Place, start_s: bytes, end_s: bytes, aerosol_optical_depth: float
) -> ClearIntervals:
    """Kept, because the members of an ensemble and the questions of an hour share their intervals."""
    start, end = np.frombuffer(start_s), np.frombuffer(end_s)
    longest = float(np.max(end - start, initial=0.0))
    count = max(3, round(longest / _SUB_STEP_S))
    sub = start[:, None] + (end - start)[:, None] * ((np.arange(count) + 0.5) / count)
    clear, zenith = _clear_and_zenith(place, sub.ravel(), aerosol_optical_depth)
    clear, zenith = clear.reshape(sub.shape), zenith.reshape(sub.shape)
    total = clear.sum(axis=1)
    weight = np.where(total[:, None] > 0.0, clear, 1.0)
    weight = weight / weight.sum(axis=1, keepdims=True)
    by_sub = node_factors(zenith.ravel()).reshape(*sub.shape, broadband_table().optical_depth.size)
    return ClearIntervals(
        global_w_m2=total / count,
        zenith_deg=np.sum(weight * zenith, axis=1),
        nodes=np.einsum("is,isn->in", weight, by_sub),
        sub_s=sub,
        sub_weight=weight,
    )
