"""A point on the earth, checked once so that every room can trust it."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

LOWEST_ELEVATION_M = -450.0  # just below the Dead Sea shore
HIGHEST_ELEVATION_M = 5500.0  # above this the transfer table's pressure axis ends


@dataclass(frozen=True)
class Place:
    """Latitude (north positive), longitude (east positive) and elevation above sea level.

    The poles themselves are outside the domain: azimuth and local time have no meaning there.
    Longitude -180 and +180 are the same meridian and give the same answers.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.latitude_deg) and -90.0 < self.latitude_deg < 90.0):
            raise OutOfDomain(
                "latitude_deg",
                self.latitude_deg,
                "between -90 and 90, the poles themselves excluded (azimuth has no meaning there; use 89.99)",
            )
        if not (math.isfinite(self.longitude_deg) and -180.0 <= self.longitude_deg <= 180.0):
            raise OutOfDomain("longitude_deg", self.longitude_deg, "between -180 and 180")
        if not (
            math.isfinite(self.elevation_m) and LOWEST_ELEVATION_M <= self.elevation_m <= HIGHEST_ELEVATION_M
        ):
            raise OutOfDomain(
                "elevation_m",
                self.elevation_m,
                f"between {LOWEST_ELEVATION_M:g} and {HIGHEST_ELEVATION_M:g}",
            )

    @cached_property
    def pressure_hpa(self) -> float:
        """Mean surface pressure of the standard atmosphere at this elevation."""
        return float(standard_pressure_hpa(self.elevation_m))


def standard_pressure_hpa(elevation_m: FloatArray | float) -> FloatArray:
    """Mean surface pressure at an elevation, shape of `elevation_m`, as pvlib's `alt2pres` has it.

    Source: US Standard Atmosphere 1976, in the closed form of its lowest layer.
    """
    return np.asarray(((44331.514 - elevation_m) / 11880.516) ** (1.0 / 0.1902632), dtype=np.float64)
