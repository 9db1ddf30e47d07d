"""What the air lets through: the exact beam, and from a table the diffuse light and the spherical albedo.

The table (data/transfer_table.npz, made by data/builders/build_transfer_table.py) holds, for a layered
atmosphere over a black ground, the global irradiance on the level per unit extraterrestrial normal irradiance
and the spherical albedo S seen from below, both by a 16-stream discrete-ordinates solution whose beam is
attenuated along its path through curved air.  With ground albedo a the global irradiance is
(beam + diffuse) / (1 - a S).

Between the nodes the logarithm of the global transmittance is a tensor product of cubic splines; diffuse is
that less the exact beam, which errs less than a spline through the diffuse light, because haze and thin cloud
move light between the two much faster than they change the sum.  A spline is a linear map from node values to
the answer, so each axis becomes a vector of weights, and the zenith angles, which many skies share, a matrix
that can be kept.
"""

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt

from noonframe.datafiles import data_folder
from noonframe.errors import DataFileError, OutOfDomain
from noonframe.sky.airmass import (
    AEROSOL_HEIGHT_KM,
    CLOUD_HEIGHT_KM,
    OZONE_HEIGHT_KM,
    airmass_kasten_young_1989,
    airmass_shell,
    checked_zenith,
)
from noonframe.sky.optical_depth import (
    ANGSTROM_EXPONENT,
    STANDARD_PRESSURE_HPA,
    WAVELENGTH_NM,
    aerosol_optical_depth_angstrom,
    ozone_optical_depth,
    rayleigh_optical_depth_bodhaine_1999,
)
from noonframe.sky.spline import CubicSpline
from noonframe.types import FloatArray

_HORIZON_DEG: Final = 90.0
_LIMITS: Final = {
    "ozone_du": (100.0, 600.0),
    "aerosol_optical_depth": (0.0, 2.0),
    "pressure_hpa": (500.0, 1075.0),
    "cloud_optical_depth": (0.0, 128.0),
}


@dataclass(frozen=True)
class AtmosphereState:
    """A column of air.

    Ozone 100-600 DU, aerosol optical depth at 500 nm 0-2, surface pressure 500-1075 hPa, cloud optical depth
    0-128.  Raises `OutOfDomain` naming the field, also for NaN.
    """

    ozone_du: float
    aerosol_optical_depth: float
    pressure_hpa: float = STANDARD_PRESSURE_HPA
    cloud_optical_depth: float = 0.0

    def __post_init__(self) -> None:
        for field, (low, high) in _LIMITS.items():
            value = getattr(self, field)
            if not low <= value <= high:  # also true for NaN
                raise OutOfDomain(field, value, f"between {low:g} and {high:g}")


@dataclass(frozen=True, eq=False)
class ZenithOperator:
    """Weights (n, n_node) that carry log transmittance from the table's zenith nodes to `zenith_deg` (n,)."""

    zenith_deg: FloatArray
    weights: FloatArray


def _aerosol_coordinate(optical_depth: FloatArray) -> FloatArray:
    return np.log1p(optical_depth / 0.6)


def _cloud_coordinate(optical_depth: FloatArray) -> FloatArray:
    return np.log1p(optical_depth / 0.7)


@dataclass(frozen=True, eq=False)
class TransferTable:
    """The loaded table; arrays in axis order aerosol, cloud, pressure, ozone, then zenith and wavelength.

    `log_total` (n_state, n_zenith * n_wavelength) is ln of the global transmittance, `log_escape` (n_state,
    n_wavelength) is ln(1 - S); n_state is the product of the four state axes.
    """

    wavelength_nm: FloatArray
    zenith_deg: FloatArray
    aerosol_optical_depth: FloatArray
    cloud_optical_depth: FloatArray
    pressure_hpa: FloatArray
    ozone_du: FloatArray
    log_total: npt.NDArray[np.float32]
    log_escape: npt.NDArray[np.float32]
    _splines: tuple[CubicSpline, ...]
    _zenith_spline: CubicSpline

    def zenith_operator(self, zenith_deg: FloatArray | float) -> ZenithOperator:
        """Interpolation from the table's zenith nodes to apparent `zenith_deg` (n,), each 0 to 96.

        Below the horizon the logarithm runs on straight with its slope at 90 degrees.  That twilight is an
        extrapolation, more and more too bright towards 96 degrees, where it still gives 0.1 % of noon.
        """
        zenith = np.atleast_1d(checked_zenith(zenith_deg))
        above = np.minimum(zenith, _HORIZON_DEG)
        spline = self._zenith_spline
        return ZenithOperator(zenith, spline.weights(above) + np.outer(zenith - above, spline.end_slope()))

    def diffuse_transmittance(self, state: AtmosphereState, zenith_operator: ZenithOperator) -> FloatArray:
        """Diffuse irradiance on level black ground per unit extraterrestrial normal irradiance.  [unitless]

        Shape (n, n_wavelength), for the n zenith angles of `zenith_operator`; always positive.  Aerosol with
        Angstrom exponent 1.3, single-scattering albedo 0.92 and asymmetry 0.70; cloud as a level sheet of
        water drops.

        Interpolation error against fresh solutions (haze 0-0.3, any cloud, 0-3000 m, zenith to 85 degrees):
        below 0.1 % in the 315-400 and 400-480 nm totals, 0.6 % at any one wavelength from 300 nm.  Below
        295 nm it can reach tens of per cent where less than a millionth of the light is left.  Against an
        independent radiative-transfer code the totals agree to 0.5 % up to zenith 60 degrees, 1.2 % at 75.
        """
        at_nodes = (self._state_weights(state) @ self.log_total).reshape(self.zenith_deg.size, -1)
        total = np.exp(zenith_operator.weights @ at_nodes.astype(np.float64))
        zenith = zenith_operator.zenith_deg
        return total - beam_transmittance(state, zenith) * np.cos(np.radians(zenith))[:, None]

    def spherical_albedo(self, state: AtmosphereState) -> FloatArray:
        """Share of isotropic light from below that the air throws back, shape (n_wavelength,).  [unitless]"""
        return -np.expm1((self._state_weights(state) @ self.log_escape).astype(np.float64))

    def _state_weights(self, state: AtmosphereState) -> npt.NDArray[np.float32]:
        coordinates = (
            _aerosol_coordinate(np.array([state.aerosol_optical_depth])),
            _cloud_coordinate(np.array([state.cloud_optical_depth])),
            np.log(np.array([state.pressure_hpa])),
            np.sqrt(np.array([state.ozone_du])),
        )
        product = np.ones(1)
        for spline, at in zip(self._splines, coordinates, strict=True):
            product = np.outer(product, spline.weights(at)[0]).ravel()
        return product.astype(np.float32)


