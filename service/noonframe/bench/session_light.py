"""What the light of a spot does for the sheets of a session: when each exposure would end, and how surely.

Without a forecast the light is one course and what is not known of it a factor; under a forecast sampled
skies are played once for the whole session, and every start is read from them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from statistics import NormalDist

import numpy as np

from noonframe.bench.session import Chances
from noonframe.dose.course import Course
from noonframe.dose.scene import Rate, Scene, Target
from noonframe.dose.skies import sample_skies
from noonframe.dose.skies_rates import expected_rate
from noonframe.errors import OutOfDomain
from noonframe.sky.evidence import CloudCourse
from noonframe.sky.words import CloudPart
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.types import FloatArray

STEP_S = 60.0
_SEED = 20260621
LEAST_SURENESS, MOST_SURENESS = 0.5, 0.95


@dataclass(frozen=True)
class ToldSky:
    """Cloud that somebody has seen, or fears, between two unix seconds; it goes before every other word."""

    from_s: float
    until_s: float
    cloud: tuple[CloudPart, ...]


@dataclass(frozen=True, eq=False)
class SpotLight:
    """Light on one kind of sheet at one spot, between two unix seconds.

    `course` is a forecast where there is one; `told` what was told of the sky, later words going first.
    """

    spot: str
    scene: Scene
    from_s: float
    until_s: float
    course: CloudCourse | None = None
    told: tuple[ToldSky, ...] = field(default=())

    @cached_property
    def time_s(self) -> FloatArray:
        """Instants (n,) a minute apart."""
        return self.from_s + np.arange(0.0, self.until_s - self.from_s + STEP_S, STEP_S)

    @cached_property
    def expected(self) -> Course:
        """The likely course of light."""
        rate: Rate = self.scene.rate if self.course is None else expected_rate(self.scene, self.course)
        values = rate(self.time_s)
        for told in self.told:
            during = (self.time_s >= told.from_s) & (self.time_s < told.until_s)
            if during.any():
                values[during] = self.scene.under(*told.cloud).rate(self.time_s[during])
        return Course.of(self.time_s, values)

    def spread_stops(self, target: Target) -> float:
        """One standard deviation of target and light together, where no skies are sampled."""
        return math.hypot(target.spread_stops, self.scene.light_spread_stops)

    @cached_property
    def _skies(self) -> tuple["_Span", ...]:
        """Sampled skies in every stretch of daylight; none without a forecast."""
        if self.course is None:
            return ()
        lit = np.concatenate([[False], self.scene.sun_out.rate(self.time_s) > 0.0, [False]])
        edges = np.flatnonzero(lit[1:] != lit[:-1])
        found = []
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            begins_s, ends_s = float(self.time_s[first]), float(self.time_s[last - 1])
            if ends_s - begins_s < STEP_S or begins_s < self.course.from_s or ends_s > self.course.to_s:
                continue
            other = self.scene.cloudless_spread_stops
            skies = sample_skies(self.scene, self.course, begins_s, ends_s, other_spread_stops=other)
            rates = skies.rates_w_m2.copy()
            middle_s = skies.edges_s[:-1] + STEP_S / 2.0
            for told in self.told:
                during = (middle_s >= told.from_s) & (middle_s < told.until_s)
                if during.any():
                    rates[:, during] = self.scene.under(*told.cloud).rate(middle_s[during])
            dose = np.zeros((rates.shape[0], rates.shape[1] + 1))
            np.cumsum(rates * STEP_S, axis=1, out=dose[:, 1:])
            found.append(_Span(skies.edges_s, dose))
        return tuple(found)

    def ends(self, start_s: FloatArray, target: Target, sureness: float = 0.5) -> FloatArray:
        """Unix seconds (n,) at which exposures begun at (n,) have their dose; NaN where the light goes first.

        With `sureness` above one half the exposures are planned longer, so that this share of the skies and
        of the doubts about the target lets the sheet be done by then.
        """
        if not LEAST_SURENESS <= sureness <= MOST_SURENESS:
            raise OutOfDomain("sureness", sureness, f"between {LEAST_SURENESS:g} and {MOST_SURENESS:g}")
        if self._skies:
            return self._quantiles(start_s, target, sureness)
        wanted = target.target_j_m2 * 2.0 ** (NormalDist().inv_cdf(sureness) * self.spread_stops(target))
        exposures = [self.expected.expose(float(each), wanted) for each in start_s]
        return np.array([math.nan if each.length_s is None else each.end_s for each in exposures])

    def _quantiles(self, start_s: FloatArray, target: Target, share: float) -> FloatArray:
        ends = np.full(start_s.shape, math.nan)
        for span in self._skies:
            inside = (start_s >= span.edges_s[0]) & (start_s < span.edges_s[-1])
            if inside.any():
                finishes = np.sort(span.finishes(start_s[inside], target), axis=0)  # NaN goes last
                position = share * (finishes.shape[0] - 1)
                low = math.floor(position)
                high = min(low + 1, finishes.shape[0] - 1)
                ends[inside] = finishes[low] + (position - low) * (finishes[high] - finishes[low])
        return ends

    def range_s(self, start_s: float, target: Target) -> tuple[float | None, float | None]:
        """Lengths that one exposure in ten falls short of and exceeds; None where the light goes first."""
        if self._skies:
            at = np.array([start_s])
            found = [float(self._quantiles(at, target, share)[0]) - start_s for share in (0.1, 0.9)]
            return _known(found[0]), _known(found[1])
        exposure = self.expected.expose(start_s, target.target_j_m2, self.spread_stops(target))
        return exposure.low_s, exposure.high_s

    def chance(self, start_s: float, by_s: float, target: Target) -> float:
        """The chance that an exposure begun at `start_s` has its dose by `by_s`."""
        if by_s <= start_s:
            return 0.0
        for span in self._skies:
            if span.edges_s[0] <= start_s < span.edges_s[-1]:
                finish_s = span.finishes(np.array([start_s]), target)[:, 0]
                return float(np.mean(finish_s <= by_s))
        if self._skies:
            return 0.0
        return chance_of(self.dose(start_s, by_s), target.target_j_m2, self.spread_stops(target))

    def dose(self, start_s: float, by_s: float) -> float:
        """The likely dose between two instants, cut to the light there is.  [J m-2]"""
        course = self.expected
        first, last = np.interp([start_s, by_s], course.time_s, course.dose_j_m2)
        return float(last - first)

    def light_until_s(self, start_s: float) -> float:
        """When the light that shines at or after `start_s` goes, or the course ends."""
        later = np.flatnonzero((self.expected.rate_w_m2 > 0.0) & (self.time_s >= start_s))
        if not later.size:
            return start_s
        dark = self.expected.dark[self.expected.dark > later[0]]
        return float(self.time_s[dark[0]]) if dark.size else float(self.time_s[-1])

    def steadiness(self, start_s: float, end_s: float) -> float:
        """Lowest light over highest between two instants of the likely course."""
        rate = self.expected.rate_w_m2
        ends = [float(self._read(rate, each)) for each in (start_s, end_s)]
        first, last = np.searchsorted(self.time_s, [start_s, end_s])
        during = rate[first:last]
        lowest = min(*ends, float(during.min(initial=math.inf)))
        highest = max(*ends, float(during.max(initial=0.0)))
        return lowest / highest if highest > 0.0 else 0.0

    def _read(self, table: FloatArray, unix_s: float) -> FloatArray:
        """A table (n, ...) over the instants, read between two of them."""
        place = (unix_s - self.from_s) / STEP_S
        index = min(max(int(place), 0), self.time_s.size - 2)
        found: FloatArray = table[index] + (table[index + 1] - table[index]) * (place - index)
        return found

    def evenness_stops(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Lowest and highest dose on a sheet that stays, in stops from its mean; -inf for no light at all."""
        if not isinstance(self.scene.spot, WindowSpot):
            return 0.0, 0.0
        dose = self._read(self._points, end_s) - self._read(self._points, start_s)
        mean = float(dose @ sheet_view(self.scene.spot).weights)
        if mean <= 0.0:
            return -math.inf, 0.0
        low, high = float(dose.min()) / mean, float(dose.max()) / mean
        return math.log2(low) if low > 0.0 else -math.inf, math.log2(high)

    @cached_property
    def _points(self) -> FloatArray:
        rates = self.scene.point_rates(self.time_s)
        cumulative = np.zeros(rates.shape)
        np.cumsum(0.5 * (rates[1:] + rates[:-1]) * STEP_S, axis=0, out=cumulative[1:])
        return cumulative


