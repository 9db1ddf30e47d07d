"""Geocentric sun from the NREL solar position algorithm, kept at nodes and interpolated.

Seen from the earth's centre the sun is the same for every place and moves smoothly, so the full
algorithm runs once per half day (`pvlib.spa`) and everything between comes from a four-point
Lagrange cubic on to hourly points and straight lines between those.  Against the full algorithm
the declination and hour angle are good to about 2e-6 degrees (tested).
"""

import datetime as dt
import sys
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import numpy as np

from noonframe.errors import DataFileError, OutOfDomain
from noonframe.types import FloatArray

DAY_S = 86400.0
NODE_S = 43200.0
HOUR_S = 3600.0
_NODES_PER_BLOCK = 128
_HOURS_PER_NODE = int(NODE_S / HOUR_S)
_HOURS_PER_BLOCK = _NODES_PER_BLOCK * _HOURS_PER_NODE

EARLIEST = dt.datetime(1900, 1, 1, tzinfo=dt.UTC)
LATEST = dt.datetime(2200, 1, 1, tzinfo=dt.UTC)
EARLIEST_S, LATEST_S = EARLIEST.timestamp(), LATEST.timestamp()


@dataclass(frozen=True)
class GeocentricSun:
    """Apparent geocentric sun at `n` instants; every array has shape (n,).

    `greenwich_hour_angle_rad` grows without bound (no wrap); `distance_factor` is (r0/r) squared.
    """

    sin_declination: FloatArray
    cos_declination: FloatArray
    greenwich_hour_angle_rad: FloatArray
    distance_factor: FloatArray


def geocentric_sun(unix_s: FloatArray) -> GeocentricSun:
    """Apparent geocentric sun at `unix_s` (n,), seconds of UTC since 1970, in any order.

    UT1 is taken as UTC (within 0.9 s, 0.004 degrees of hour angle).  Raises `OutOfDomain` for
    times that are not finite or outside 1900-2200.
    Source: Reda and Andreas (2004), Solar Energy 76, 577-589, through pvlib.
    """
    if unix_s.size == 0:
        empty = np.empty(0)
        return GeocentricSun(empty, empty, empty, empty)
    first, last = float(unix_s.min()), float(unix_s.max())
    if not (first >= EARLIEST_S and last <= LATEST_S):  # also true for NaN
        bad = last if first >= EARLIEST_S else first
        raise OutOfDomain("time", bad, "a time between the years 1900 and 2200")
    values, steps, origin_s = _hourly_table(first, last)
    position = (unix_s - origin_s) / HOUR_S
    index = position.astype(np.intp)
    sin_dec, cos_dec, advance, factor = values.take(index, axis=1) + (position - index) * steps.take(
        index, axis=1
    )
    # The mean sun's hour angle is exact in the day fraction; only its slow advance is interpolated.  Whole
    # days are dropped before the product, so that the angle keeps its digits.
    angle = advance + (2.0 * np.pi / DAY_S) * (unix_s - DAY_S * np.floor(first / DAY_S)) - np.pi
    return GeocentricSun(sin_dec, cos_dec, angle, factor)


@lru_cache(maxsize=16)
def _joined(first_block: int, last_block: int) -> tuple[FloatArray, FloatArray]:
    blocks = [_block(index) for index in range(first_block, last_block + 1)]
    values = np.concatenate([block[:, :-1] for block in blocks] + [blocks[-1][:, -1:]], axis=1)
    return values, np.diff(values, axis=1, append=values[:, -1:])


def _hourly_table(first_s: float, last_s: float) -> tuple[FloatArray, FloatArray, float]:
    """Hourly values (4, n) and steps to the next hour that cover the span, with the first hour's time."""
    span = _HOURS_PER_BLOCK * HOUR_S
    first_block, last_block = int(first_s // span), int(last_s // span)
    return *_joined(first_block, last_block), first_block * span


@cache
def _position_algorithm() -> ModuleType:
    """pvlib's module of the NREL algorithm, by itself.

    It needs numpy alone, while the whole package brings a hundred megabytes and most of a second: too much
    for a phone's question to a small computer.  A pvlib already loaded is used as it is.
    """
    loaded = sys.modules.get("pvlib.spa")
    if loaded is not None:
        return loaded
    package = find_spec("pvlib")
    if package is None or not package.submodule_search_locations:
        raise DataFileError("pvlib", "pvlib", "is missing from this installation")
    file = Path(package.submodule_search_locations[0]) / "spa.py"
    spec = spec_from_file_location("noonframe_pvlib_spa", file)
    if spec is None or spec.loader is None:
        raise DataFileError("pvlib", file, "cannot be loaded")
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@lru_cache(maxsize=256)
def _block(index: int) -> FloatArray:
    """Hourly (4, hours + 1) of sin and cos declination, hour-angle advance [rad], distance factor."""
    spa = _position_algorithm()
    node = np.arange(-1, _NODES_PER_BLOCK + 3) + index * _NODES_PER_BLOCK
    unix_s = node * NODE_S
    middle = dt.datetime(1970, 1, 1) + dt.timedelta(seconds=float(unix_s[len(unix_s) // 2]))
    delta_t_s = float(spa.calculate_deltat(middle.year, middle.month))
    sidereal, ascension, declination = spa.solar_position_numpy(
        unix_s, 0.0, 0.0, 0.0, 0.0, 0.0, delta_t_s, 0.0, 1, sst=True
    )
    radius = spa.solar_position_numpy(unix_s, 0.0, 0.0, 0.0, 0.0, 0.0, delta_t_s, 0.0, 1, esd=True)[0]
    mean_sun_deg = 360.0 * np.mod(unix_s / DAY_S, 1.0) - 180.0
    # The difference from the mean sun is the equation of time: a few degrees, so it never wraps.
    advance_deg = np.mod(sidereal - ascension - mean_sun_deg + 180.0, 360.0) - 180.0
    declination_rad = np.radians(declination)
    nodes = np.stack(
        [np.sin(declination_rad), np.cos(declination_rad), np.radians(advance_deg), radius**-2.0]
    )
    return _cubic_to_hours(nodes)


def _cubic_to_hours(nodes: FloatArray) -> FloatArray:
    """Four-point Lagrange cubic from nodes (k, m + 4) on to hours (k, m * hours_per_node + 1)."""
    weights = lagrange_weights(np.arange(_HOURS_PER_NODE) / _HOURS_PER_NODE)
    stencils = np.stack([nodes[:, k : k + _NODES_PER_BLOCK] for k in range(4)])
    hours = np.einsum("sh,sqn->qnh", weights, stencils).reshape(nodes.shape[0], -1)
    end: FloatArray = nodes[:, _NODES_PER_BLOCK + 1 : _NODES_PER_BLOCK + 2]
    return np.concatenate([hours, end], axis=1)


def lagrange_weights(x: FloatArray) -> FloatArray:
    """Weights (4, n) of values at -1, 0, 1 and 2 for a cubic through them, read at `x` (n,) in 0 to 1."""
    return np.stack(
        [
            -x * (x - 1.0) * (x - 2.0) / 6.0,
            (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
            -(x + 1.0) * x * (x - 2.0) / 2.0,
            (x + 1.0) * x * (x - 1.0) / 6.0,
        ]
    )
