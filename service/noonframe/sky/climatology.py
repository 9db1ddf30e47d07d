"""What to assume of the air when nobody has measured it."""

import datetime as dt
import math
from functools import cache

import numpy as np

from noonframe.datafiles import data_folder, read_columns
from noonframe.types import FloatArray

DEFAULT_AEROSOL_AT_SEA_LEVEL = 0.12
"""AOD at 500 nm between rural (0.10) and continental (0.15-0.20) air; common practice, from memory."""

AEROSOL_SPREAD_FACTOR = 2.0
"""One standard deviation of the default aerosol is a factor of two either way."""

AEROSOL_SCALE_HEIGHT_M = 2000.0
DEFAULT_GROUND_ALBEDO = 0.04
"""Grass 0.02, soil 0.05, concrete 0.1 at 300-400 nm: Feister and Grewe (1995), Photochem. Photobiol. 62,
736-744."""


@cache
def _ozone_table() -> tuple[FloatArray, FloatArray]:
    columns = read_columns(data_folder() / "ozone_climatology.csv")
    latitude = columns.pop("latitude_deg")
    months = np.stack([columns[f"month_{month:02d}"] for month in range(1, 13)], axis=1)
    return latitude, months


def ozone_climatology_du(latitude_deg: float, day: dt.date) -> float:
    """Mean total ozone column for a latitude and day.

    Linear in latitude, and in time between the middles of months; poleward of 80 degrees the value
    at 80 is held.  Longitude does not enter.  Source: Fortuin and Kelder (1998), zonal means 1980-1991.
    """
    return float(ozone_zonal_du(latitude_deg, day))


def ozone_zonal_du(latitude_deg: FloatArray | float, day: dt.date) -> FloatArray:
    """`ozone_climatology_du` at many latitudes, shape of `latitude_deg`."""
    latitude, months = _ozone_table()
    year_start = dt.date(day.year, 1, 1)
    year_length = (dt.date(day.year + 1, 1, 1) - year_start).days
    month_position = ((day - year_start).days + 0.5) / year_length * 12.0 - 0.5
    before = math.floor(month_position)
    part = month_position - before
    by_latitude = (1.0 - part) * months[:, before % 12] + part * months[:, (before + 1) % 12]
    return np.asarray(np.interp(latitude_deg, latitude, by_latitude), dtype=np.float64)


def aerosol_default(elevation_m: float) -> float:
    """Default aerosol optical depth at 500 nm, thinning upward with a 2 km scale height."""
    return DEFAULT_AEROSOL_AT_SEA_LEVEL * math.exp(-max(elevation_m, 0.0) / AEROSOL_SCALE_HEIGHT_M)
