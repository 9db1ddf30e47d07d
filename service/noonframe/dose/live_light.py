"""The light on one spot, straight between the minutes and the edges of the forecast's pieces."""

import math

import numpy as np

from noonframe.dose.scene import Scene
from noonframe.dose.skies_rates import NODE_OPTICAL_DEPTH, cloud_rates
from noonframe.sky.assume import GIVEN_CLOUD_SPREAD_STOPS
from noonframe.sky.evidence import CloudCourse
from noonframe.sky.words import CloudPart
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.types import FloatArray, IntArray

MINUTE_S = 60.0
_BLOCK_S = 3600.0
_NODES = np.array(NODE_OPTICAL_DEPTH)
_LOG_NODES = np.log1p(_NODES)
_SMALL = 0.1


class SpotLight:
    """Rate of dose at `n_point` points of a sheet in one place, under the forecast and under skies seen.

    Time is cut into `m` cells at the minutes and at the edges of the course; a rate is straight within a
    cell.  Without a course the forecast is the sky that the scene assumes.  Cells are added as they are
    asked for, up to the end of the course.
    """

    def __init__(self, scene: Scene, course: CloudCourse | None, first_s: float) -> None:
        self.scene = scene
        self.weights = sheet_view(scene.spot).weights if isinstance(scene.spot, WindowSpot) else np.ones(1)
        self._course = course
        self._steady_spread = assumed_spread_stops(scene)
        self._steady_cover = 1.0 - scene_sun_share(scene)
        self.edges_s = np.array([math.floor(first_s / MINUTE_S) * MINUTE_S])
        points = self.weights.size
        self._low, self._high = np.empty((0, points)), np.empty((0, points))
        self._sun = np.empty((1, 0))
        self._sun = self._mean(scene.sun_out, self.edges_s)
        self.cover, self.spread_stops = np.empty(0), np.empty(0)
        self._seen: dict[tuple[CloudPart, ...], FloatArray] = {}

    def reach(self, until_s: float) -> None:
        """Add cells until they hold `until_s`."""
        while self.edges_s[-1] <= until_s:
            first_s = float(self.edges_s[-1])
            last_s = first_s + _BLOCK_S
            inner = np.empty(0)
            if self._course is not None:
                last_s = min(last_s, self._course.to_s)
                inner = self._course.edges_s
                inner = inner[(inner > first_s) & (inner < last_s)]
            if last_s <= first_s:
                return
            minutes = np.arange(first_s - first_s % MINUTE_S + MINUTE_S, last_s, MINUTE_S)
            self._add(np.unique(np.concatenate([[first_s], minutes, inner, [last_s]])))

    def cell_of(self, time_s: FloatArray) -> IntArray:
        """Index of the cell that holds each moment (k,)."""
        cell = np.searchsorted(self.edges_s, time_s, side="right") - 1
        return np.minimum(cell, self.cover.size - 1).astype(np.int64)

    def forecast(self, cell: IntArray, time_s: FloatArray) -> FloatArray:
        """Mean rate (k, n_point) under the forecast at moments (k,), each within or at an end of its cell."""
        low = self._low[cell]
        return low + self._part(cell, time_s)[:, None] * (self._high[cell] - low)

    def seen(self, cloud: tuple[CloudPart, ...], cell: IntArray, time_s: FloatArray) -> FloatArray:
        """Rate (k, n_point) under a sky that was seen."""
        at_edges = self._seen.get(cloud)
        known = 0 if at_edges is None else len(at_edges)
        if known < self.edges_s.size:
            more = self.scene.under(*cloud).point_rates(self.edges_s[known:])
            at_edges = more if at_edges is None else np.concatenate([at_edges, more])
            self._seen[cloud] = at_edges
        assert at_edges is not None
        low = at_edges[cell]
        return low + self._part(cell, time_s)[:, None] * (at_edges[cell + 1] - low)

    def sun(self, cell: IntArray, time_s: FloatArray) -> FloatArray:
        """Rate (k,) with the sun out, as the mean over the sheet."""
        low = self._sun[cell]
        return low + self._part(cell, time_s) * (self._sun[cell + 1] - low)

    def _part(self, cell: IntArray, time_s: FloatArray) -> FloatArray:
        begin_s = self.edges_s[cell]
        part: FloatArray = (time_s - begin_s) / (self.edges_s[cell + 1] - begin_s)
        return part

    def _mean(self, scene: Scene, edges_s: FloatArray) -> FloatArray:
        mean: FloatArray = scene.point_rates(edges_s) @ self.weights
        return mean

    def _add(self, edges_s: FloatArray) -> None:
        """Cells between `edges_s` (k+1,), the first of which is the last that is there."""
        count = edges_s.size - 1
        if self._course is None:
            rate = self.scene.point_rates(edges_s)
            low, high = rate[:-1], rate[1:]
            cover, spread = np.full(count, self._steady_cover), np.full(count, self._steady_spread)
        else:
            piece = self._course.piece_of(0.5 * (edges_s[1:] + edges_s[:-1]))
            cover, spread = self._course.cover[piece], self._course.spread_stops[piece]
            low, high = self._under_course(edges_s, cover, self._course.optical_depth[piece])
        self._low = np.concatenate([self._low, low])
        self._high = np.concatenate([self._high, high])
        self._sun = np.concatenate([self._sun, self._mean(self.scene.sun_out, edges_s[1:])])
        self.cover = np.concatenate([self.cover, cover])
        self.spread_stops = np.concatenate([self.spread_stops, spread])
        self.edges_s = np.concatenate([self.edges_s, edges_s[1:]])

    def _under_course(
        self, edges_s: FloatArray, cover: FloatArray, depth: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Rates (k, n_point) at both ends of cells with `cover` and `depth` (k,)."""
        cell = np.clip(np.searchsorted(_NODES, depth, side="right") - 1, 0, _NODES.size - 2)
        part = (np.log1p(depth) - _LOG_NODES[cell]) / (_LOG_NODES[cell + 1] - _LOG_NODES[cell])
        wanted = np.zeros(_NODES.size, dtype=np.bool_)
        wanted[0] = wanted[cell] = wanted[cell + 1] = True
        nodes = cloud_rates(self.scene).nodes
        rates = np.stack([nodes[node].point_rates(edges_s) for node in np.flatnonzero(wanted)])
        row, which = np.cumsum(wanted)[cell] - 1, np.arange(cell.size)
        ends = []
        for edge in (which, which + 1):
            below, above, sun = rates[row, edge], rates[row + 1, edge], rates[0, edge]
            lit = (below > 0.0) & (above > 0.0)
            log_below, log_above = (np.log(np.where(lit, rate, 1.0)) for rate in (below, above))
            clouded = np.exp(log_below + part[:, None] * (log_above - log_below))
            share = cover[:, None]
            ends.append((1.0 - share) * sun + share * np.where(lit, clouded, 0.0))
        return ends[0], ends[1]


def scene_sun_share(scene: Scene) -> float:
    """Share of time in which no cloud stands before the sun, by the scene's own sky."""
    return sum(part.probability for part in scene.sky.state.cloud if part.optical_depth == 0.0)


def assumed_spread_stops(scene: Scene) -> float:
    """One standard deviation of the light that is owed to the cloud of the scene's own sky."""
    word = scene.sky.word
    return GIVEN_CLOUD_SPREAD_STOPS if word is None else word.spread_stops


def straight_times_exponential(
    low: FloatArray, high: FloatArray, per_s: FloatArray, length_s: FloatArray
) -> FloatArray:
    """Integral (k, n) over lengths (k,) of a line from `low` to `high` (k, n) times exp(`per_s` t)."""
    x = per_s * length_s
    small = np.abs(x) < _SMALL
    safe = np.where(small, 1.0, x)
    # first = integral of e^(xs), second = integral of s e^(xs), over s from 0 to 1
    first = np.where(small, _series(x, 0), np.expm1(safe) / safe)
    second = np.where(small, _series(x, 1), (np.exp(safe) * (safe - 1.0) + 1.0) / safe**2)
    whole: FloatArray = length_s[:, None] * (low * (first - second)[:, None] + high * second[:, None])
    return whole


def _series(x: FloatArray, power: int) -> FloatArray:
    """Integral of s^power e^(xs) over s from 0 to 1, for |x| below 0.1: good to 1e-15."""
    total = np.zeros_like(x)
    for order in range(9, -1, -1):
        total = total * x + 1.0 / (math.factorial(order) * (order + power + 1))
    return total
