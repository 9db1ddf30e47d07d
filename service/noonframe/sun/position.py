"""Topocentric sun: direction, zenith and azimuth as seen from a place."""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from noonframe.sun.ephemeris import EARLIEST_S, LATEST_S, geocentric_sun, lagrange_weights
from noonframe.sun.place import Place
from noonframe.types import FloatArray, IntArray

SOLAR_PARALLAX_RAD = math.radians(8.794 / 3600.0)  # equatorial horizontal, at 1 AU (IAU 1976)
AIR_TEMPERATURE_C = 12.0  # for refraction only: 10 degrees off moves a 10 degree high sun by 0.003 degrees
SUN_SEMIDIAMETER_DEG = 0.26667
REFRACTION_AT_HORIZON_DEG = 0.5667
_MOST_KEPT = 512  # instants of a track worth keeping
_NODE_S = 600.0  # the sun between even instants is read from nodes at most this far apart
_UNEVEN_S = 5e-7  # a unix time in double precision is no finer than 2.4e-7 s
RISE_ELEVATION_DEG = -(SUN_SEMIDIAMETER_DEG + REFRACTION_AT_HORIZON_DEG)


@dataclass(frozen=True)
class SunTrack:
    """The sun from one place at `n` instants; arrays have shape (n,).

    `up` is the sine of the true (unrefracted, topocentric) elevation; `east` and `north` complete
    the unit vector toward the sun.  `distance_factor` is (r0/r) squared.
    """

    place: Place
    unix_s: FloatArray
    east: FloatArray
    north: FloatArray
    up: FloatArray
    distance_factor: FloatArray

    def some(self, which: IntArray) -> "SunTrack":
        """The track at some of the instants."""
        return SunTrack(
            self.place,
            self.unix_s[which],
            self.east[which],
            self.north[which],
            self.up[which],
            self.distance_factor[which],
        )

    @cached_property
    def true_elevation_deg(self) -> FloatArray:
        """Elevation without refraction."""
        # Not from the sine alone: near the zenith that would magnify what interpolation leaves in it.
        return np.degrees(np.arctan2(self.up, np.hypot(self.east, self.north)))

    @cached_property
    def zenith_deg(self) -> FloatArray:
        """Apparent (refracted) zenith angle, exactly as the NREL algorithm defines it."""
        true = self.true_elevation_deg
        refracted = true >= RISE_ELEVATION_DEG
        lift = np.zeros_like(true)
        lift[refracted] = refraction_deg(true[refracted], self.place.pressure_hpa)
        return 90.0 - true - lift

    @cached_property
    def azimuth_deg(self) -> FloatArray:
        """Azimuth clockwise from true north, in [0, 360)."""
        return np.mod(np.degrees(np.arctan2(self.east, self.north)), 360.0)

    @cached_property
    def apparent_vector(self) -> FloatArray:
        """Unit vectors (n, 3) east, north, up toward the refracted sun."""
        zenith = np.radians(self.zenith_deg)
        level = np.hypot(self.east, self.north)
        stretch = np.sin(zenith) / np.where(level > 0.0, level, 1.0)
        return np.stack([self.east * stretch, self.north * stretch, np.cos(zenith)], axis=-1)


def sun_track(place: Place, unix_s: FloatArray) -> SunTrack:
    """The sun from `place` at `unix_s` (n,), seconds of UTC since 1970.

    Within 0.0003 degrees of the full algorithm (Reda and Andreas 2004), whose own stated
    uncertainty is 0.0003 degrees.  Raises `OutOfDomain` for times outside 1900-2200.
    """
    if unix_s.size <= _MOST_KEPT:
        return _kept_track(place, np.asarray(unix_s, dtype=np.float64).tobytes())
    stride = _stride(unix_s)
    return _track(place, unix_s) if stride < 2 else _even_track(place, unix_s, stride)


@lru_cache(maxsize=128)
def _kept_track(place: Place, unix_s: bytes) -> SunTrack:
    """A short track, kept because one question looks at the same instants under several skies."""
    return _track(place, np.frombuffer(unix_s))


def _track(place: Place, unix_s: FloatArray) -> SunTrack:
    sun = geocentric_sun(unix_s)
    latitude = math.radians(place.latitude_deg)
    sin_latitude, cos_latitude = math.sin(latitude), math.cos(latitude)
    hour_angle = sun.greenwich_hour_angle_rad + math.radians(place.longitude_deg)
    toward_meridian = sun.cos_declination * np.cos(hour_angle)
    toward_west = sun.cos_declination * np.sin(hour_angle)
    up = sin_latitude * sun.sin_declination + cos_latitude * toward_meridian
    north = cos_latitude * sun.sin_declination - sin_latitude * toward_meridian
    # First order in the parallax: the observer stands one earth radius off the centre, straight up.
    stretch = 1.0 + SOLAR_PARALLAX_RAD * up
    return SunTrack(
        place=place,
        unix_s=unix_s,
        east=-toward_west * stretch,
        north=north * stretch,
        up=(up - SOLAR_PARALLAX_RAD) * stretch,
        distance_factor=sun.distance_factor,
    )


def _stride(unix_s: FloatArray) -> int:
    """How many of the instants fit between two nodes, if their steps are even; else 0."""
    steps_s = unix_s[1:] - unix_s[:-1]
    least_s, most_s = float(steps_s.min()), float(steps_s.max())
    if not (least_s > 0.0 and most_s - least_s <= _UNEVEN_S):
        return 0
    reach_s = 2.0 * _NODE_S  # the nodes must not leave the years that the algorithm is kept to
    if not (EARLIEST_S + reach_s <= unix_s[0] and unix_s[-1] <= LATEST_S - 2.0 * reach_s):
        return 0
    return int(_NODE_S / most_s)


def _even_track(place: Place, unix_s: FloatArray, stride: int) -> SunTrack:
    """The track at even steps, from every `stride`-th instant by a four-point Lagrange cubic.

    Over ten minutes the sun turns 0.044 rad, so the cubic is good to 0.0234 * 0.044**4 rad, 0.000005 degrees.
    """
    first_s, last_s = float(unix_s[0]), float(unix_s[-1])
    count = -(-unix_s.size // stride)
    node_s = first_s + (last_s - first_s) / (unix_s.size - 1) * stride * np.arange(-1.0, count + 2.0)
    nodes = _track(place, node_s)
    rows = np.stack([nodes.east, nodes.north, nodes.up, nodes.distance_factor])
    stencils = np.lib.stride_tricks.sliding_window_view(rows, 4, axis=1)
    between = stencils @ lagrange_weights(np.arange(stride) / stride)
    east, north, up, factor = between.reshape(4, -1)[:, : unix_s.size]
    return SunTrack(place, unix_s, east, north, up, factor)


def refraction_deg(true_elevation_deg: FloatArray, pressure_hpa: FloatArray | float) -> FloatArray:
    """Lift of the sun by refraction, shape of the input; meant for elevations above about -1 degree.

    Source: Reda and Andreas (2004), Eq. 42.
    """
    bent = true_elevation_deg + 10.3 / (true_elevation_deg + 5.11)
    density = (pressure_hpa / 1010.0) * (283.0 / (273.0 + AIR_TEMPERATURE_C))
    lift: FloatArray = density * 1.02 / (60.0 * np.tan(np.radians(bent)))  # Eq. 42
    return lift