@dataclass(frozen=True, eq=False)
class _Span:
    """Doses (n_path, n) of sampled skies at instants (n,) of one stretch of daylight."""

    edges_s: FloatArray
    dose_j_m2: FloatArray

    def finishes(self, start_s: FloatArray, target: Target) -> FloatArray:
        """When each path has the dose (n_path, n_start); NaN for never.  Every path needs another target."""
        from scipy.special import ndtri

        count = self.dose_j_m2.shape[0]
        ranks = np.random.default_rng(_SEED).permutation(count)
        needed = target.target_j_m2 * 2.0 ** (target.spread_stops * ndtri((ranks + 0.5) / count))
        found = np.empty((count, start_s.size))
        for path, (dose, need) in enumerate(zip(self.dose_j_m2, needed, strict=True)):
            begun = np.interp(start_s, self.edges_s, dose)
            found[path] = np.interp(begun + need, dose, self.edges_s, right=math.nan)
        return found


def chance_of(dose_j_m2: float, target_j_m2: float, spread_stops: float) -> float:
    """The chance that a dose suffices for a target, known together to a log-normal spread."""
    if dose_j_m2 <= 0.0:
        return 0.0
    over_stops = math.log2(dose_j_m2 / target_j_m2)
    if spread_stops <= 0.0:
        return 1.0 if over_stops >= -1e-9 else 0.0
    return NormalDist().cdf(over_stops / spread_stops)


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def staying(
    light: SpotLight,
    target: Target,
    start_s: FloatArray,
    *,
    sureness: float = 0.5,
    evenness_stops: float | None = None,
) -> tuple[Chances, int]:
    """The exposures of a sheet that stays where it is laid, and how many starts evenness alone rules out."""
    ends = light.ends(start_s, target, sureness)
    costs, ruled_out = np.zeros(ends.size), 0
    for index in np.flatnonzero(np.isfinite(ends)).tolist():
        begins, end = float(start_s[index]), float(ends[index])
        if evenness_stops is not None:
            low, high = light.evenness_stops(begins, end)
            if low < -evenness_stops or high > evenness_stops:
                ends[index] = math.nan
                ruled_out += 1
                continue
        costs[index] = unsteady_s(light.steadiness(begins, end), end - begins)
    return Chances(light.spot, start_s, ends, costs), ruled_out


def unsteady_s(steadiness: float, length_s: float) -> float:
    """What unsteady light counts: light that halves counts as half the exposure's length later."""
    return (1.0 - steadiness) * length_s


def starts_for(from_s: float, until_s: float, step_s: float) -> FloatArray:
    """Starts (n,) to choose from, from a whole minute on."""
    first_s = STEP_S * math.ceil(from_s / STEP_S)
    return np.arange(first_s, until_s, step_s)


def step_for(ways: int, span_s: float, most: int = 5000) -> float:
    """Seconds between starts, so that so many ways to place a sheet give no more than `most` options."""
    for step_s in _STEPS_S:
        if ways * span_s / step_s <= most:
            return step_s
    return _STEPS_S[-1]


_STEPS_S: Sequence[float] = (120.0, 180.0, 300.0, 600.0)
