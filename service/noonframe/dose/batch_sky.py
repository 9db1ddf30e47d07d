"""The light of many skies from the curves of a few: what lets every place of a batch have air of its own.

Under one kind of cloud and over one ground, light is a function of the sun's height, the elevation of the
place, its aerosol and its ozone.  Curves of the sun's height are worked out at nodes of the other three, as
for a single place, and only at those nodes that a batch has need of; in between, the logarithm of the light
runs straight along each axis (ozone: in its own logarithm; aerosol: in ln(1 + depth / 0.25)), and along the
sun's height from point to point.  An axis on which all places are alike has one node, at their very value.

Error against the curves of a single place, for any air within the limits: below 0.35 % in every quantity
while the sun is up, 0.5 % in twilight, mostly far less (tested).  Where less than 1e-12 W m-2 is left, both
call it nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Self

import numpy as np
import numpy.typing as npt

from noonframe.dose.batch_places import AEROSOL_LIMITS, OZONE_LIMITS_DU, BatchPlaces
from noonframe.sky.climatology import aerosol_default
from noonframe.sky.spectrum import DARK_ELEVATION_DEG, SkyState, spectral_curves
from noonframe.sky.words import CloudPart
from noonframe.stack.curves import flat_columns, to_points
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer
from noonframe.sun.place import HIGHEST_ELEVATION_M, LOWEST_ELEVATION_M, Place
from noonframe.types import BoolArray, FloatArray, IntArray

QUANTITIES = ("uva_w_m2", "uva_diffuse_w_m2", "blue_w_m2", "effective_w_m2", "uv_index")
EFFECTIVE = QUANTITIES.index("effective_w_m2")
DARK_UP = float(np.sin(np.radians(DARK_ELEVATION_DEG)))
"""Sine of the true elevation at and below which there is no light."""

_POINTS = 513
_STEP = (1.0 - DARK_UP) / (_POINTS - 1)
_AEROSOL_SCALE = 0.25  # thin haze bends the light most
_FLOOR = 1e-15
_MOST_NODES_KEPT = 2275  # 20 kB each; as many as there are where all air is given

FloatArray32 = npt.NDArray[np.float32]
_Table = npt.NDArray[np.complex64]


@dataclass(frozen=True)
class BatchSheet:
    """What all places of a batch have in common: cloud, ground, stack, coat, all level in the open."""

    cloud: tuple[CloudPart, ...]
    ground_albedo: float
    stack: Stack
    sensitizer: Sensitizer


class SkyTable:
    """The curves that a batch has needed so far, one row for each node.

    `table` (n_row * n_point, n_quantity) holds ln of the light at a point of the sun's height as its real
    part, and the step to the next point as its imaginary part, so that one look-up fetches both.
    """

    def __init__(self, sheet: BatchSheet, places: BatchPlaces, ozone_du: FloatArray | float) -> None:
        self._sheet = sheet
        aerosol = places.aerosol_optical_depth
        self._aerosol_is_given = aerosol is not None
        self._axes = [_Axis.of(ozone_du, _OZONE_NODES_DU, np.log)]
        if aerosol is None:  # it belongs to the elevation, and needs no axis of its own
            self._axes.append(_Axis.of(places.elevation_m, _ELEVATION_NODES_M, _as_it_is))
        else:
            self._axes.append(_Axis.of(places.elevation_m, _SPARE_ELEVATION_NODES_M, _as_it_is))
            self._axes.append(_Axis.of(aerosol, _AEROSOL_NODES, _aerosol_coordinate))
        self._shape = tuple(axis.nodes.size for axis in self._axes)
        self._row_of = np.full(self._shape, -1, dtype=np.int64).ravel()
        self.table: _Table = np.empty((0, len(QUANTITIES)), dtype=np.complex64)

    def curves(self, places: BatchPlaces, ozone_du: FloatArray | float) -> "BatchCurves":
        """Curves for some places of the batch, each under its own air."""
        given: list[FloatArray | float] = [ozone_du, places.elevation_m]
        if places.aerosol_optical_depth is not None:
            given.append(places.aerosol_optical_depth)
        count = places.count
        nodes = np.zeros((1, count), dtype=np.int64)
        weight = np.ones((1, count), dtype=np.float32)
        for axis, values in zip(self._axes, given, strict=True):
            nodes *= axis.nodes.size
            if axis.nodes.size == 1:
                continue
            cell, part = axis.split(values)
            nodes = np.concatenate([nodes + cell, nodes + cell + 1])
            weight = np.concatenate([weight * (1.0 - part), weight * part])
        used = np.flatnonzero(np.bincount(nodes.ravel(), minlength=self._row_of.size))
        self._add([int(node) for node in used[self._row_of[used] < 0]])
        return BatchCurves(self, self._row_of[nodes] * _POINTS, weight)

    @cached_property
    def effective(self) -> _Table:
        """The column of the effective light, (n_row * n_point,)."""
        return np.ascontiguousarray(self.table[:, EFFECTIVE])

    def _add(self, nodes: list[int]) -> None:
        if not nodes:
            return
        first = self.table.shape[0] // _POINTS
        self._row_of[nodes] = first + np.arange(len(nodes))
        more = []
        for node in nodes:
            at = [int(index) for index in np.unravel_index(node, self._shape)]
            values = [float(axis.nodes[index]) for axis, index in zip(self._axes, at, strict=True)]
            ozone_du, elevation_m = values[:2]
            aerosol = values[2] if self._aerosol_is_given else aerosol_default(elevation_m)
            state = SkyState(
                ozone_du=ozone_du,
                aerosol_optical_depth=aerosol,
                ground_albedo=self._sheet.ground_albedo,
                pressure_hpa=Place(0.0, 0.0, elevation_m).pressure_hpa,
                cloud=self._sheet.cloud,
            )
            more.append(_node_curves(state, self._sheet.stack, self._sheet.sensitizer))
        self.table = np.concatenate([self.table, *more])
        self.__dict__.pop("effective", None)


@dataclass(frozen=True, eq=False)
class BatchCurves:
    """Where places stand among the nodes: first points (n_corner, n_place) and weights of the same shape."""

    sky: SkyTable
    first_point: IntArray
    weight: FloatArray32

    def light(self, up: FloatArray) -> FloatArray32:
        """Every quantity (n_place, n_quantity) for suns at sines of true elevation `up` (n_place,), 1 AU."""
        index, part, lit = _locate(up)
        both = _mixed(self.sky.table, self.first_point + index, self.weight[:, :, None])
        values: FloatArray32 = np.exp(both.real + part[:, None] * both.imag)
        values *= lit[:, None]
        return values

    def effective(self, up: FloatArray, which: IntArray) -> FloatArray32:
        """Effective irradiance (m, n_time) at some places (m,) for their suns `up` (m, n_time).  [W m-2]

        Past the end of twilight it goes on fading: whoever asks must know when it is dark.
        """
        index, part, _ = _locate(up)
        point = self.first_point[:, which, None]
        both = _mixed(self.sky.effective, point + index, self.weight[:, which, None])
        values: FloatArray32 = np.exp(both.real + part * both.imag)
        return values


@dataclass(frozen=True, eq=False)
class _Axis:
    """Nodes (n,) along one axis, and the coordinate along which the logarithm of the light runs straight."""

    nodes: FloatArray
    coordinate: Callable[[FloatArray], FloatArray]

    @classmethod
    def of(
        cls,
        values: FloatArray | float,
        nodes: FloatArray,
        coordinate: Callable[[FloatArray], FloatArray],
    ) -> Self:
        """The usual nodes, or where all places are alike that one value."""
        if isinstance(values, np.ndarray):
            alike = float(values[0])
            if np.any(values != alike):
                return cls(nodes, coordinate)
            values = alike
        return cls(np.array([values]), coordinate)

    def split(self, values: FloatArray | float) -> tuple[IntArray, FloatArray32]:
        """Index of the node at or below each value, and the part of the way to the next."""
        place = np.interp(self.coordinate(np.asarray(values)), self._at_nodes, np.arange(self.nodes.size))
        cell = np.minimum(place.astype(np.int64), self.nodes.size - 2)
        return cell, (place - cell).astype(np.float32)

    @cached_property
    def _at_nodes(self) -> FloatArray:
        return self.coordinate(self.nodes)


def _as_it_is(values: FloatArray) -> FloatArray:
    return values


def _aerosol_coordinate(optical_depth: FloatArray) -> FloatArray:
    return np.log1p(optical_depth / _AEROSOL_SCALE)


def _aerosol_nodes() -> FloatArray:
    low, high = AEROSOL_LIMITS
    even = np.linspace(_aerosol_coordinate(np.array(low)), _aerosol_coordinate(np.array(high)), 25)
    return np.clip(_AEROSOL_SCALE * np.expm1(even), low, high)


_ELEVATION_NODES_M = np.array([LOWEST_ELEVATION_M, *np.arange(0.0, HIGHEST_ELEVATION_M + 1.0, 500.0)])
_SPARE_ELEVATION_NODES_M = np.array(
    [LOWEST_ELEVATION_M, 0.0, 1000.0, 2000.0, 3000.0, 4000.0, HIGHEST_ELEVATION_M]
)
"""Where the aerosol is told apart from it, the elevation stands for the pressure alone."""
_AEROSOL_NODES = _aerosol_nodes()
_OZONE_NODES_DU = np.clip(np.geomspace(*OZONE_LIMITS_DU, 13), *OZONE_LIMITS_DU)


def _locate(up: FloatArray) -> tuple[IntArray, FloatArray32, BoolArray]:
    position = (up - DARK_UP) * (1.0 / _STEP)
    index = np.minimum(np.maximum(position, 0.0).astype(np.int64), _POINTS - 2)
    return index, (position - index).astype(np.float32), position > 0.0


def _mixed(table: _Table, points: IntArray, weight: FloatArray32) -> _Table:
    """Entries of a table at the corners (n_corner, ...), added up by weight."""
    total: _Table = table.take(points[0], axis=0)
    if len(points) > 1:
        total *= weight[0]
    for corner in range(1, len(points)):
        more = table.take(points[corner], axis=0)
        more *= weight[corner]
        total += more
    return total


@lru_cache(maxsize=_MOST_NODES_KEPT)
def _node_curves(state: SkyState, stack: Stack, sensitizer: Sensitizer) -> _Table:
    """One row of a `SkyTable`, (n_point, n_quantity)."""
    # Past the cache of spectra, which single questions need more than a grid of skies does.
    spectra = spectral_curves.__wrapped__(state)
    columns = to_points(spectra.true_elevation_deg, flat_columns(spectra, stack, sensitizer))
    logs = np.log(np.maximum(columns[:, :: (columns.shape[1] - 1) // (_POINTS - 1)].T, _FLOOR))
    steps = np.diff(logs, axis=0, append=logs[-1:])
    return (logs + 1j * steps).astype(np.complex64)
