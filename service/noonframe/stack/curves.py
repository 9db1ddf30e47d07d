"""Collapse the wavelength axis before the time axis.

For a fixed sky, stack and sensitizer the effective light is a curve of the sun's height, and a time
step costs one look-up.  Curves are kept at equal steps of the sine of the true elevation, so a
look-up needs neither an arc sine nor a search.
"""

from dataclasses import dataclass
from functools import cache, cached_property, lru_cache

import numpy as np

from noonframe.sky.spectrum import DARK_ELEVATION_DEG, SkyState, SpectralCurves, spectral_curves
from noonframe.sky.spline import spline_over
from noonframe.stack.effective import band_weights, dose_weights
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer
from noonframe.sun.position import SunTrack
from noonframe.types import FloatArray, IntArray

UVA_BAND_NM = (315.0, 400.0)
BLUE_BAND_NM = (400.0, 480.0)
_POINTS = 2049
_LOWEST_UP = float(np.sin(np.radians(DARK_ELEVATION_DEG)))
_STEP = (1.0 - _LOWEST_UP) / (_POINTS - 1)
_COSINES = 33
_COARSE_POINTS = 65
_FLOOR = 1e-12
_MOST_KEPT = 512
NO_PANE = Stack(())
_NO_SHEETS = np.ones((1, 1))  # the angle ratio of a bare coat


@dataclass(frozen=True)
class Channel:
    """One weighing of the spectrum, as curves of shape (n_point,).  [W m-2]

    `beam_normal` and `circumsolar_normal` face the sun; `isotropic` falls on level ground from the rest
    of the sky; `level` is all light on level ground, as it strikes the ground that reflects it.
    """

    beam_normal: FloatArray
    circumsolar_normal: FloatArray
    isotropic: FloatArray
    level: FloatArray


@dataclass(frozen=True, eq=False)
class LightCurves:
    """All that a spot needs to know of a sky, a stack and a sensitizer, at 1 AU; worked out when first read.

    `uva` and `blue` are before the stack; `effective` is behind it at normal incidence for the sun and
    at the hemispherical mean for the sky.  `angle_ratio` (n_point_coarse, n_cosine) is the sun's
    effective light at an angle of incidence over that at normal incidence (cosine law left out).
    Indoors everything is also behind the window's pane at normal incidence, and `pane_ratio` (same shape)
    is what an angle of incidence on the pane leaves of that.  The `flat_*` curves are those of a level
    frame in the open; they know no pane.
    """

    spectra: SpectralCurves
    stack: Stack
    sensitizer: Sensitizer
    pane: Stack

    @cached_property
    def uva(self) -> Channel:
        """The UVA."""
        return self._channel(self._uva_weight, self._uva_weight)

    @cached_property
    def blue(self) -> Channel:
        """The blue light."""
        return self._channel(self._blue_weight, self._blue_weight)

    @cached_property
    def effective(self) -> Channel:
        """What the coat answers to."""
        return self._channel(self._beam_weight, self._action * self.stack.diffuse_transmittance)

    @cached_property
    def angle_ratio(self) -> FloatArray:
        """The stack's answer to the angle of incidence."""
        return _angle_ratio(self.spectra, self.stack, self._action, self._at_normal)

    @cached_property
    def pane_ratio(self) -> FloatArray:
        """The pane's answer to the angle of incidence."""
        return _pane_ratio(self.spectra, self.pane, self._beam_weight, self._at_normal)

    @cached_property
    def cos_zenith(self) -> FloatArray:
        """Cosine of the refracted zenith, (n_point,)."""
        return cos_zenith_points(self.spectra)

    @cached_property
    def uv_index(self) -> FloatArray:
        """UV index on open level ground, (n_point,)."""
        return self._points(self.spectra.uv_index)

    @cached_property
    def flat_effective(self) -> FloatArray:
        """Effective light on a level frame, (n_point,)."""
        return self._points(_flat_effective(self.spectra, self.stack, self._action))

    @cached_property
    def flat_uva(self) -> FloatArray:
        """UVA on a level frame, (n_point,)."""
        return self.uva.level

    @cached_property
    def flat_uva_diffuse(self) -> FloatArray:
        """Its diffuse part, (n_point,)."""
        return self._points(self.spectra.diffuse @ self._uva_weight)

    @cached_property
    def flat_blue(self) -> FloatArray:
        """Blue light on a level frame, (n_point,)."""
        return self.blue.level

    @cached_property
    def _uva_weight(self) -> FloatArray:
        return band_weights(*UVA_BAND_NM) * self.pane.normal_transmittance

    @cached_property
    def _blue_weight(self) -> FloatArray:
        return band_weights(*BLUE_BAND_NM) * self.pane.normal_transmittance

    @cached_property
    def _action(self) -> FloatArray:
        return dose_weights(self.sensitizer) * self.pane.normal_transmittance

    @cached_property
    def _beam_weight(self) -> FloatArray:
        return self._action * self.stack.normal_transmittance

    @cached_property
    def _at_normal(self) -> FloatArray:
        toward_sun = self.spectra.beam_normal + self.spectra.circumsolar_normal
        return toward_sun @ self._beam_weight

    def _channel(self, beam_weight: FloatArray, diffuse_weight: FloatArray) -> Channel:
        spectra = self.spectra
        columns = (
            spectra.beam_normal @ beam_weight,
            spectra.circumsolar_normal @ beam_weight,
            spectra.isotropic @ diffuse_weight,
            spectra.level @ diffuse_weight,
        )
        return Channel(*to_points(spectra.true_elevation_deg, np.stack(columns, axis=1)))

    def _points(self, column: FloatArray) -> FloatArray:
        points: FloatArray = to_points(self.spectra.true_elevation_deg, column[:, None])[0]
        return points


