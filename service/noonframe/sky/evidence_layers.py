"""From cloud cover, by layers or in all, to how much of the sky is covered and how dark that part is.

[1] F. Kasten and G. Czeplak, "Solar and terrestrial radiation dependent on the amount and type of cloud",
    Solar Energy 24, 177-189 (1980): G/G0 = 1 - 0.75 N^3.4, N the cover (coefficients from memory).
[2] J.-F. Geleyn and A. Hollingsworth, "An economical analytical method for the computation of the
    interaction between scattering and line absorption of radiation", Beitr. Phys. Atmosph. 52, 1-16 (1979).
"""

from dataclasses import dataclass
from itertools import product

import numpy as np

from noonframe.sky.evidence_broadband import factor_at
from noonframe.sky.evidence_samples import SampleTable
from noonframe.sky.words import SKY_WORDS
from noonframe.types import FloatArray

_LOW_CLOUD_DEPTH = 32.0  # leaves a quarter of the light, as [1] found under closed cloud
_LOW_CLOUD_HEIGHT_M = 1250.0
_DEPTH_SCALE_M = 3200.0
_CLOUD_CEILING_M = 12000.0
_LEAST_RAIN_MM_H = 0.05  # models drizzle this much out of nothing
_DRIZZLE_DEPTH, _RAIN_DEPTH = 20.0, SKY_WORDS["rain"].parts[0].optical_depth
_RAIN_SCALE_MM_H = 1.0
FOG_OPTICAL_DEPTH = SKY_WORDS["fog"].parts[0].optical_depth


@dataclass(frozen=True, eq=False)
class CoverTold:
    """Cloud cover at `n` moments, 0-1, and precipitation, mm/h; NaN where not told; arrays (n,)."""

    low: FloatArray
    mid: FloatArray
    high: FloatArray
    total: FloatArray
    fog: FloatArray
    precipitation_mm_h: FloatArray

    @classmethod
    def at(cls, table: SampleTable, time_s: FloatArray) -> "CoverTold":
        """What a forecast's samples tell of cover at instants (n,)."""
        names = ("cloud_low", "cloud_mid", "cloud_high", "cloud_total", "fog", "precipitation_mm_h")
        return cls(*(table.at(name, time_s) for name in names))


@dataclass(frozen=True, eq=False)
class CoverRead:
    """`cover` (n,), the share of sky with cloud, and `factor` (n,), the broadband factor under it.

    NaN where there was no such evidence; factor 1 where the cover is 0.
    """

    cover: FloatArray
    factor: FloatArray

    @property
    def mean_factor(self) -> FloatArray:
        """Broadband factor of covered and open sky together."""
        return 1.0 - self.cover * (1.0 - self.factor)


def full_layer_depth(bottom_m: float, top_m: float) -> float:
    """Usual optical depth of a layer of cloud that covers the whole sky between two heights above ground.

    32 for low cloud at 1250 m, falling with the layer's middle by e every 3.2 km: 16 between 2 and 5 km, 3
    above 5 km, 8 between 3 and 8 km, 2 above 8 km.  Our own curve, laid through the usual ranges of cloud
    types (stratus 5-25 and nimbostratus 30-100 low, altostratus 5-20 and altocumulus 2-8 in the middle,
    cirrus below 1 and cirrostratus 1-5 high: International Satellite Cloud Climatology classes, from memory).
    """
    middle = 0.5 * (bottom_m + max(min(top_m, _CLOUD_CEILING_M), bottom_m))
    return _LOW_CLOUD_DEPTH * float(np.exp(-(middle - _LOW_CLOUD_HEIGHT_M) / _DEPTH_SCALE_M))


def rain_depth(precipitation_mm_h: FloatArray) -> FloatArray:
    """Least optical depth of a cloud that rains so much: 20 for drizzle to 50 for steady rain; 0 when dry.

    Ends from the usual ranges of stratus and nimbostratus, from memory; the curve between is our own.
    """
    rain = np.nan_to_num(precipitation_mm_h, nan=0.0)
    wet = 1.0 - np.exp(-np.maximum(rain, 0.0) / _RAIN_SCALE_MM_H)
    return np.where(rain >= _LEAST_RAIN_MM_H, _DRIZZLE_DEPTH + (_RAIN_DEPTH - _DRIZZLE_DEPTH) * wet, 0.0)


