"""The best evidence for each piece of time, read from one run or member of a forecast."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from noonframe.sky.evidence_broadband import depth_of, factor_at, node_factors
from noonframe.sky.evidence_clear import SOLIS_LIMIT_AT_500_NM
from noonframe.sky.evidence_index import ClearSkyIndex, best_cover, clear_sky_index, cloud_for_index
from noonframe.sky.evidence_layers import CoverTold
from noonframe.sky.evidence_samples import SampleTable
from noonframe.sun.place import Place
from noonframe.sun.position import sun_track
from noonframe.types import BoolArray, FloatArray, IntArray


class Evidence(StrEnum):
    """What the cloud of a piece of time was worked out from."""

    SHORTWAVE = "shortwave irradiance"
    LAYERS = "layered cloud"
    TOTAL = "total cloud"
    BEYOND = "beyond the forecast"


SPREAD_STOPS = {
    Evidence.SHORTWAVE: (0.10, 0.35),
    Evidence.LAYERS: (0.15, 0.50),
    Evidence.TOTAL: (0.20, 0.60),
}
"""One standard deviation of the light: a part that is always there, and one per stop that cloud takes away.

A wrong cloud is wrong in proportion to what it does.  Cloud known by sight leaves 50 % (0.58 stops) at the
one to one and a half stops of a closed sheet, irradiance 15 % before the forecast's own error (Schwander et
al. 2002, J. Geophys. Res. 107); the rest is our own choice, no source.
"""

MEMBER_SPREAD_STOPS = (0.07, 0.08)
"""The same within one member of an ensemble, whose error the others show: what the step from broadband to
ultraviolet leaves, about 0.06 of the clear light between the 10 % and 90 % quantiles."""

STRONG_DISAGREEMENT_STOPS = 0.7
"""Irradiance and cover that differ by more than this in the mean light are said to disagree; half of the
difference is then added to the spread.  Our own choice, no source."""

USUAL_COVER = 0.6
USUAL_OPTICAL_DEPTH = 10.0
USUAL_SPREAD_STOPS = 0.6
"""The cloud taken where no forecast reaches: mean cover over land, from memory; depth and spread our own."""

_OUT_OF_FIT_SPREAD_STOPS = 0.2
_LARGEST_SPREAD_STOPS = 4.0
_LEAST_FACTOR = 0.05


@dataclass(frozen=True, eq=False)
class Pieces:
    """What was read, piece by piece, arrays (k,); `disagree` marks evidence at odds with itself."""

    cover: FloatArray
    optical_depth: FloatArray
    spread_stops: FloatArray
    evidence: npt.NDArray[np.str_]
    disagree: BoolArray

    def filled_from(self, control: "Pieces") -> "Pieces":
        """The same with the control run's reading where this one has none."""
        missing = self.evidence == Evidence.BEYOND.value
        return Pieces(
            np.where(missing, control.cover, self.cover),
            np.where(missing, control.optical_depth, self.optical_depth),
            np.where(missing, control.spread_stops, self.spread_stops),
            np.where(missing, control.evidence, self.evidence),
            np.where(missing, control.disagree, self.disagree),
        )


class PieceReader:
    """Reads the runs of one forecast on to the same pieces, whose ends are `edges_s` (k+1,)."""

    def __init__(
        self,
        place: Place,
        edges_s: FloatArray,
        aerosol_optical_depth: float,
        layer_tops_m: tuple[float, float],
    ) -> None:
        self._place, self._aerosol, self._tops = place, aerosol_optical_depth, layer_tops_m
        self._middle = 0.5 * (edges_s[1:] + edges_s[:-1])
        self._nodes = node_factors(sun_track(place, self._middle).zenith_deg)

    def index(self, table: SampleTable) -> ClearSkyIndex:
        """The clear-sky index of a run."""
        return clear_sky_index(table, self._place, self._aerosol, *self._tops)

    def read(
        self, table: SampleTable, index: ClearSkyIndex, clear_scale: float, *, is_member: bool = False
    ) -> Pieces:
        """Best evidence per piece: irradiance, layers, total cover, else a usual sky "beyond the forecast".

        `clear_scale` multiplies the clear-sky irradiance.
        """
        evidence = np.full(self._middle.shape, Evidence.BEYOND.value, dtype="<U24")
        cover = np.full(self._middle.shape, USUAL_COVER)
        depth = np.full(self._middle.shape, USUAL_OPTICAL_DEPTH)
        seen, layered = best_cover(CoverTold.at(table, self._middle), self._nodes, *self._tops)
        known = np.isfinite(seen.cover)
        cover[known] = seen.cover[known]
        depth[known] = depth_of(seen.factor[known], self._nodes[known])
        evidence[known] = np.where(layered[known], Evidence.LAYERS.value, Evidence.TOTAL.value)

        at = index.at(self._middle, self._nodes, seen)
        ratio = at.index / clear_scale
        bright = np.isfinite(ratio)
        cover[bright], depth[bright] = cloud_for_index(ratio[bright], at.cover[bright], at.nodes[bright])
        evidence[bright] = Evidence.SHORTWAVE.value
        nodes = np.where(bright[:, None], at.nodes, self._nodes)
        apart = _apart_stops(ratio, at.factor)

        held, neighbour = self._low_sun(table, bright, evidence == Evidence.BEYOND.value)
        for values in (cover, depth, evidence, apart):
            values[held] = values[neighbour]

        nothing = (cover <= 0.0) | (depth <= 0.0)
        cover[nothing], depth[nothing] = 0.0, 0.0
        lost = -np.log2(1.0 - cover * (1.0 - factor_at(depth, nodes)))
        spread = np.hypot(self._spread(lost, evidence, is_member), 0.5 * apart)
        return Pieces(cover, depth, np.minimum(spread, _LARGEST_SPREAD_STOPS), evidence, apart > 0.0)

    def _low_sun(self, table: SampleTable, bright: BoolArray, untold: BoolArray) -> tuple[IntArray, IntArray]:
        """Untold pieces within irradiance that is told under too low a sun, and the nearest read piece."""
        reach = np.isfinite(table.at("global_w_m2", self._middle))
        held, source = np.flatnonzero(reach & untold), np.flatnonzero(bright)
        if held.size == 0 or source.size == 0:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        away = np.abs(self._middle[held, None] - self._middle[None, source])
        return held, source[np.argmin(away, axis=1)]

    def _spread(self, lost_stops: FloatArray, evidence: npt.NDArray[np.str_], is_member: bool) -> FloatArray:
        spread = np.full(lost_stops.shape, USUAL_SPREAD_STOPS)
        for kind, shares in SPREAD_STOPS.items():
            always, per_stop = MEMBER_SPREAD_STOPS if is_member else shares
            here = evidence == kind.value
            spread[here] = np.hypot(always, per_stop * lost_stops[here])
            if kind is Evidence.SHORTWAVE and self._aerosol > SOLIS_LIMIT_AT_500_NM:
                spread[here] = np.hypot(spread[here], _OUT_OF_FIT_SPREAD_STOPS)
        return spread


def _apart_stops(ratio: FloatArray, factor: FloatArray) -> FloatArray:
    """Stops between two readings (n,) of the same dimming where they disagree strongly, else 0."""
    both = np.isfinite(ratio) & np.isfinite(factor)
    first = np.where(both, np.clip(ratio, _LEAST_FACTOR, 1.0), 1.0)
    second = np.where(both, np.clip(factor, _LEAST_FACTOR, 1.0), 1.0)
    apart = np.abs(np.log2(first / second))
    return np.where(apart > STRONG_DISAGREEMENT_STOPS, apart, 0.0)