@dataclass(frozen=True)
class Lookup:
    """Places of `n` suns on the curves."""

    index: IntArray
    part: FloatArray
    light: FloatArray

    def some(self, which: IntArray) -> "Lookup":
        """The places of some of the suns."""
        return Lookup(self.index[which], self.part[which], self.light[which])

    def read(self, curve: FloatArray) -> FloatArray:
        """Value of a curve (n_point,) at each sun; exactly zero when it is dark."""
        low = curve[self.index]
        value: FloatArray = (low + self.part * (curve[self.index + 1] - low)) * self.light
        return value


def locate(up: FloatArray) -> Lookup:
    """Look-up for suns with sine of true elevation `up` (n,)."""
    return _kept_lookup(up.tobytes()) if up.size <= _MOST_KEPT else _locate(up)


@lru_cache(maxsize=128)
def _kept_lookup(up: bytes) -> Lookup:
    """A short look-up, kept because one question reads several curves at the same suns."""
    return _locate(np.frombuffer(up))


def _locate(up: FloatArray) -> Lookup:
    position = (up - _LOWEST_UP) / _STEP
    index = np.minimum(np.maximum(position.astype(np.int64), 0), _POINTS - 2)
    return Lookup(index, np.maximum(position, 0.0) - index, (position > 0.0).astype(np.float64))


def apparent_vectors(curves: LightCurves, at: Lookup, track: SunTrack) -> FloatArray:
    """Unit vectors (n, 3) east, north, up toward the refracted sun, without an arc sine."""
    return lifted_vectors(at.read(curves.cos_zenith), track)


def lifted_vectors(cos_zenith: FloatArray, track: SunTrack) -> FloatArray:
    """Unit vectors (n, 3) in the track's directions, but at the refracted zeniths with these cosines (n,)."""
    level: FloatArray = np.sqrt(track.east**2 + track.north**2)
    stretch: FloatArray = np.sqrt(1.0 - cos_zenith**2) / np.maximum(level, _FLOOR)
    return np.stack([track.east * stretch, track.north * stretch, cos_zenith], axis=-1)


@cache
def point_true_elevation_deg() -> FloatArray:
    """True elevation of the curves' points; shape (n_point,)."""
    elevation: FloatArray = np.degrees(np.arcsin(np.clip(_LOWEST_UP + _STEP * np.arange(_POINTS), -1.0, 1.0)))
    return elevation


@lru_cache(maxsize=64)
def light_curves(sky: SkyState, stack: Stack, sensitizer: Sensitizer, pane: Stack = NO_PANE) -> LightCurves:
    """Curves of one sky, stack and sensitizer, and indoors of the window's pane."""
    return LightCurves(spectral_curves(sky), stack, sensitizer, pane)


def flat_columns(spectra: SpectralCurves, stack: Stack, sensitizer: Sensitizer) -> FloatArray:
    """UVA, its diffuse part, blue, effective light and UV index on a level frame in the open, (n_knot, 5)."""
    uva = band_weights(*UVA_BAND_NM)
    return np.stack(
        [
            spectra.level @ uva,
            spectra.diffuse @ uva,
            spectra.level @ band_weights(*BLUE_BAND_NM),
            _flat_effective(spectra, stack, dose_weights(sensitizer)),
            spectra.uv_index,
        ],
        axis=1,
    )


def _flat_effective(spectra: SpectralCurves, stack: Stack, action: FloatArray) -> FloatArray:
    """Effective light (n_knot,) on a level frame, the sun at its own angle on the sheets."""
    flat_weight = action * stack.beam_transmittance(np.minimum(spectra.zenith_deg, 90.0))
    toward_sun = spectra.beam_normal + spectra.circumsolar_normal
    flat_sun = np.sum(toward_sun * flat_weight, axis=1) * spectra.cos_zenith
    flat: FloatArray = flat_sun + spectra.isotropic @ (action * stack.diffuse_transmittance)
    return flat