def read_layers(told: CoverTold, nodes: FloatArray, low_top_m: float, mid_top_m: float) -> CoverRead:
    """Cover and broadband factor from layers; NaN where no layer is told.

    Neighbouring layers overlap as much as they can and layers with open air between them at random, as in
    [2] (so that the low and middle cloud decide the middle's place, and the middle and high the high's).
    Each layer's depth is `full_layer_depth` times its own cover: scattered cloud is thinner than a closed
    sheet, which with the whole sky's law in [1] is how light falls with cover.  Fog thickens the low layer.
    A total cover that is told goes before that of the overlap.  `nodes` (n, n_node): `node_factors`.
    """
    known = np.isfinite(told.low) | np.isfinite(told.mid) | np.isfinite(told.high)
    low, mid, high = (np.nan_to_num(layer, nan=0.0) for layer in (told.low, told.mid, told.high))
    fog = np.nan_to_num(told.fog, nan=0.0)
    above = np.maximum(low - fog, 0.0)
    low = np.maximum(low, fog)
    of_low = full_layer_depth(0.0, low_top_m) * low
    of_low = np.divide(
        fog * np.maximum(FOG_OPTICAL_DEPTH, of_low) + above * of_low, low, out=of_low, where=low > 0.0
    )
    of_mid = full_layer_depth(low_top_m, mid_top_m) * mid
    of_high = full_layer_depth(mid_top_m, _CLOUD_CEILING_M) * high
    least = rain_depth(told.precipitation_mm_h)
    clear_share, light = np.zeros(low.shape), np.zeros(low.shape)
    for has_low, has_mid, has_high in product((False, True), repeat=3):
        share = (low if has_low else 1.0 - low) * _given(has_mid, mid, has_low, low)
        share = share * _given(has_high, high, has_mid, mid)
        if not (has_low or has_mid or has_high):
            clear_share = share
            continue
        depth = has_low * of_low + has_mid * of_mid + has_high * of_high
        if has_low or has_mid:
            depth = np.maximum(depth, least)
        light += share * factor_at(depth, nodes)
    covered = 1.0 - clear_share
    some = covered > 1e-9
    factor = np.divide(light, covered, out=np.ones_like(light), where=some)
    # Told of cloud in all but in no layer, there is nothing to say how thick it is but the whole sky's law.
    whole = read_total(told, nodes)
    unplaced = (told.total > 0.0) & ~some
    cover = np.where(np.isfinite(told.total), told.total, np.where(some, covered, 0.0))
    factor = np.where(unplaced, whole.factor, np.where(cover > 0.0, factor, 1.0))
    return CoverRead(np.where(known, cover, np.nan), np.where(known, factor, np.nan))


def _given(has_it: bool, cover: FloatArray, has_below: bool, below: FloatArray) -> FloatArray:
    """Chance that a layer has (or has not) cloud where its neighbour below has (or has not), by [2]."""
    both = np.minimum(cover, below)
    if has_below:
        chance = np.divide(both, below, out=np.zeros_like(both), where=below > 0.0)
    else:
        rest = 1.0 - below
        chance = np.divide(cover - both, rest, out=np.zeros_like(both), where=rest > 0.0)
    return chance if has_it else 1.0 - chance


def read_total(told: CoverTold, nodes: FloatArray) -> CoverRead:
    """Cover and broadband factor from total cover by [1]; NaN where it is not told.

    [1] found no dependence on the sun's height.  Rain and fog make the covered part as dark as they are.
    """
    known = np.isfinite(told.total)
    fog = np.nan_to_num(told.fog, nan=0.0)
    cover = np.maximum(np.nan_to_num(told.total, nan=0.0), fog)
    factor = 1.0 - 0.75 * cover**2.4  # [1], the loss put on the covered share
    factor = np.minimum(factor, factor_at(rain_depth(told.precipitation_mm_h), nodes))
    in_fog = np.minimum(factor, factor_at(np.full(cover.shape, FOG_OPTICAL_DEPTH), nodes))
    foggy = np.divide(fog, cover, out=np.zeros_like(cover), where=cover > 0.0)
    factor = np.where(cover > 0.0, foggy * in_fog + (1.0 - foggy) * factor, 1.0)
    return CoverRead(np.where(known, cover, np.nan), np.where(known, factor, np.nan))