@cache
def load_transfer_table() -> TransferTable:
    """The shipped table, read once.  Raises `DataFileError` when it is missing or its shapes disagree."""
    path = data_folder() / "transfer_table.npz"
    try:
        with np.load(path) as stored:
            arrays = {name: stored[name] for name in stored.files}
        return transfer_table_from(arrays)
    except (OSError, KeyError, ValueError) as problem:
        raise DataFileError("transfer_table", path.name, f"cannot be read ({problem})") from problem


def transfer_table_from(arrays: dict[str, npt.NDArray[np.generic]]) -> TransferTable:
    """A table from the arrays of the data file: the axes, and `log_total` and `log_escape` over them."""
    names = (
        "aerosol_optical_depth",
        "cloud_optical_depth",
        "pressure_hpa",
        "ozone_du",
        "zenith_deg",
        "wavelength_nm",
    )
    axes = {name: np.asarray(arrays[name], dtype=np.float64) for name in names}
    shape = tuple(axes[name].size for name in names)
    total, escape = arrays["log_total"], arrays["log_escape"]
    if total.shape != shape or escape.shape != (*shape[:4], shape[5]):
        raise DataFileError(
            "transfer_table", total.shape, f"the arrays must have the shape of the axes, {shape}"
        )
    if not np.array_equal(axes["wavelength_nm"], WAVELENGTH_NM):
        raise DataFileError("transfer_table", "wavelength_nm", "must run from 280 to 480 by 5")
    if not (np.isfinite(total).all() and np.isfinite(escape).all()):
        raise DataFileError("transfer_table", "log_total, log_escape", "every value must be finite")
    states = int(np.prod(shape[:4]))
    return TransferTable(
        **axes,
        log_total=np.ascontiguousarray(total.reshape(states, -1), dtype=np.float32),
        log_escape=np.ascontiguousarray(escape.reshape(states, -1), dtype=np.float32),
        _splines=(
            CubicSpline(_aerosol_coordinate(axes["aerosol_optical_depth"])),
            CubicSpline(_cloud_coordinate(axes["cloud_optical_depth"])),
            CubicSpline(np.log(axes["pressure_hpa"])),
            CubicSpline(np.sqrt(axes["ozone_du"])),
        ),
        _zenith_spline=CubicSpline(axes["zenith_deg"]),
    )


def beam_transmittance(
    state: AtmosphereState, zenith_deg: FloatArray | float, angstrom_exponent: float = ANGSTROM_EXPONENT
) -> FloatArray:
    """Transmittance of the direct beam, shape (n, n_wavelength).  [unitless]

    For apparent `zenith_deg` (n,), 0 to 96: exp(-sum of optical depth times air mass), each constituent with
    its own air mass; exactly zero below the horizon.  Light scattered forward, even into the sun's aureole,
    counts as diffuse, as in the table.  `angstrom_exponent` changes the beam alone: the table's diffuse light
    is for 1.3.
    """
    zenith = np.atleast_1d(checked_zenith(zenith_deg))
    paths = (
        (
            rayleigh_optical_depth_bodhaine_1999(WAVELENGTH_NM, state.pressure_hpa),
            airmass_kasten_young_1989(zenith),
        ),
        (ozone_optical_depth(WAVELENGTH_NM, state.ozone_du), airmass_shell(zenith, OZONE_HEIGHT_KM)),
        (
            aerosol_optical_depth_angstrom(WAVELENGTH_NM, state.aerosol_optical_depth, angstrom_exponent),
            airmass_shell(zenith, AEROSOL_HEIGHT_KM),
        ),
        (np.full(WAVELENGTH_NM.size, state.cloud_optical_depth), airmass_shell(zenith, CLOUD_HEIGHT_KM)),
    )
    slant = sum(
        (np.outer(airmass, depth) for depth, airmass in paths), np.zeros((zenith.size, WAVELENGTH_NM.size))
    )
    return np.where((zenith <= _HORIZON_DEG)[:, None], np.exp(-slant), 0.0)