def to_points(knot_elevation_deg: FloatArray, columns: FloatArray) -> FloatArray:
    """Columns (n_knot, k) at knots of falling elevation -> (k, n_point), by a cubic in the logarithm.

    Each column is fitted only down to its last knot with light and is zero below: the beam ends at the
    horizon, and a cubic laid across that cliff would ring on the side where there still is light.  A column
    lit at fewer than three knots, as a beam through the thickest air is, is next to the floor and taken for
    dark.
    """
    elevation = point_true_elevation_deg()
    points = np.zeros((columns.shape[1], elevation.size))
    lit = columns > _FLOOR
    lit_knots = np.where(lit.all(axis=0), columns.shape[0], np.argmin(lit, axis=0))
    for count in np.unique(lit_knots[lit_knots > 2]):
        which = np.flatnonzero(lit_knots == count)
        knots = knot_elevation_deg[:count][::-1]
        spline = spline_over(knots)
        inside = np.flatnonzero(elevation >= knots[0] - 1e-9)  # the lowest knot and point are both -6 degrees
        points[np.ix_(which, inside)] = np.exp(
            spline.through(np.log(columns[:count, which][::-1]), elevation[inside])
        ).T
    return points


def cos_zenith_points(spectra: SpectralCurves) -> FloatArray:
    """Cosine of the refracted zenith at the points, zero below the horizon; shape (n_point,)."""
    spline = spline_over(spectra.true_elevation_deg[::-1])
    zenith = spline.through(spectra.zenith_deg[::-1, None], point_true_elevation_deg())[:, 0]
    return np.maximum(np.cos(np.radians(zenith)), 0.0)


def _pane_ratio(
    spectra: SpectralCurves, pane: Stack, beam_weight: FloatArray, at_normal: FloatArray
) -> FloatArray:
    """As `_angle_ratio`, of the pane: the weight already holds it at normal incidence, so divide that out."""
    through = pane.normal_transmittance
    without = np.divide(beam_weight, through, out=np.zeros_like(beam_weight), where=through > 0.0)
    return _angle_ratio(spectra, pane, without, at_normal)


def _angle_ratio(
    spectra: SpectralCurves, stack: Stack, action: FloatArray, at_normal: FloatArray
) -> FloatArray:
    """Ratio (n_knot_by_elevation, n_cosine) on equal steps of up and of the cosine of incidence."""
    if not stack.materials:
        return _NO_SHEETS
    cosine = np.linspace(0.0, 1.0, _COSINES)
    by_angle = stack.beam_transmittance(np.degrees(np.arccos(cosine)))
    toward_sun = spectra.beam_normal + spectra.circumsolar_normal
    lit = np.flatnonzero(at_normal > _FLOOR)[::-1]  # by rising elevation, as interpolation wants it
    if lit.size == 0:
        return np.zeros((_COARSE_POINTS, _COSINES))
    ratio = (toward_sun[lit] @ (action * by_angle).T) / at_normal[lit, None]
    coarse = np.linspace(_LOWEST_UP, 1.0, _COARSE_POINTS)
    # Below the last sun with light the lowest ratio is held: fading to zero would dim the sun above it.
    up = np.sin(np.radians(spectra.true_elevation_deg[lit]))
    resampled = [np.interp(coarse, up, column) for column in ratio.T]
    return np.stack(resampled, axis=1)


def angle_ratio_at(ratio_table: FloatArray, up: FloatArray, cos_incidence: FloatArray) -> FloatArray:
    """`angle_ratio` or `pane_ratio` read at suns (n,) and cosines of incidence (n,), bilinear."""
    if ratio_table is _NO_SHEETS:
        return np.ones(up.shape)
    rows, columns = ratio_table.shape
    y = np.minimum(np.maximum((up - _LOWEST_UP) * ((rows - 1) / (1.0 - _LOWEST_UP)), 0.0), rows - 1.0)
    x = np.minimum(np.maximum(cos_incidence * (columns - 1), 0.0), columns - 1.0)
    i = np.minimum(y.astype(np.int64), rows - 2)
    j = np.minimum(x.astype(np.int64), columns - 2)
    y, x = y - i, x - j
    flat = ratio_table.ravel()
    at = i * columns + j
    low = flat[at] + x * (flat[at + 1] - flat[at])
    high = flat[at + columns] + x * (flat[at + columns + 1] - flat[at + columns])
    ratio: FloatArray = low + y * (high - low)
    return ratio
