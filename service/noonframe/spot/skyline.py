"""What stands on the horizon: a polyline of azimuth and elevation all the way round."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self, overload

import numpy as np

from noonframe.errors import Malformed, OutOfDomain
from noonframe.types import BoolArray, FloatArray

LOWEST_ELEVATION_DEG = -5.0
"""A skyline may dip this far, as seen from a hill or a cliff."""

_STRIP_DEG = 1.0
_UNIT_TOLERANCE = 1e-6


@dataclass(frozen=True)
class Skyline:
    """Elevation of the skyline around the full circle.

    Between corners the elevation is linear in azimuth, and the last corner is joined to the first across
    north. One corner alone is a skyline of constant height. Everything on the skyline counts as far away:
    every point of a sheet sees it under the same angles.

    azimuth_deg: clockwise from true north, strictly increasing, at least 0 and below 360.
    elevation_deg: above the horizontal, between -5 and 90. A part below 0 opens no sky beneath the
    horizontal.
    """

    azimuth_deg: tuple[float, ...]
    elevation_deg: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.azimuth_deg) != len(self.elevation_deg):
            raise Malformed("skyline", self.elevation_deg, "needs one elevation for each azimuth")
        if not self.azimuth_deg:
            raise OutOfDomain("skyline", [], "at least one pair of azimuth and elevation")
        before = -math.inf
        for index, (azimuth, elevation) in enumerate(zip(self.azimuth_deg, self.elevation_deg, strict=True)):
            if not 0.0 <= azimuth < 360.0:
                raise OutOfDomain(f"skyline[{index}].azimuth_deg", azimuth, "at least 0 and below 360")
            if azimuth <= before:
                raise OutOfDomain(
                    f"skyline[{index}].azimuth_deg", azimuth, f"above {before}, the one before it"
                )
            if not LOWEST_ELEVATION_DEG <= elevation <= 90.0:
                raise OutOfDomain(
                    f"skyline[{index}].elevation_deg", elevation, f"between {LOWEST_ELEVATION_DEG:g} and 90"
                )
            before = azimuth

    @classmethod
    def from_pairs(cls, pairs: Sequence[Sequence[float]]) -> Self:
        """Skyline from `[[azimuth_deg, elevation_deg], ...]`."""
        for index, pair in enumerate(pairs):
            if len(pair) != 2:
                raise Malformed(f"skyline[{index}]", pair, "needs an azimuth and an elevation")
        return cls(tuple(float(pair[0]) for pair in pairs), tuple(float(pair[1]) for pair in pairs))

    def elevation_at(self, azimuth_deg: float | FloatArray) -> FloatArray:
        """Elevation of the skyline, shape of `azimuth_deg`, any azimuth; NaN for NaN.  [deg]"""
        heights = np.interp(azimuth_deg, self.azimuth_deg, self.elevation_deg, period=360.0)
        return np.asarray(heights, dtype=np.float64)

    def blocks(self, sun: FloatArray) -> BoolArray:
        """Whether the skyline hides the middle of the sun, shape `(n_time,)`.

        sun: unit vectors [east, north, up] towards the refracted sun, shape `(n_time, 3)`.
        """
        sun = checked_directions("sun", sun)
        azimuth_deg = np.degrees(np.arctan2(sun[:, 0], sun[:, 1]))
        elevation_deg = np.degrees(np.arctan2(sun[:, 2], np.hypot(sun[:, 0], sun[:, 1])))
        blocked: BoolArray = elevation_deg <= self.elevation_at(azimuth_deg)
        return blocked

    @overload
    def open_sky_fraction(self, tilt_deg: float, aim_azimuth_deg: float) -> float: ...

    @overload
    def open_sky_fraction(
        self, tilt_deg: float | FloatArray, aim_azimuth_deg: float | FloatArray
    ) -> float | FloatArray: ...

    def open_sky_fraction(
        self, tilt_deg: float | FloatArray, aim_azimuth_deg: float | FloatArray
    ) -> float | FloatArray:
        """Cosine-weighted share of a uniform sky that a plane sees above the skyline.  [unitless]

        1 is a flat sheet on open ground; without obstruction the share is (1 + cos tilt) / 2. Shape of the
        two arguments broadcast together; tilt 0 to 180 degrees. Analytic in elevation, two-point Gauss in
        azimuth on strips of at most 1 degree that end at the skyline's corners: within 1e-4.
        """
        tilt_deg, aim_azimuth_deg = np.asarray(tilt_deg, np.float64), np.asarray(aim_azimuth_deg, np.float64)
        if not np.all((tilt_deg >= 0.0) & (tilt_deg <= 180.0)):
            raise OutOfDomain("tilt_deg", tilt_deg.tolist(), "between 0 and 180")
        if not np.all(np.isfinite(aim_azimuth_deg)):
            raise OutOfDomain("aim_azimuth_deg", aim_azimuth_deg.tolist(), "a finite number")
        edges = np.union1d(np.arange(0.0, 360.0 + _STRIP_DEG, _STRIP_DEG), self.azimuth_deg)
        azimuth_deg, weight_deg = gauss_strips(edges)
        tilt = np.radians(tilt_deg)[..., None]
        facing = np.sin(tilt) * np.cos(np.radians(azimuth_deg - aim_azimuth_deg[..., None]))
        lower = np.maximum(np.radians(self.elevation_at(azimuth_deg)), 0.0)
        lower, upper = facing_range(facing, np.cos(tilt), lower, np.full_like(lower, np.pi / 2))
        seen = column_share(facing, np.cos(tilt), lower, upper)
        share = np.asarray(seen @ np.radians(weight_deg), dtype=np.float64)
        return share if share.ndim else float(share)


def checked_directions(field: str, vectors: FloatArray) -> FloatArray:
    """`vectors` if they are unit vectors of shape `(n, 3)`; raises `Malformed` or `OutOfDomain` otherwise."""
    vectors = np.asarray(vectors, dtype=np.float64)
    if vectors.ndim != 2 or vectors.shape[1] != 3:
        raise Malformed(field, vectors.shape, "needs the shape (n, 3)")
    wrong = ~(np.abs(np.einsum("ij,ij->i", vectors, vectors) - 1.0) < _UNIT_TOLERANCE)
    if wrong.any():
        raise OutOfDomain(field, vectors[int(np.argmax(wrong))].tolist(), "a unit vector")
    return vectors


def gauss_strips(edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two Gauss-Legendre nodes in each strip between sorted `edges` (last axis), in order; their weights."""
    middle, half = 0.5 * (edges[..., 1:] + edges[..., :-1]), 0.5 * (edges[..., 1:] - edges[..., :-1])
    step = half / math.sqrt(3.0)
    shape = (*middle.shape[:-1], 2 * middle.shape[-1])
    nodes = np.stack([middle - step, middle + step], axis=-1).reshape(shape)
    return nodes, np.repeat(half, 2, axis=-1)


