"""Whole spectra along a sun track, on level ground and on a tilted plane.

The dose needs none of this: it reads curves whose wavelengths are summed already.  It is for looking at the
light itself, box by box.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from noonframe.sky.spectrum import SkyState, spectral_curves
from noonframe.spot.plane import OpenSpot, plane_view
from noonframe.stack.curves import Lookup, cos_zenith_points, lifted_vectors, locate, to_points
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.sun.position import SunTrack
from noonframe.types import FloatArray

_BOXES = WAVELENGTH_NM.size
_PARTS = 3
_AT_ONCE = 256  # instants whose spectra still fit a processor's cache


@dataclass(frozen=True)
class SpectralSeries:
    """Spectral irradiance at `n` instants, arrays (n, n_wavelength).  [W m-2 nm-1]

    `beam_normal` faces the sun; `diffuse` falls on level ground from the sky; `level` is both on level
    ground, and `plane` all light on the spot's plane.  Before any stack.
    """

    wavelength_nm: FloatArray
    beam_normal: FloatArray
    diffuse: FloatArray
    level: FloatArray
    plane: FloatArray


def spectral_irradiance_on(
    sky: SkyState, track: SunTrack, spot: OpenSpot, near_ground_albedo: float
) -> SpectralSeries:
    """Spectra under a steady `sky` along a sun track, on level ground and on `spot`.

    Same model as the light curves: spectra at zenith knots, a cubic in their logarithm on to 2049 heights of
    the sun and straight lines between those, within 0.1 % of the knots' own spectrum above 2 degrees of sun
    height.  Exactly zero once the sun is 6 degrees down.
    """
    at = locate(track.up)
    lit = np.flatnonzero(at.light)
    series = np.zeros((4, track.up.size, _BOXES))
    for first in range(0, lit.size, _AT_ONCE):
        some = lit[first : first + _AT_ONCE]
        spectra = _lit_spectra(sky, track.some(some), at.some(some), spot, near_ground_albedo)
        for kept, values in zip(series, spectra, strict=True):
            kept[some] = values
    return SpectralSeries(WAVELENGTH_NM, *series)


def _lit_spectra(
    sky: SkyState, track: SunTrack, at: Lookup, spot: OpenSpot, near_ground_albedo: float
) -> tuple[FloatArray, ...]:
    """Beam, diffuse, level and plane spectra for suns that are all up."""
    values, steps, cos_zenith_curve = _table(sky)
    read = values.take(at.index, axis=0) + at.part[:, None] * steps.take(at.index, axis=0)
    beam, around, isotropic = (read[:, k * _BOXES : (k + 1) * _BOXES] for k in range(_PARTS))
    cos_zenith = at.read(cos_zenith_curve)
    view = plane_view(spot, lifted_vectors(cos_zenith, track))
    facing = np.where((view.cos_incidence > 0.0) & view.sun_clear, view.cos_incidence, 0.0)
    factor = track.distance_factor[:, None]
    beam, around, isotropic = beam * factor, around * factor, isotropic * factor
    diffuse = isotropic + around * cos_zenith[:, None]
    level = beam * cos_zenith[:, None] + diffuse
    plane = (beam + around) * facing[:, None] + isotropic * view.sky_share
    if view.ground_share > 0.0 and near_ground_albedo > 0.0:
        plane += level * (view.ground_share * near_ground_albedo)
    return beam, diffuse, level, plane


@lru_cache(maxsize=8)
def _table(sky: SkyState) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Beam, circumsolar and isotropic spectra side by side, and their steps to the next point; cos zenith.

    Shapes (n_point, 3 * n_wavelength) twice, and (n_point,).
    """
    spectra = spectral_curves(sky)
    columns = np.concatenate([spectra.beam_normal, spectra.circumsolar_normal, spectra.isotropic], axis=1)
    values = np.ascontiguousarray(to_points(spectra.true_elevation_deg, columns).T)
    return values, np.diff(values, axis=0, append=values[-1:]), cos_zenith_points(spectra)
