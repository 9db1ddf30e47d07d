"""Many places at once: where they are, and what air to assume over each."""

import datetime as dt
from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.sky.climatology import ozone_zonal_du
from noonframe.sun.ephemeris import DAY_S
from noonframe.sun.place import HIGHEST_ELEVATION_M, LOWEST_ELEVATION_M
from noonframe.types import BoolArray, FloatArray

OZONE_LIMITS_DU = (100.0, 600.0)
AEROSOL_LIMITS = (0.0, 2.0)
_DEG_PER_DAY = 360.0


@dataclass(frozen=True, eq=False)
class BatchPlaces:
    """Places (n,), each field an array (n,), or one number that holds for all of them.

    Latitude north positive, poles left out; longitude east positive.  `ozone_du` 100-600 and
    `aerosol_optical_depth` (500 nm) 0-2; None takes climatology and the default aerosol, as for one place.
    `checked` makes them from what somebody sent.
    """

    latitude_deg: FloatArray
    longitude_deg: FloatArray
    elevation_m: FloatArray | float = 0.0
    ozone_du: FloatArray | float | None = None
    aerosol_optical_depth: FloatArray | float | None = None

    @classmethod
    def checked(
        cls,
        latitude_deg: FloatArray,
        longitude_deg: FloatArray,
        elevation_m: FloatArray | float = 0.0,
        ozone_du: FloatArray | float | None = None,
        aerosol_optical_depth: FloatArray | float | None = None,
    ) -> Self:
        """The places, or `OutOfDomain` naming the first wrong number, as `latitude_deg[17]`."""
        count = latitude_deg.size
        given = (longitude_deg, elevation_m, ozone_du, aerosol_optical_depth)
        for name, values in zip([field.name for field in fields(cls)][1:], given, strict=True):
            if isinstance(values, np.ndarray) and values.shape != (count,):
                limit = f"as many as in latitude_deg, {count}, or a single one for all"
                raise OutOfDomain(name, f"{values.size} numbers", limit)
        if count == 0:
            raise OutOfDomain("latitude_deg", [], "at least one place")
        _check(
            "latitude_deg",
            latitude_deg,
            (latitude_deg > -90.0) & (latitude_deg < 90.0),
            "between -90 and 90, the poles themselves excluded",
        )
        for name, values, (low, high) in (
            ("longitude_deg", longitude_deg, (-180.0, 180.0)),
            ("elevation_m", elevation_m, (LOWEST_ELEVATION_M, HIGHEST_ELEVATION_M)),
            ("ozone_du", ozone_du, OZONE_LIMITS_DU),
            ("aerosol_optical_depth", aerosol_optical_depth, AEROSOL_LIMITS),
        ):
            if values is not None:
                array = np.asarray(values, dtype=np.float64)
                _check(name, array, (array >= low) & (array <= high), f"between {low:g} and {high:g}")
        return cls(latitude_deg, longitude_deg, elevation_m, ozone_du, aerosol_optical_depth)

    @property
    def count(self) -> int:
        """How many places."""
        return self.latitude_deg.size

    def some(self, which: slice) -> "BatchPlaces":
        """A part of the places."""
        return BatchPlaces(
            self.latitude_deg[which],
            self.longitude_deg[which],
            _part(self.elevation_m, which),
            None if self.ozone_du is None else _part(self.ozone_du, which),
            None if self.aerosol_optical_depth is None else _part(self.aerosol_optical_depth, which),
        )

    def unit_vectors(self) -> FloatArray:
        """Straight up at each place (3, n), by axes toward (0 N, 0 E), (0 N, 90 E) and the north pole."""
        latitude, longitude = np.radians(self.latitude_deg), np.radians(self.longitude_deg)
        level = np.cos(latitude)
        return np.stack([level * np.cos(longitude), level * np.sin(longitude), np.sin(latitude)])

    def ozone_at(self, unix_s: float) -> FloatArray | float:
        """The ozone over each place: what was given, or climatology.  [DU]

        Climatology is that of the local day by mean solar time; one place alone takes the civil day of its
        clocks, which is the same but for an hour or two about midnight.
        """
        if self.ozone_du is not None:
            return self.ozone_du
        local_day = np.floor(unix_s / DAY_S + self.longitude_deg / _DEG_PER_DAY).astype(np.int64)
        first, last = int(local_day.min()), int(local_day.max())
        ozone = _zonal(self.latitude_deg, first)
        for day in range(first + 1, last + 1):
            ozone = np.where(local_day == day, _zonal(self.latitude_deg, day), ozone)
        return ozone


def _zonal(latitude_deg: FloatArray, day: int) -> FloatArray:
    return ozone_zonal_du(latitude_deg, dt.date(1970, 1, 1) + dt.timedelta(days=day))


def _part(values: FloatArray | float, which: slice) -> FloatArray | float:
    return values[which] if isinstance(values, np.ndarray) else values


def _check(name: str, values: FloatArray, good: BoolArray, limit: str) -> None:
    if not good.all():  # NaN is not good either
        index = int(np.argmin(good))
        where = f"{name}[{index}]" if values.ndim else name
        raise OutOfDomain(where, float(values.flat[index]), limit)
