"""Light on a sheet inside a window: as means over it, exact in the patch's area, and point by point.

The beam and the circumsolar light reach a point while the sun shines on it through the opening; the
isotropic sky, and for a tilted sheet the ground outside, by the share of the dome it sees.  Light that the
room, the reveal and the buildings opposite throw back is left out: it only helps, by a few per cent in a
white room.  UVA and blue are behind the window's pane and before the frame's own stack.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from noonframe.spot.indoors import SheetView, WindowSpot, sheet_view, sheets_view
from noonframe.spot.patch import beam_share, lit
from noonframe.stack.curves import Channel, LightCurves, Lookup, angle_ratio_at, apparent_vectors, locate
from noonframe.stack.light import LightSeries
from noonframe.sun.position import SunTrack
from noonframe.types import BoolArray, FloatArray, IntArray

_VIEW_UP = 0.6
"""Height of sun (sine) whose spectrum weighs the pane for sky light: the ratio hardly knows the sun."""


@dataclass(frozen=True)
class IndoorLight:
    """Light on a sheet: means over the sheet, the share of it in the patch of sun, and its view of sky."""

    series: LightSeries
    beam_share: FloatArray
    sky_view: float


def effective_on_sheet(
    curves: LightCurves, track: SunTrack, spot: WindowSpot, near_ground_albedo: float
) -> FloatArray:
    """Effective irradiance (n_time, n_point) at each sample point.  [W m-2]"""
    sheet = _Sheet(curves, track, spot, sheet_view(spot), near_ground_albedo)
    return sheet.effective(track.distance_factor)


def effective_on_sheets(
    curves: LightCurves, track: SunTrack, spots: tuple[WindowSpot, ...], near_ground_albedo: float
) -> FloatArray:
    """`effective_on_sheet` for several places of one frame, (n_spot, n_time, n_point).  [W m-2]

    All spots share window, grid, tilt and aim; the sun is worked out once for all of them.
    """
    sheet = _Sheet(curves, track, spots[0], sheets_view(spots), near_ground_albedo)
    effective = sheet.effective(track.distance_factor)
    return np.moveaxis(effective.reshape(track.up.size, len(spots), -1), 1, 0)


def mean_effective_on_sheet(
    curves: LightCurves, track: SunTrack, spot: WindowSpot, near_ground_albedo: float
) -> FloatArray:
    """Effective irradiance (n_time,) as the mean over the sheet: the quick way to a dose.  [W m-2]"""
    sheet = _Sheet(curves, track, spot, sheet_view(spot), near_ground_albedo)
    return sheet.mean_effective() * track.distance_factor


def light_on_sheet(
    curves: LightCurves, track: SunTrack, spot: WindowSpot, near_ground_albedo: float
) -> IndoorLight:
    """All the light on the sheet, as means over it."""
    sheet = _Sheet(curves, track, spot, sheet_view(spot), near_ground_albedo)
    distance = track.distance_factor
    uva_beam, uva_rest = sheet.means(curves.uva)
    blue_beam, blue_rest = sheet.means(curves.blue)
    series = LightSeries(
        uva_w_m2=(uva_beam + uva_rest) * distance,
        uva_diffuse_w_m2=uva_rest * distance,
        blue_w_m2=(blue_beam + blue_rest) * distance,
        effective_w_m2=sheet.mean_effective() * distance,
        uv_index=sheet.at.read(curves.uv_index) * distance,
    )
    return IndoorLight(series, sheet.share, sheet.view.mean_sky)


@lru_cache(maxsize=64)
def sky_through_pane(view: SheetView, ratio: bytes) -> FloatArray:
    """Sky (n_point,) of a view, weighed by a pane's `ratio` at even steps of the cosine from 0 to 1."""
    row = np.frombuffer(ratio)
    place = view.pane_cosine * (row.size - 1)
    below = np.minimum(place.astype(np.intp), row.size - 2)
    place -= below
    place *= np.diff(row)[below]
    place += row[below]
    weighed: FloatArray = np.einsum("pn,pn->p", view.node_weight, place)
    return weighed


