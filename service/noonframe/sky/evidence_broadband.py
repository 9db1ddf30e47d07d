"""From the whole solar spectrum to the cloud that dims it.

A cloud dims the whole spectrum more than the near ultraviolet, because it also absorbs in the infrared and
because much of the ultraviolet is diffuse before it meets the cloud (Badosa et al. 2014, Photochem.
Photobiol., doi:10.1111/php.12272).  So a forecast of shortwave irradiance is not scaled across: it is
turned into the optical depth of the cloud, by data/broadband_cloud_factor.csv, and the engine works out
the rest.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from noonframe.datafiles import data_folder, read_columns
from noonframe.errors import DataFileError
from noonframe.sky.words import THICKEST_CLOUD
from noonframe.types import FloatArray

_FILE = "broadband_cloud_factor.csv"


@dataclass(frozen=True, eq=False)
class BroadbandTable:
    """Factors by which a level cloud dims, over `zenith_deg` (n_zenith,) and `optical_depth` (n_node,).

    `global_factor`, `uva_factor` and `blue_factor` have shape (n_zenith, n_node); the first node is no
    cloud, factor 1, and the last is the engine's thickest cloud.  Values between are bilinear in zenith
    and in log(1 + optical depth).
    """

    zenith_deg: FloatArray
    optical_depth: FloatArray
    global_factor: FloatArray
    uva_factor: FloatArray
    blue_factor: FloatArray

    @property
    def log_depth(self) -> FloatArray:
        """log(1 + optical depth) at the nodes."""
        return np.log1p(self.optical_depth)


@cache
def broadband_table() -> BroadbandTable:
    """The shipped table.  Raises `DataFileError` when it is not a full grid that falls with depth.

    From the source's last depth, 100, to the thickest cloud of the engine, 128, the factors go on with
    their last slope in the logarithms of both: light under thick cloud falls about as 1/depth.
    """
    columns = read_columns(data_folder() / _FILE)
    depth = np.unique(columns["cloud_optical_depth"])
    zenith = np.unique(columns["solar_zenith_deg"])
    if columns["cloud_optical_depth"].size != depth.size * zenith.size or not (depth > 0.0).all():
        raise DataFileError("rows", _FILE, "must be one for each optical depth, above 0, and zenith")
    row = np.searchsorted(zenith, columns["solar_zenith_deg"])
    column = np.searchsorted(depth, columns["cloud_optical_depth"])
    factors = []
    for name in ("global_factor", "uva_factor", "blue_factor"):
        grid = np.full((zenith.size, depth.size), np.nan)
        grid[row, column] = columns[name]
        slope = np.log(grid[:, -1] / grid[:, -2]) / np.log(depth[-1] / depth[-2])
        thickest = grid[:, -1] * (THICKEST_CLOUD / depth[-1]) ** slope
        whole = np.concatenate([np.ones((zenith.size, 1)), grid, thickest[:, None]], axis=1)
        if not ((whole > 0.0).all() and (np.diff(whole, axis=1) < 0.0).all()):
            raise DataFileError(name, _FILE, "must be above 0 and fall with the optical depth from 1")
        factors.append(whole)
    return BroadbandTable(zenith, np.concatenate([[0.0], depth, [THICKEST_CLOUD]]), *factors)


def node_factors(zenith_deg: FloatArray, factor: FloatArray | None = None) -> FloatArray:
    """Factors at the table's depth nodes for suns at `zenith_deg` (n,); shape (n, n_node).

    `factor` is one of the table's grids, the global one when left out.  Beyond the table's last zenith,
    70 degrees, its values are held: the cloud comes out a little too thick there.
    """
    table = broadband_table()
    grid = table.global_factor if factor is None else factor
    row = np.clip(
        np.searchsorted(table.zenith_deg, zenith_deg, side="right") - 1, 0, table.zenith_deg.size - 2
    )
    span = table.zenith_deg[row + 1] - table.zenith_deg[row]
    part = np.clip((zenith_deg - table.zenith_deg[row]) / span, 0.0, 1.0)[:, None]
    held: FloatArray = grid[row] + part * (grid[row + 1] - grid[row])
    return held


def factor_at(optical_depth: FloatArray, nodes: FloatArray) -> FloatArray:
    """Factor under cloud of `optical_depth` (n,) for node factors (n, n_node).  [unitless]"""
    log_nodes = broadband_table().log_depth
    x = np.log1p(optical_depth)
    cell = np.clip(np.searchsorted(log_nodes, x, side="right") - 1, 0, log_nodes.size - 2)
    part = (x - log_nodes[cell]) / (log_nodes[cell + 1] - log_nodes[cell])
    rows = np.arange(x.size)
    low = nodes[rows, cell]
    value: FloatArray = low + part * (nodes[rows, cell + 1] - low)
    return value


def depth_of(factor: FloatArray, nodes: FloatArray) -> FloatArray:
    """Optical depth (n,) whose factor is `factor` (n,), for node factors (n, n_node) that fall along rows.

    The inverse of `factor_at`.  A factor of 1 or more is no cloud; one below that of the thickest cloud
    gives the thickest cloud.
    """
    log_nodes = broadband_table().log_depth
    cell = np.clip(np.sum(nodes > factor[:, None], axis=1) - 1, 0, log_nodes.size - 2)
    rows = np.arange(factor.size)
    high, low = nodes[rows, cell], nodes[rows, cell + 1]
    part = np.clip((high - factor) / (high - low), 0.0, 1.0)
    depth: FloatArray = np.expm1(log_nodes[cell] + part * (log_nodes[cell + 1] - log_nodes[cell]))
    depth = np.minimum(depth, THICKEST_CLOUD)  # the logarithm and back may round up
    return depth
