"""Topocentric sun: direction, zenith and azimuth as seen from a place."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noonframe.sun.ephemeris import geocentric_sun
from noonframe.sun.place import Place
from noonframe.types import FloatArray

SOLAR_PARALLAX_RAD = np.radians(8.794 / 3600.0)  # equatorial horizontal, at 1 AU (IAU 1976)
AIR_TEMPERATURE_C = 12.0  # for refraction only: 10 degrees off moves a 10 degree high sun by 0.003 degrees
SUN_SEMIDIAMETER_DEG = 0.26667
REFRACTION_AT_HORIZON_DEG = 0.5667
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

    @cached_property
    def true_elevation_deg(self) -> FloatArray:
        """Elevation without refraction."""
        return np.degrees(np.arcsin(np.clip(self.up, -1.0, 1.0)))

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
    sun = geocentric_sun(unix_s)
    latitude = np.radians(place.latitude_deg)
    hour_angle = sun.greenwich_hour_angle_rad + np.radians(place.longitude_deg)
    toward_meridian = sun.cos_declination * np.cos(hour_angle)
    east = -sun.cos_declination * np.sin(hour_angle)
    up = np.sin(latitude) * sun.sin_declination + np.cos(latitude) * toward_meridian
    north = np.cos(latitude) * sun.sin_declination - np.sin(latitude) * toward_meridian
    # First order in the parallax: the observer stands one earth radius off the centre, straight up.
    stretch = 1.0 + SOLAR_PARALLAX_RAD * up
    return SunTrack(
        place=place,
        unix_s=unix_s,
        east=east * stretch,
        north=north * stretch,
        up=(up - SOLAR_PARALLAX_RAD) * stretch,
        distance_factor=sun.distance_factor,
    )


def refraction_deg(true_elevation_deg: FloatArray, pressure_hpa: float) -> FloatArray:
    """Lift of the sun by refraction, shape of the input; meant for elevations above about -1 degree.

    Source: Reda and Andreas (2004), Eq. 42.
    """
    bent = true_elevation_deg + 10.3 / (true_elevation_deg + 5.11)
    density = (pressure_hpa / 1010.0) * (283.0 / (273.0 + AIR_TEMPERATURE_C))
    lift: FloatArray = density * 1.02 / (60.0 * np.tan(np.radians(bent)))  # Eq. 42
    return lift