class _Sheet:
    """The sample points of a sheet (or of a row of sheets) along a sun track, at 1 AU."""

    def __init__(
        self,
        curves: LightCurves,
        track: SunTrack,
        spot: WindowSpot,
        view: SheetView,
        near_ground_albedo: float,
    ) -> None:
        self.view = view
        self.at: Lookup = locate(track.up)
        self.sun_vector = apparent_vectors(curves, self.at, track)
        self.up_now: BoolArray = self.sun_vector[:, 2] > 0.0
        self._curves = curves
        self._up = track.up
        self._albedo = near_ground_albedo
        cos_incidence = self.sun_vector @ view.facing
        facing = self.up_now & (cos_incidence > 0.0)
        self._cos_incidence = np.where(facing, cos_incidence, 0.0)
        self._spot = spot
        self._sees_ground = bool(np.any(view.ground > 0.0))
        if spot.is_open:
            self._sun, self._sky = self._cos_incidence, view.sky
        else:
            outward = spot.window.to_local(np.array([0.0, -1.0, 0.0]))
            through = angle_ratio_at(curves.pane_ratio, track.up, self.sun_vector @ outward)
            self._sun = self._cos_incidence * through
            # The table is linear between its columns, so one row read off at them says as much.
            cosine = np.linspace(0.0, 1.0, curves.pane_ratio.shape[1])
            row = angle_ratio_at(curves.pane_ratio, np.full(cosine.size, _VIEW_UP), cosine)
            self._sky = sky_through_pane(view, row.tobytes())
        self._mean_pane = np.divide(self._sky, view.sky, out=np.ones_like(view.sky), where=view.sky > 0.0)

    @cached_property
    def _lit(self) -> BoolArray:
        """Whether the sun shines on each point, (n_time, n_point)."""
        return lit(self.view.points, self.sun_vector, self._spot.window)

    @cached_property
    def share(self) -> FloatArray:
        """Share (n_time,) of the sheet's area in the patch of sun: exact, where points would jump."""
        within = beam_share(self._spot.frame, self.sun_vector, self._spot.window)
        return np.where(self.up_now, within, 0.0)

    def means(self, channel: Channel) -> tuple[FloatArray, FloatArray]:
        """Beam, and everything else, of one channel as means over the sheet; each (n_time,)."""
        share = self.share * self._sun
        beam = self.at.read(channel.beam_normal) * share
        around = self.at.read(channel.circumsolar_normal) * share
        sky, ground = self.view.weights @ self._sky, self.view.weights @ self._ground()
        return beam, around + self.at.read(channel.isotropic) * sky + self.at.read(channel.level) * ground

    def effective(self, distance_factor: FloatArray) -> FloatArray:
        """Effective light (n_time, n_point) at the sun's distance."""
        channel = self._curves.effective
        result: FloatArray = (self.at.read(channel.isotropic) * distance_factor)[:, None] * self._sky
        if self._sees_ground:
            result += (self.at.read(channel.level) * distance_factor)[:, None] * self._ground()
        when = np.flatnonzero(self._lit.any(axis=1))
        if when.size:
            span = slice(int(when[0]), int(when[-1]) + 1)  # a slice spares two copies of what is large here
            sun = self._sun_effective(np.arange(span.start, span.stop)) * distance_factor[span]
            result[span] += self._lit[span] * sun[:, None]
        return result

    def mean_effective(self) -> FloatArray:
        """Effective light (n_time,) as the mean over the sheet."""
        channel, weights = self._curves.effective, self.view.weights
        result = self.at.read(channel.isotropic) * float(weights @ self._sky)
        if self._sees_ground:
            result += self.at.read(channel.level) * float(weights @ self._ground())
        when = np.flatnonzero(self.share > 0.0)
        result[when] += self.share[when] * self._sun_effective(when)
        return result

    def _sun_effective(self, when: IntArray) -> FloatArray:
        """Effective light (n_when,) of the sun and what is around it, on a point in the patch."""
        at, channel = self.at.some(when), self._curves.effective
        toward_sun = at.read(channel.beam_normal) + at.read(channel.circumsolar_normal)
        ratio = angle_ratio_at(self._curves.angle_ratio, self._up[when], self._cos_incidence[when])
        return toward_sun * ratio * self._sun[when]

    def _ground(self) -> FloatArray:
        return self.view.ground * self._mean_pane * self._albedo
