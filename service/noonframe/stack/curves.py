"""Collapse the wavelength axis before the time axis.

For a fixed sky, stack and sensitizer the effective light is a curve of the sun's height, and a time
step costs one look-up.  Curves are kept at equal steps of the sine of the true elevation, so a
look-up needs neither an arc sine nor a search.
"""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from noonframe.sky.spectrum import DARK_ELEVATION_DEG, SkyState, SpectralCurves, spectral_curves
from noonframe.stack.effective import band_weights, dose_weights
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer
from noonframe.types import FloatArray, IntArray

UVA_BAND_NM = (315.0, 400.0)
BLUE_BAND_NM = (400.0, 480.0)
_POINTS = 2049
_LOWEST_UP = float(np.sin(np.radians(DARK_ELEVATION_DEG)))
_STEP = (1.0 - _LOWEST_UP) / (_POINTS - 1)
_COSINES = 33
_FLOOR = 1e-12


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


@dataclass(frozen=True)
class LightCurves:
    """All that a spot needs to know of a sky, a stack and a sensitizer, at 1 AU.

    `uva` and `blue` are before the stack; `effective` is behind it at normal incidence for the sun and
    at the hemispherical mean for the sky.  `angle_ratio` (n_point_coarse, n_cosine) is the sun's
    effective light at an angle of incidence over that at normal incidence (cosine law left out).
    The `flat_*` curves are those of a level frame in the open.
    """

    uva: Channel
    blue: Channel
    effective: Channel
    angle_ratio: FloatArray
    cos_zenith: FloatArray
    uv_index: FloatArray
    flat_effective: FloatArray
    flat_uva: FloatArray
    flat_uva_diffuse: FloatArray
    flat_blue: FloatArray


@dataclass(frozen=True)
class Lookup:
    """Places of `n` suns on the curves."""

    index: IntArray
    part: FloatArray
    light: FloatArray

    def read(self, curve: FloatArray) -> FloatArray:
        """Value of a curve (n_point,) at each sun; exactly zero when it is dark."""
        low = curve[self.index]
        value: FloatArray = (low + self.part * (curve[self.index + 1] - low)) * self.light
        return value


def locate(up: FloatArray) -> Lookup:
    """Look-up for suns with sine of true elevation `up` (n,)."""
    position = (up - _LOWEST_UP) / _STEP
    index = np.clip(position.astype(np.int64), 0, _POINTS - 2)
    return Lookup(index, position - index, (position > 0.0).astype(np.float64))


@cache
def point_true_elevation_deg() -> FloatArray:
    """True elevation of the curves' points; shape (n_point,)."""
    return np.degrees(np.arcsin(np.clip(_LOWEST_UP + _STEP * np.arange(_POINTS), -1.0, 1.0)))


@lru_cache(maxsize=256)
def light_curves(sky: SkyState, stack: Stack, sensitizer: Sensitizer) -> LightCurves:
    """Curves of one sky, stack and sensitizer."""
    spectra = spectral_curves(sky)
    uva = band_weights(*UVA_BAND_NM)
    blue = band_weights(*BLUE_BAND_NM)
    action = dose_weights(sensitizer)
    beam_weight = action * stack.normal_transmittance
    diffuse_weight = action * stack.diffuse_transmittance
    flat_weight = action * stack.beam_transmittance(np.minimum(spectra.zenith_deg, 90.0))
    toward_sun = spectra.beam_normal + spectra.circumsolar_normal
    flat_sun = np.sum(toward_sun * flat_weight, axis=1) * spectra.cos_zenith
    columns = np.stack(
        [
            *_channel_columns(spectra, uva, uva),
            *_channel_columns(spectra, blue, blue),
            *_channel_columns(spectra, beam_weight, diffuse_weight),
            flat_sun + spectra.isotropic @ diffuse_weight,
            spectra.diffuse @ uva,
            spectra.uv_index,
        ],
        axis=1,
    )
    fine = _to_points(spectra.true_elevation_deg, columns)
    cos_zenith = _cos_zenith_points(spectra)
    return LightCurves(
        uva=Channel(*fine[0:4]),
        blue=Channel(*fine[4:8]),
        effective=Channel(*fine[8:12]),
        angle_ratio=_angle_ratio(spectra, stack, action, toward_sun @ beam_weight),
        cos_zenith=cos_zenith,
        uv_index=fine[14],
        flat_effective=fine[12],
        flat_uva=fine[3],
        flat_uva_diffuse=fine[13],
        flat_blue=fine[7],
    )


