"""How well each target would explain an exposure: likelihoods on one fixed grid of log2 dose.

For a target of log2 dose x a reading (low, high] with spread r has likelihood
    Phi((log2 high - x)/r) - Phi((log2 low - x)/r),
a point its normal density.  The error of the recorded light moves all readings of an exposure together, so
their product is convolved with a normal of its spread; for one reading that only widens r.  With probability
`blunder_share` the exposure is not what was written down: the light's spread is then `BLUNDER_SPREAD_STOPS`
more, which is what keeps one outlier from ruling the rest (a contaminated normal; Tukey, J. W. (1960), A
survey of sampling from contaminated distributions).  Exposures of one occasion share one more such error.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from noonframe.bench.evidence import Evidence, Reading
from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

BLUNDER_SPREAD_STOPS = 3.0
"""A blundered exposure still lies within a factor of eight, two times in three (our own; no source)."""

STEPS_PER_STOP = 128
_LOWEST, _HIGHEST = -4, 32  # 0.06 J/m2 to 4.3 GJ/m2: far beyond any target a scene takes
_KERNEL_SIGMAS = 8.0


@cache
def log2_grid() -> FloatArray:
    """Log2 of dose in J/m2 (n,), even, 128 to the stop."""
    grid = np.linspace(_LOWEST, _HIGHEST, (_HIGHEST - _LOWEST) * STEPS_PER_STOP + 1)
    grid.setflags(write=False)
    return grid


def reading_likelihood(reading: Reading, extra_spread_stops: float = 0.0) -> FloatArray:
    """Likelihood (n,) of a reading on the grid, its spread widened by another independent one."""
    from scipy.special import ndtr

    x = log2_grid()
    spread = math.hypot(reading.spread_stops, extra_spread_stops)
    low = -math.inf if reading.low_j_m2 is None else math.log2(reading.low_j_m2)
    high = math.inf if reading.high_j_m2 is None else math.log2(reading.high_j_m2)
    if low == high:
        density: FloatArray = np.exp(-0.5 * ((low - x) / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))
        return density
    below, above = (low - x) / spread, (high - x) / spread
    # the difference of the smaller tails keeps its digits on either side
    flip = below > 0.0
    difference: FloatArray = ndtr(np.where(flip, -below, above)) - ndtr(np.where(flip, -above, below))
    return difference


@lru_cache(maxsize=256)
def exposure_likelihood(evidence: Evidence, extra_spread_stops: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Likelihood (n,) of an exposure as sound and as blundered; their sum is its whole likelihood.

    `extra_spread_stops` is a further error of its light that nothing else shares.
    """
    sound_spread = math.hypot(evidence.light_spread_stops, extra_spread_stops)
    blunder_spread = math.hypot(sound_spread, BLUNDER_SPREAD_STOPS)
    if len(evidence.readings) == 1:
        sound, blundered = (
            reading_likelihood(evidence.readings[0], spread) for spread in (sound_spread, blunder_spread)
        )
    else:
        together = np.prod([reading_likelihood(reading) for reading in evidence.readings], axis=0)
        sound, blundered = widened(together, sound_spread), widened(together, blunder_spread)
    sound, blundered = (1.0 - evidence.blunder_share) * sound, evidence.blunder_share * blundered
    sound.setflags(write=False)
    blundered.setflags(write=False)
    return sound, blundered


def widened(values: FloatArray, spread_stops: float) -> FloatArray:
    """Values (m,) at the grid's step, convolved with a normal; held beyond their ends."""
    from scipy.signal import fftconvolve

    if spread_stops == 0.0:
        return values
    reach = math.ceil(_KERNEL_SIGMAS * spread_stops * STEPS_PER_STOP)
    offset = np.arange(-reach, reach + 1) / STEPS_PER_STOP
    kernel = np.exp(-0.5 * (offset / spread_stops) ** 2)
    kernel /= kernel.sum()
    result: FloatArray = fftconvolve(np.pad(values, reach, mode="edge"), kernel, mode="valid")
    # the transform leaves rounding noise of either sign where there is nothing
    return np.maximum(result, 1e-15 * float(values.max()))


@dataclass(frozen=True)
class Group:
    """Exposures, by index, that share an error of this spread; 0 for one that shares nothing."""

    members: tuple[int, ...]
    spread_stops: float


def by_occasion(evidence: Sequence[Evidence]) -> tuple[Group, ...]:
    """The exposures in groups that share an error; those that share none each in their own group."""
    named: dict[str, list[int]] = {}
    for index, item in enumerate(evidence):
        # a name no occasion can have, for one that shares nothing
        named.setdefault(item.occasion if item.shared_spread_stops > 0.0 else f"\0{index}", []).append(index)
    groups = []
    for occasion, members in named.items():
        spreads = {evidence[index].shared_spread_stops for index in members}
        if len(spreads) > 1:
            limit = f"the same for all exposures of the occasion {occasion!r}"
            raise OutOfDomain("shared_spread_stops", sorted(spreads), limit)
        groups.append(Group(tuple(members), spreads.pop()))
    return tuple(groups)


def group_log_likelihood(members: FloatArray, spread_stops: float) -> FloatArray:
    """Log likelihood (m,) of exposures with log likelihoods (n_exposure, m) that share one error."""
    total: FloatArray = members.sum(axis=0)
    if spread_stops == 0.0:
        return total
    highest = float(total.max())
    log_likelihood: FloatArray = np.log(widened(np.exp(total - highest), spread_stops)) + highest
    return log_likelihood
