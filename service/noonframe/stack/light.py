"""Light at the frame and behind the stack, moment by moment."""

from dataclasses import dataclass

import numpy as np

from noonframe.spot.plane import OpenSpot, plane_view
from noonframe.stack.curves import Channel, LightCurves, Lookup, angle_ratio_at, apparent_vectors, locate
from noonframe.sun.position import SunTrack
from noonframe.types import FloatArray


@dataclass(frozen=True)
class LightSeries:
    """Light at `n` instants, arrays (n,).  UVA and blue before the stack, on the frame's plane.  [W m-2]

    `uva_diffuse_w_m2` is all that does not come straight from the sun's disc; `uv_index` is for level,
    open ground.
    """

    uva_w_m2: FloatArray
    uva_diffuse_w_m2: FloatArray
    blue_w_m2: FloatArray
    effective_w_m2: FloatArray
    uv_index: FloatArray

    @property
    def uva_diffuse_fraction(self) -> FloatArray:
        """Diffuse share of the UVA; NaN where there is no light."""
        lit = self.uva_w_m2 > 0.0
        # The two curves are interpolated apart and may differ in the last digits where all light is diffuse.
        share = np.minimum(self.uva_diffuse_w_m2 / np.where(lit, self.uva_w_m2, 1.0), 1.0)
        return np.where(lit, share, np.nan)


def light_on(curves: LightCurves, track: SunTrack, spot: OpenSpot, near_ground_albedo: float) -> LightSeries:
    """All the light on `spot` along a sun track; `near_ground_albedo` is that of the ground before it."""
    at = locate(track.up)
    distance = track.distance_factor
    if spot.is_plain:
        return LightSeries(
            uva_w_m2=at.read(curves.flat_uva) * distance,
            uva_diffuse_w_m2=at.read(curves.flat_uva_diffuse) * distance,
            blue_w_m2=at.read(curves.flat_blue) * distance,
            effective_w_m2=at.read(curves.flat_effective) * distance,
            uv_index=at.read(curves.uv_index) * distance,
        )
    plane = _Plane(curves, track, spot, at, near_ground_albedo)
    uva_beam, uva_rest = plane.shares(curves.uva)
    blue_beam, blue_rest = plane.shares(curves.blue)
    return LightSeries(
        uva_w_m2=(uva_beam + uva_rest) * distance,
        uva_diffuse_w_m2=uva_rest * distance,
        blue_w_m2=(blue_beam + blue_rest) * distance,
        effective_w_m2=plane.effective() * distance,
        uv_index=at.read(curves.uv_index) * distance,
    )


def effective_on(
    curves: LightCurves, track: SunTrack, spot: OpenSpot, near_ground_albedo: float
) -> FloatArray:
    """Effective irradiance (n,) alone: the quick way to a dose.  [W m-2]"""
    at = locate(track.up)
    if spot.is_plain:
        return at.read(curves.flat_effective) * track.distance_factor
    lit = np.flatnonzero(at.light)  # over days and years half of the suns are down
    if lit.size < at.light.size:
        effective = np.zeros(at.light.size)
        track, at = track.some(lit), at.some(lit)
        plane = _Plane(curves, track, spot, at, near_ground_albedo)
        effective[lit] = plane.effective() * track.distance_factor
        return effective
    return _Plane(curves, track, spot, at, near_ground_albedo).effective() * track.distance_factor


class _Plane:
    """The beam and the rest on a tilted or shaded plane, at 1 AU."""

    def __init__(
        self, curves: LightCurves, track: SunTrack, spot: OpenSpot, at: Lookup, near_ground_albedo: float
    ) -> None:
        self._curves = curves
        self._at = at
        self._up = track.up
        self._albedo = near_ground_albedo
        view = plane_view(spot, apparent_vectors(curves, at, track))
        self._cos_incidence = view.cos_incidence
        facing = (view.cos_incidence > 0.0) & view.sun_clear
        self._sun = np.where(facing, view.cos_incidence, 0.0)
        self._sky_share = view.sky_share
        self._ground_share = view.ground_share

    def shares(self, channel: Channel) -> tuple[FloatArray, FloatArray]:
        """Beam, and everything else, of one channel on the plane."""
        beam = self._at.read(channel.beam_normal) * self._sun
        around = self._at.read(channel.circumsolar_normal) * self._sun
        return beam, around + self._isotropic(channel)

    def effective(self) -> FloatArray:
        """Effective light with the stack's response to the sun's angle."""
        channel = self._curves.effective
        toward_sun = self._at.read(channel.beam_normal + channel.circumsolar_normal)
        ratio = angle_ratio_at(self._curves.angle_ratio, self._up, self._cos_incidence)
        return toward_sun * ratio * self._sun + self._isotropic(channel)

    def _isotropic(self, channel: Channel) -> FloatArray:
        curve = channel.isotropic * self._sky_share
        if self._ground_share > 0.0 and self._albedo > 0.0:
            curve = curve + channel.level * (self._ground_share * self._albedo)
        return self._at.read(curve)
