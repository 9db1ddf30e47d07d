"""The clear-sky index of a forecast, and the two-state cloud that makes it."""

from dataclasses import dataclass

import numpy as np

from noonframe.sky.evidence_broadband import depth_of, factor_at
from noonframe.sky.evidence_clear import clear_intervals
from noonframe.sky.evidence_layers import CoverRead, CoverTold, read_layers, read_total
from noonframe.sky.evidence_samples import SampleTable, between, covering
from noonframe.sun.place import Place
from noonframe.types import BoolArray, FloatArray

HIGHEST_INDEX = 1.1
"""Light reflected off the sides of cloud lifts minutes by a quarter, but not means by more than a tenth."""

LEAST_CLEAR_W_M2 = 20.0
LOWEST_SUN_ZENITH_DEG = 80.0
"""With less clear light or a lower sun the index is noise: common practice."""

THICKEST_BROKEN_CLOUD = 50.0
"""What a cloud with gaps between is taken to be at most; beyond it, there must be more of it."""

CLOUDLESS_COVER = 0.05
_CALIBRATION_ZENITH_DEG = 70.0
_CALIBRATION_HOURS = 3.0
_CALIBRATION_LIMIT = 0.10


@dataclass(frozen=True, eq=False)
class ClearSkyIndex:
    """Global irradiance over the clear one, for `n` samples in which the sun is high enough; arrays (n,).

    `nodes` (n, n_node) are the broadband factors that belong to each mean, `cover` and `factor` what cloud
    cover says over the same time (NaN where it is not told).
    """

    start_s: FloatArray
    end_s: FloatArray
    index: FloatArray
    zenith_deg: FloatArray
    nodes: FloatArray
    cover: FloatArray
    factor: FloatArray

    def at(self, time_s: FloatArray, nodes: FloatArray, seen: CoverRead) -> "IndexAt":
        """What belongs to moments (k,).

        A mean holds over its interval with all that belongs to it.  Between instants the index is
        interpolated, and node factors and cover (`nodes` (k, n_node), `seen` (k,)) are the moment's own.
        """
        is_mean = self.end_s > self.start_s
        index = between(self.start_s[~is_mean], self.index[~is_mean], time_s)
        nodes, cover, factor = nodes.copy(), seen.cover.copy(), seen.mean_factor
        means = np.flatnonzero(is_mean)
        which = covering(self.start_s[means], self.end_s[means], time_s)
        inside = which >= 0
        row = means[which[inside]]
        index[inside], nodes[inside] = self.index[row], self.nodes[row]
        cover[inside], factor[inside] = self.cover[row], self.factor[row]
        return IndexAt(index, nodes, cover, factor)


@dataclass(frozen=True, eq=False)
class IndexAt:
    """As `ClearSkyIndex`, at moments (k,); the index is NaN where it is not told."""

    index: FloatArray
    nodes: FloatArray
    cover: FloatArray
    factor: FloatArray


def clear_sky_index(
    table: SampleTable, place: Place, aerosol_optical_depth: float, low_top_m: float, mid_top_m: float
) -> ClearSkyIndex:
    """The clear-sky index of every sample that tells global irradiance under a sun that is high enough."""
    told = np.flatnonzero(table.told("global_w_m2"))
    start, end, value = table.start_s[told], table.end_s[told], table.value["global_w_m2"][told]
    clear = clear_intervals(place, start, end, aerosol_optical_depth)
    good = (clear.global_w_m2 >= LEAST_CLEAR_W_M2) & (clear.zenith_deg <= LOWEST_SUN_ZENITH_DEG)
    nodes = clear.nodes[good]
    sub, weight = clear.sub_s[good], clear.sub_weight[good]
    by_sub = np.repeat(nodes, sub.shape[1], axis=0)
    seen, _ = best_cover(CoverTold.at(table, sub.ravel()), by_sub, low_top_m, mid_top_m)
    return ClearSkyIndex(
        start_s=start[good],
        end_s=end[good],
        index=value[good] / clear.global_w_m2[good],
        zenith_deg=clear.zenith_deg[good],
        nodes=nodes,
        cover=np.minimum(np.sum(seen.cover.reshape(sub.shape) * weight, axis=1), 1.0),  # rounding
        factor=np.sum(seen.mean_factor.reshape(sub.shape) * weight, axis=1),
    )


def best_cover(
    told: CoverTold, nodes: FloatArray, low_top_m: float, mid_top_m: float
) -> tuple[CoverRead, BoolArray]:
    """Cover by layers where any is told, else in all; and where it was layers."""
    layers = read_layers(told, nodes, low_top_m, mid_top_m)
    total = read_total(told, nodes)
    layered = np.isfinite(layers.cover)
    cover = np.where(layered, layers.cover, total.cover)
    return CoverRead(cover, np.where(layered, layers.factor, total.factor)), layered


def calibration(index: ClearSkyIndex) -> float | None:
    """Median index of the forecast's cloudless samples with the sun above 20 degrees, to divide by.

    It takes out what the provider's clear sky and ours disagree about (water, aerosol, height of the grid
    cell).  None with less than three hours of them, or when they are more than 10 % off: then something else
    is wrong.
    """
    use = (index.cover < CLOUDLESS_COVER) & (index.zenith_deg <= _CALIBRATION_ZENITH_DEG)
    if float(np.sum((index.end_s - index.start_s)[use])) < _CALIBRATION_HOURS * 3600.0:
        return None
    scale = float(np.median(index.index[use]))
    return scale if abs(scale - 1.0) <= _CALIBRATION_LIMIT else None


_THINNEST_VEIL = 0.05


def cloud_for_index(index: FloatArray, cover: FloatArray, nodes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cover and optical depth (n,) whose mixture dims the broadband light by `index` (n,).

    `cover` (n,) is what is told, NaN for not.  The open part shines as without cloud, and the covered part
    has the depth that makes up the rest: (1 - cover) + cover f(depth) = index.  With no cover told, or less
    than 5 %, the loss is laid on a veil over the whole sky.  If the cover told is too small for the loss even
    with cloud of depth 50, it is raised to what is needed.  An index above 1.1 counts as 1.1, and one of 1 or
    more is no cloud, as is a veil thinner than 0.05: under 1 % of the light, and no eye sees it.
    """
    index = np.minimum(index, HIGHEST_INDEX)
    loss = np.maximum(1.0 - index, 0.0)
    share = np.where(np.isfinite(cover) & (cover >= CLOUDLESS_COVER), cover, 1.0)
    thick = factor_at(np.full(index.shape, THICKEST_BROKEN_CLOUD), nodes)
    needed = np.minimum(loss / (1.0 - thick), 1.0)
    share = np.maximum(share, needed)
    depth = depth_of(1.0 - loss / share, nodes)
    none = (loss <= 0.0) | (depth < _THINNEST_VEIL)
    return np.where(none, 0.0, share), np.where(none, 0.0, depth)
