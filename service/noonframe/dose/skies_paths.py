"""Sampled paths of a sky in which clouds pass before the sun.

The sun is out or a cloud stands before it.  At the beats of a Poisson process, `persistence_s` apart on
average, a fresh number between 0 and 1 is drawn, and cloud stands before the sun while the number is below
the cover of the moment.  That is a two-state Markov process (a telegraph signal): its share of cloud is
the cover at every moment, also while the cover changes, its autocorrelation is exp(-time/persistence), and
the dwell times are exponential, persistence/(1 - cover) under cloud and persistence/cover in the sun.

The numbers know nothing of place or cloud, so they are drawn once, for every minute of a cycle of a day and
a half, and belong to the minute: asked again a little later, an answer is about the same skies, that much
later.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from noonframe.errors import OutOfDomain
from noonframe.sun.place import Place
from noonframe.types import BoolArray, FloatArray, IntArray

STEP_S = 60.0

PERSISTENCE_S = 300.0
"""At half cover a cloud then takes ten minutes on average to pass.  Our own choice, no source."""

PATHS = 300
_MOST_PATHS = 3000
_CYCLE_STEPS = 2160
_SEED = 20260621


@dataclass(frozen=True)
class Sampling:
    """How many skies to sample, and how long on average the sky stays as it is."""

    paths: int = PATHS
    persistence_s: float = PERSISTENCE_S

    def __post_init__(self) -> None:
        if not 10 <= self.paths <= _MOST_PATHS:
            raise OutOfDomain("paths", self.paths, f"between 10 and {_MOST_PATHS}")
        if not 10.0 <= self.persistence_s <= 86400.0:
            raise OutOfDomain("persistence_s", self.persistence_s, "between 10 and 86400")


@dataclass(frozen=True)
class SeenSky:
    """What was seen of the sun at unix second `at_s`: out, or covered.

    `optical_depth` is that of the cloud seen, when it is known; else the forecast's own cloud is taken.
    """

    at_s: float
    covered: bool
    optical_depth: float | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.at_s):
            raise OutOfDomain("at_s", self.at_s, "a finite time")
        if self.optical_depth is not None and not (self.covered and 0.0 < self.optical_depth <= 128.0):
            raise OutOfDomain(
                "optical_depth", self.optical_depth, "above 0 and up to 128, with a covered sun"
            )


@dataclass(frozen=True, eq=False)
class Block:
    """`n` steps of `STEP_S`, before any draw: what each of `m` courses says in each step.

    `sun_w_m2` (n,) is the mean rate of dose with the sun out, `clouded_w_m2` (n,) under the cloud of the
    course itself, `covered_w_m2` (m, n) under that of the courses the paths follow, which have `cover` and
    `spread_stops` (m, n).  `seen_w_m2` (n,) is the rate under the cloud that was seen, None for the
    forecast's own.
    """

    sun_w_m2: FloatArray
    clouded_w_m2: FloatArray
    covered_w_m2: FloatArray
    cover: FloatArray
    spread_stops: FloatArray
    seen_w_m2: FloatArray | None

    def part(self, first: int, last: int) -> "Block":
        """Steps `first` to `last` (left out)."""
        cut = slice(first, last)
        return Block(
            self.sun_w_m2[cut],
            self.clouded_w_m2[cut],
            self.covered_w_m2[:, cut],
            self.cover[:, cut],
            self.spread_stops[:, cut],
            None if self.seen_w_m2 is None else self.seen_w_m2[cut],
        )


@dataclass(frozen=True, eq=False)
class Levels:
    """The numbers of every path, minute by minute round a cycle; arrays (n_cycle, n_path).

    `level` is uniform on [0, 1); `age` counts the steps since it was drawn, 0 in the step of the draw.  The
    second half of the paths holds 1 minus the numbers of the first, so that few paths have a steady mean.
    """

    level: npt.NDArray[np.float32]
    age: npt.NDArray[np.int32]


@lru_cache(maxsize=8)
def levels(sampling: Sampling) -> Levels:
    """The numbers for so many paths and such a persistence."""
    random = np.random.Generator(np.random.PCG64(_SEED))
    half = (sampling.paths + 1) // 2
    number = random.random((_CYCLE_STEPS, half))
    drawn = random.random((_CYCLE_STEPS, half)) < -math.expm1(-STEP_S / sampling.persistence_s)
    twice = np.concatenate([drawn, drawn])  # the second round knows the end of the first
    step = np.arange(2 * _CYCLE_STEPS)[:, None]
    latest = np.maximum.accumulate(np.where(twice, step, 0), axis=0)[_CYCLE_STEPS:]
    level = np.take_along_axis(number, latest % _CYCLE_STEPS, axis=0)
    age = step[_CYCLE_STEPS:] - latest
    paths = slice(sampling.paths)
    mirrored = np.nextafter(np.float32(1.0), np.float32(0.0)) - level
    both = np.maximum(np.concatenate([level, mirrored], axis=1)[:, paths], 0.0)
    return Levels(both.astype(np.float32), np.concatenate([age, age], axis=1)[:, paths].astype(np.int32))


class PathMaker:
    """Makes the paths of one place from one start on.

    One log-normal factor per path carries the error of the forecast: its mean is 1, so that the mean of the
    skies stays that of the course.  Another, with median 1, carries `other_spread_stops`.  Path i follows
    course i modulo m.  The same place (to 0.01 degrees) and minute always get the same paths.
    """

    def __init__(
        self,
        place: Place,
        start_s: float,
        sampling: Sampling,
        *,
        courses: int = 1,
        other_spread_stops: float = 0.0,
        seen: SeenSky | None = None,
    ) -> None:
        where = round(place.latitude_deg * 100.0) + 9000, round(place.longitude_deg * 100.0) % 36000
        chance = _chance(*where, sampling.paths)
        self._levels = levels(sampling)
        self._first_row = math.floor(start_s / STEP_S) + chance.turn
        self._error = chance.error
        self._other = np.exp2(other_spread_stops * chance.other)
        self._course = np.arange(sampling.paths) % courses
        self._held: BoolArray | None = None
        self._seen_covered = seen is not None and seen.covered
        if seen is not None:
            self._held = chance.hold < math.exp((seen.at_s - start_s) / sampling.persistence_s)

    def rates(self, block: Block, first: int, which: IntArray | None = None) -> tuple[FloatArray, BoolArray]:
        """Mean rate of dose (n, n_which) over the block's steps, and whether it was covered (n, n_which).

        `first` is the number of the block's first step, counted from the start; `which` the paths wanted.
        """
        step = first + np.arange(block.sun_w_m2.size)
        row = (self._first_row + step) % _CYCLE_STEPS
        chosen = slice(None) if which is None else which
        level = self._levels.level[row][:, chosen]
        course, other = self._course[chosen], self._other[chosen]
        covered = level < _by_path(block.cover, course).astype(np.float32)
        factor = _mean_one_factor(block.spread_stops, course, self._error[chosen]) * other
        still = None
        if self._held is not None:
            still = self._held[chosen] & (self._levels.age[row][:, chosen] > step[:, None])
            covered = np.where(still, self._seen_covered, covered)
        rate = np.where(covered, _by_path(block.covered_w_m2, course), block.sun_w_m2[:, None])
        if still is not None and not self._seen_covered:
            factor = np.where(still, other, factor)  # the light of a sun that is seen is no forecast
        elif still is not None and block.seen_w_m2 is not None:
            rate = np.where(still, block.seen_w_m2[:, None], rate)
        rate *= factor
        return rate, covered


@dataclass(frozen=True, eq=False)
class _Chance:
    """What is drawn once for a place: `turn` of the cycle, and for each path (n_path,) standard normals for
    the forecast's and the other errors, and a number on (0, 1).

    Each holds one value from each of as many equal shares: the quantiles of few paths are steadier for it.
    """

    turn: int
    error: FloatArray
    other: FloatArray
    hold: FloatArray


@lru_cache(maxsize=256)
def _chance(latitude: int, longitude: int, count: int) -> _Chance:
    from scipy.special import ndtri

    random = np.random.Generator(np.random.PCG64([latitude, longitude, count]))
    share: FloatArray = (np.arange(count) + 0.5) / count
    normal: FloatArray = ndtri(share)
    return _Chance(
        turn=int(random.integers(_CYCLE_STEPS)),
        error=random.permutation(normal),
        other=random.permutation(normal),
        hold=random.permutation(share),
    )


def _by_path(values: FloatArray, course: IntArray) -> FloatArray:
    """Values (m, n) of the courses as (n, n_path), or (n, 1) where there is one course."""
    return values.T if len(values) == 1 else values.T[:, course]


def _mean_one_factor(spread_stops: FloatArray, course: IntArray, error: FloatArray) -> FloatArray:
    """Log-normal factors of mean 1 for standard normal `error` (n_path,); broadcasts to (n, n_path)."""
    spread = math.log(2.0) * spread_stops
    if len(spread) > 1:
        each = spread.T[:, course]
        return np.exp(each * error - 0.5 * each**2)
    # The spread changes with the pieces of the course, far less often than with the steps.
    change = np.diff(spread[0], prepend=np.nan) != 0.0
    distinct = spread[0, change]
    factor = np.exp(np.outer(distinct, error) - 0.5 * distinct[:, None] ** 2)
    return factor if distinct.size == 1 else np.asarray(factor[np.cumsum(change) - 1])