def facing_range(
    facing: FloatArray, upward: FloatArray | float, lower: FloatArray, upper: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Narrow a range of elevations [rad] to what lies in front of a plane; empty when upper <= lower.

    facing: the plane's normal along the horizontal direction of the column; upward: its vertical part.
    """
    # The plane's own horizon: facing cos(elevation) + upward sin(elevation) = 0.
    own = np.where(np.asarray(upward) >= 0.0, 1.0, -1.0)
    horizon = np.arctan2(-own * facing, own * upward)
    return (
        np.where(own > 0.0, np.maximum(lower, horizon), lower),
        np.where(own > 0.0, upper, np.minimum(upper, horizon)),
    )


def column_share(
    facing: FloatArray, upward: FloatArray | float, lower: FloatArray, upper: FloatArray
) -> FloatArray:
    """Cosine-weighted share of the sky per radian of azimuth between two elevations [rad]; 0 where empty.

    The integral of (facing cos e + upward sin e) cos e over e, divided by pi.
    """
    top = np.maximum(upper, lower)
    sin_top, sin_low = np.sin(top), np.sin(lower)
    level = 0.5 * (top - lower + sin_top * np.cos(top) - sin_low * np.cos(lower))
    rising = 0.5 * (sin_top - sin_low) * (sin_top + sin_low)
    return np.asarray((facing * level + upward * rising) / np.pi, dtype=np.float64)
