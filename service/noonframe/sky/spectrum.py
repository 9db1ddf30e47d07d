"""The light of a steady sky as curves of solar zenith: spectra at knots, collapsed later.

For a fixed sky the spectrum depends on the sun's height alone (and, as one factor, on the distance
of the sun).  So it is computed once, at fixed zenith knots, and every moment of every day reads from it.
"""

from dataclasses import dataclass, replace
from functools import cache, cached_property, lru_cache

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.sky.optical_depth import (
    WAVELENGTH_NM,
    aerosol_optical_depth_angstrom,
    extraterrestrial_irradiance,
    fine_extraterrestrial_irradiance,
)
from noonframe.sky.transfer import (
    AtmosphereState,
    ZenithOperator,
    beam_transmittance,
    load_transfer_table,
)
from noonframe.sky.uv_index import uv_index_of
from noonframe.sky.words import CloudPart
from noonframe.sun.position import RISE_ELEVATION_DEG, refraction_deg
from noonframe.types import FloatArray

DARK_ELEVATION_DEG = -6.0
"""Below civil twilight the engine gives no light at all: about 0.1 % of noon is left there."""

_CIRCUMSOLAR_SHARE, _CLEAN_AIR_LOSS, _HAZE_SCALE = 0.6, 0.6, 0.25

LOWEST_COS_ZENITH = float(np.cos(np.radians(89.0)))
"""The circumsolar ratio is held below one degree of sun height, where flat and tilted both lose the sun."""


@dataclass(frozen=True)
class SkyState:
    """Everything about the air and ground that the light depends on.

    `ozone_du` 100-600, `aerosol_optical_depth` at 500 nm 0-2, `ground_albedo` 0-1 (of the country
    around, for light thrown back by the sky), `pressure_hpa` at the surface 500-1075, and `cloud`, whose
    probabilities sum to 1.  Raises `OutOfDomain` naming the field.
    """

    ozone_du: float
    aerosol_optical_depth: float
    ground_albedo: float
    pressure_hpa: float
    cloud: tuple[CloudPart, ...]

    def __post_init__(self) -> None:
        if not 0.0 <= self.ground_albedo <= 1.0:
            raise OutOfDomain("ground_albedo", self.ground_albedo, "between 0 and 1")
        shares = [part.probability for part in self.cloud]
        if not (all(0.0 <= share <= 1.0 for share in shares) and abs(sum(shares) - 1.0) <= 1e-9):
            raise OutOfDomain(
                "cloud", self.cloud, "a mixture whose probabilities, each between 0 and 1, sum to 1"
            )
        for part in self.cloud:
            self.atmosphere(part)

    def atmosphere(self, part: CloudPart) -> AtmosphereState:
        """The column of air under one of the cloud states."""
        return AtmosphereState(
            ozone_du=self.ozone_du,
            aerosol_optical_depth=self.aerosol_optical_depth,
            pressure_hpa=self.pressure_hpa,
            cloud_optical_depth=part.optical_depth,
        )


@dataclass(frozen=True)
class SpectralCurves:
    """Spectra at the zenith knots, at 1 AU.  Units W m-2 nm-1; arrays (n_knot, n_wavelength).

    `beam_normal` faces the sun.  `diffuse` falls on level ground, light thrown back by ground and sky
    included; `circumsolar` is the part of it that comes from around the sun (`circumsolar_share`), the
    rest is isotropic.  `uv_index` has shape (n_knot,).
    """

    wavelength_nm: FloatArray
    zenith_deg: FloatArray
    true_elevation_deg: FloatArray
    beam_normal: FloatArray
    diffuse: FloatArray
    circumsolar: FloatArray
    uv_index: FloatArray

    @cached_property
    def cos_zenith(self) -> FloatArray:
        """Cosine of the apparent zenith at the knots, zero below the horizon; shape (n_knot,)."""
        return np.maximum(np.cos(np.radians(self.zenith_deg)), 0.0)

    @cached_property
    def level(self) -> FloatArray:
        """Global irradiance on level ground."""
        return self.beam_normal * self.cos_zenith[:, None] + self.diffuse

    @cached_property
    def circumsolar_normal(self) -> FloatArray:
        """Circumsolar light as if it faced the sun, so that it can be tilted like the beam."""
        above = self.cos_zenith > 0.0
        share = np.where(above, 1.0 / np.maximum(self.cos_zenith, LOWEST_COS_ZENITH), 0.0)
        return self.circumsolar * share[:, None]

    @cached_property
    def isotropic(self) -> FloatArray:
        """Diffuse light less what the circumsolar part gives to level ground."""
        return self.diffuse - self.circumsolar_normal * self.cos_zenith[:, None]