def _channel_columns(
    spectra: SpectralCurves, beam_weight: FloatArray, diffuse_weight: FloatArray
) -> tuple[FloatArray, ...]:
    return (
        spectra.beam_normal @ beam_weight,
        spectra.circumsolar_normal @ beam_weight,
        spectra.isotropic @ diffuse_weight,
        spectra.level @ diffuse_weight,
    )


def _to_points(knot_elevation_deg: FloatArray, columns: FloatArray) -> FloatArray:
    """Columns (n_knot, k) at knots of falling elevation -> (k, n_point), by a cubic in the logarithm."""
    from scipy.interpolate import CubicSpline

    log = np.log(np.maximum(columns[::-1], _FLOOR))
    spline = CubicSpline(knot_elevation_deg[::-1], log)
    points = np.exp(spline(point_true_elevation_deg()))
    points[points < 2.0 * _FLOOR] = 0.0
    return np.ascontiguousarray(points.T)


def _cos_zenith_points(spectra: SpectralCurves) -> FloatArray:
    from scipy.interpolate import CubicSpline

    spline = CubicSpline(spectra.true_elevation_deg[::-1], spectra.zenith_deg[::-1])
    return np.maximum(np.cos(np.radians(spline(point_true_elevation_deg()))), 0.0)


def _angle_ratio(
    spectra: SpectralCurves, stack: Stack, action: FloatArray, at_normal: FloatArray
) -> FloatArray:
    """Ratio (n_knot_by_elevation, n_cosine) on equal steps of up and of the cosine of incidence."""
    cosine = np.linspace(0.0, 1.0, _COSINES)
    by_angle = stack.beam_transmittance(np.degrees(np.arccos(cosine)))
    toward_sun = spectra.beam_normal + spectra.circumsolar_normal
    ratio = (toward_sun @ (action * by_angle).T) / np.maximum(at_normal, _FLOOR)[:, None]
    ratio[at_normal <= _FLOOR] = 0.0
    coarse = np.linspace(_LOWEST_UP, 1.0, 65)
    up = np.sin(np.radians(spectra.true_elevation_deg))[::-1]
    resampled = [np.interp(coarse, up, column) for column in ratio[::-1].T]
    return np.stack(resampled, axis=1)


def angle_ratio_at(curves: LightCurves, up: FloatArray, cos_incidence: FloatArray) -> FloatArray:
    """`angle_ratio` read at suns (n,) and cosines of incidence (n,), bilinear; zero from behind."""
    rows, columns = curves.angle_ratio.shape
    y = np.clip((up - _LOWEST_UP) / (1.0 - _LOWEST_UP) * (rows - 1), 0.0, rows - 1.0)
    x = np.clip(cos_incidence * (columns - 1), 0.0, columns - 1.0)
    i = np.minimum(y.astype(np.int64), rows - 2)
    j = np.minimum(x.astype(np.int64), columns - 2)
    y, x = y - i, x - j
    flat = curves.angle_ratio.ravel()
    at = i * columns + j
    low = flat[at] + x * (flat[at + 1] - flat[at])
    high = flat[at + columns] + x * (flat[at + columns + 1] - flat[at + columns])
    ratio: FloatArray = low + y * (high - low)
    return ratio