@cache
def knot_zenith_deg() -> FloatArray:
    """Apparent zenith knots, from the zenith down to civil twilight; shape (n_knot,)."""
    elevation = np.concatenate(
        [
            np.arange(-6.0, -1.0, 0.5),
            np.arange(-1.0, 4.0, 0.25),
            np.arange(4.0, 12.0, 0.5),
            np.arange(12.0, 30.0, 1.0),
            np.arange(30.0, 90.1, 2.0),
        ]
    )
    return 90.0 - elevation[::-1]


@lru_cache(maxsize=64)
def knot_true_elevation_deg(pressure_hpa: float) -> FloatArray:
    """Unrefracted elevation at the knots.

    Above the rising sun refraction is that of the position algorithm; below, where the algorithm
    drops it at once, it fades evenly to nothing at -6 degrees so that the light stays continuous.
    """
    apparent = 90.0 - knot_zenith_deg()
    lift_at_rise = float(refraction_deg(np.array([RISE_ELEVATION_DEG]), pressure_hpa)[0])
    true = apparent - lift_at_rise * np.clip(
        (apparent - DARK_ELEVATION_DEG) / (RISE_ELEVATION_DEG + lift_at_rise - DARK_ELEVATION_DEG), 0.0, 1.0
    )
    upper = apparent >= RISE_ELEVATION_DEG + lift_at_rise
    settled = apparent[upper]
    for _ in range(8):
        settled = apparent[upper] - refraction_deg(np.maximum(settled, RISE_ELEVATION_DEG), pressure_hpa)
    true[upper] = settled
    return true


@cache
def _knot_operator() -> ZenithOperator:
    return load_transfer_table().zenith_operator(knot_zenith_deg())


def circumsolar_share(column: AtmosphereState, zenith_deg: FloatArray) -> FloatArray:
    """Share (n, n_wavelength) of the diffuse light that can be tilted as if it came from the sun itself.

    c = 0.6 T (1 - 0.6 exp(-tau_a / 0.25)), T being the beam's transmittance through gas and cloud, tau_a the
    aerosol's optical depth.  The form follows a 32-stream radiance field over aerosols 0-0.6, zeniths 20-75
    and tilts 20-60 toward the sun (with 1 in place of the first 0.6).  Hay and Davies (1980), who take the
    whole beam's transmittance, are 5-8 % too bright in clean air and too dim in haze.  The first factor is
    our choice between that field and ASTM G173, whose 37-degree total lies 6 % below it, as measured ratios
    also tend to (Parisi and Kimlin 1999): with it the total on a plane toward the sun is within 7 % of both.
    """
    without_aerosol = replace(column, aerosol_optical_depth=0.0)
    haze = aerosol_optical_depth_angstrom(WAVELENGTH_NM, column.aerosol_optical_depth)
    forward = _CIRCUMSOLAR_SHARE * (1.0 - _CLEAN_AIR_LOSS * np.exp(-haze / _HAZE_SCALE))
    return beam_transmittance(without_aerosol, zenith_deg) * forward


@lru_cache(maxsize=64)
def spectral_curves(sky: SkyState) -> SpectralCurves:
    """Spectra of `sky` at the knots; a mixture of cloud states adds up by probability.

    Each cloud state is a whole sky of its own (independent columns): light leaking sideways between
    clouds, which lifts the sky beside a cloud by 5-15 % for minutes, is left out.
    """
    table = load_transfer_table()
    operator = _knot_operator()
    zenith = knot_zenith_deg()
    normal = extraterrestrial_irradiance()
    cos_zenith = np.maximum(np.cos(np.radians(zenith)), 0.0)[:, None]
    shape = (zenith.size, table.wavelength_nm.size)
    beam_sum, diffuse_sum, circumsolar_sum = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for part in sky.cloud:
        column = sky.atmosphere(part)
        beam = beam_transmittance(column, zenith) * (cos_zenith > 0.0)
        black = table.diffuse_transmittance(column, operator)
        level = beam * cos_zenith
        thrown_back = sky.ground_albedo * table.spherical_albedo(column)
        diffuse = (level + black) / (1.0 - thrown_back) - level
        beam_sum += part.probability * beam
        diffuse_sum += part.probability * diffuse
        circumsolar_sum += part.probability * diffuse * circumsolar_share(column, zenith)
    uv_index = uv_index_of(
        table.wavelength_nm, beam_sum * cos_zenith + diffuse_sum, fine_extraterrestrial_irradiance()
    )
    return SpectralCurves(
        wavelength_nm=table.wavelength_nm,
        zenith_deg=zenith,
        true_elevation_deg=knot_true_elevation_deg(sky.pressure_hpa),
        beam_normal=beam_sum * normal,
        diffuse=diffuse_sum * normal,
        circumsolar=circumsolar_sum * normal,
        uv_index=uv_index,
    )
