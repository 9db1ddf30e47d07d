"""How long under a sky that may change: quantiles of the finish times of sampled skies.

Averaging the cloud first would be wrong: dose against time bends at every cloud, so the mean light has a
finish of its own that few skies share.  So a few hundred skies are played through and their finishes
counted.  Light that cloud edges throw at the sheet beside its own, 5-15 % for minutes, is left out.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from noonframe.dose.exposure import LONGEST_S, Exposure
from noonframe.dose.scene import Scene
from noonframe.dose.skies_paths import STEP_S, Block, PathMaker, Sampling, SeenSky
from noonframe.dose.skies_rates import cloud_rates
from noonframe.errors import OutOfDomain
from noonframe.sky.evidence import CloudCourse
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH
from noonframe.types import BoolArray, FloatArray, IntArray

__all__ = [
    "SampledSkies",
    "Sampling",
    "SeenSky",
    "SkyExposure",
    "expose_under_skies",
    "finish_quantile_s",
    "finish_times",
    "sample_skies",
]

_FIRST_BLOCK = 64
_LONGEST_BLOCK = 256
_PART = 32  # steps that fit into the processor's cache with all their paths
_SLOWER = 1.6  # few skies last longer than this times one that is covered all along
_LARGEST_SPREAD_STOPS = 8.0
_DEFAULT = Sampling()


@dataclass(frozen=True, eq=False)
class SampledSkies:
    """Sampled skies over `n` steps of a minute; `edges_s` (n+1,) unix seconds.

    `rates_w_m2` (n_path, n) is the mean rate of dose in each step and `covered` (n_path, n) whether cloud
    stood before the sun; `sun_out_w_m2` and `clouded_w_m2` (n,) are the rates with the sun out all along and
    with cloud before it all along.  `dark_then` says whether the skies end for darkness.
    """

    edges_s: FloatArray
    rates_w_m2: FloatArray
    covered: BoolArray
    sun_out_w_m2: FloatArray
    clouded_w_m2: FloatArray
    dark_then: bool


@dataclass(frozen=True)
class SkyExposure:
    """The answer to "how long from here, under this forecast".

    `likely` holds the median, 10 % and 90 % quantiles of the finish times; a quantile is None when that share
    of the skies does not reach the target before the light, or the course, ends.  `sun_out_s` and `clouded_s`
    are the lengths if the sun stays out and if cloud covers it all along; `reached_share` is the share of
    skies that reach the target, `finish_s` (n_path,) their finishes, unix seconds, NaN for not reached.
    """

    likely: Exposure
    sun_out_s: float | None
    clouded_s: float | None
    reached_share: float
    finish_s: FloatArray = field(repr=False, compare=False)

    def reached_by(self, unix_s: float) -> float:
        """Share of the skies in which the target is reached by `unix_s`."""
        return float(np.mean(self.finish_s <= unix_s))


def sample_skies(
    scene: Scene,
    course: CloudCourse,
    start_s: float,
    end_s: float,
    *,
    sampling: Sampling = _DEFAULT,
    other_spread_stops: float = 0.0,
    seen: SeenSky | None = None,
) -> SampledSkies:
    """Skies of `course` over `scene` from `start_s` in whole minutes up to `end_s`, or until it is dark.

    The cloud of the scene's own sky does not matter.  `other_spread_stops` is one standard deviation of what
    the course does not know: air, model, stack, target.  With `seen` the skies begin as seen and go over to
    the course with the persistence time.  The same place, minute and course give the same skies.  Raises
    `OutOfDomain` when the course does not hold the span.
    """
    if not (math.isfinite(end_s) and end_s > start_s and end_s <= course.to_s):
        raise OutOfDomain(
            "end_s", end_s, f"after the start and not after {course.to_s:.0f}, the course's end"
        )
    maker = _maker(scene, course, start_s, sampling, other_spread_stops=other_spread_stops, seen=seen)
    edges, blocks, dark, done_steps = [np.array([start_s])], [], False, 0
    rates, covered = [np.empty((0, sampling.paths))], [np.empty((0, sampling.paths), dtype=np.bool_)]
    for until_s, block, in_dark in _blocks(scene, course, start_s, end_s, seen):
        steps, dark = block.sun_w_m2.size, in_dark
        rate, cloud = maker.rates(block, done_steps)
        edges.append(until_s - STEP_S * np.arange(steps - 1, -1, -1.0))
        rates.append(rate)
        covered.append(cloud)
        blocks.append(block)
        done_steps += steps
    return SampledSkies(
        edges_s=np.concatenate(edges),
        rates_w_m2=np.concatenate(rates).T,
        covered=np.concatenate(covered).T,
        sun_out_w_m2=np.concatenate([np.empty(0), *(block.sun_w_m2 for block in blocks)]),
        clouded_w_m2=np.concatenate([np.empty(0), *(block.clouded_w_m2 for block in blocks)]),
        dark_then=dark,
    )


def finish_times(sampled: SampledSkies, target_j_m2: float) -> FloatArray:
    """Unix second (n_path,) at which each sky reaches `target_j_m2`, inside its step; NaN for never."""
    tally = _Tally(float(sampled.edges_s[0]), target_j_m2, len(sampled.rates_w_m2))
    tally.add(sampled.rates_w_m2.T)
    return tally.finish_s


def finish_quantile_s(finish_s: FloatArray, share: float) -> float | None:
    """The time by which `share` of the finishes (n_path,) have come; NaN counts as never, None says so."""
    ordered = np.sort(finish_s)  # NaN goes last, as it should
    position = share * (ordered.size - 1)
    low = math.floor(position)
    high = min(low + 1, ordered.size - 1)
    part = position - low
    value = ordered[low]
    if part > 0.0:
        value += part * (ordered[high] - ordered[low])
    return None if math.isnan(value) else float(value)


def expose_under_skies(
    scene: Scene,
    course: CloudCourse,
    start_s: float,
    target_j_m2: float,
    *,
    sampling: Sampling = _DEFAULT,
    other_spread_stops: float = 0.0,
    seen: SeenSky | None = None,
) -> SkyExposure:
    """Length of an exposure begun at `start_s`, over the skies of `sample_skies`.

    The skies are played only until the last has finished; those that have not by dark, by the end of the
    course or within a day have not reached the target.  Where the course has members, each path follows one.
    """
    if not (math.isfinite(target_j_m2) and target_j_m2 > 0.0):
        raise OutOfDomain("target_j_m2", target_j_m2, "a finite dose above 0")
    maker = _maker(scene, course, start_s, sampling, other_spread_stops=other_spread_stops, seen=seen)
    paths = _Tally(start_s, target_j_m2, sampling.paths)
    steady = _Tally(start_s, target_j_m2, 2)
    looked_until_s, dark, done_steps = start_s, False, 0
    end_s = min(start_s + LONGEST_S, course.to_s)
    for until_s, block, ended_dark in _blocks(scene, course, start_s, end_s, seen):
        steady.add(np.stack([block.sun_w_m2, block.clouded_w_m2], axis=1))
        steps, first = block.sun_w_m2.size, 0
        slow_s = steady.finish_s[1] - paths.now_s
        length = min(max(8, math.ceil(_SLOWER * slow_s / STEP_S)), _PART) if slow_s > 0.0 else _PART
        while first < steps and not paths.done:
            last = min(first + length, steps)
            open_paths = paths.open
            which = None if open_paths.size == sampling.paths else open_paths
            rate, _ = maker.rates(block.part(first, last), done_steps + first, which)
            paths.add(rate, which)
            first, length = last, _PART
        looked_until_s, dark, done_steps = until_s, ended_dark, done_steps + steps
        if paths.done and steady.done:
            break
    return _answer(paths, steady, start_s, looked_until_s, dark)


def _answer(
    paths: "_Tally", steady: "_Tally", start_s: float, looked_until_s: float, dark: bool
) -> SkyExposure:
    finish = paths.finish_s
    low, middle, high = (finish_quantile_s(finish, share) for share in (0.1, 0.5, 0.9))
    lengths = [None if value is None else value - start_s for value in (middle, low, high)]
    share = 1.0
    if middle is None:
        share = min(float(np.median(np.minimum(paths.dose_j_m2 / paths.target_j_m2, 1.0))), 1.0)
    sun_out, clouded = (None if math.isnan(end) else float(end) - start_s for end in steady.finish_s)
    return SkyExposure(
        likely=Exposure(start_s, lengths[0], lengths[1], lengths[2], share, looked_until_s, dark),
        sun_out_s=sun_out,
        clouded_s=clouded,
        reached_share=float(np.mean(np.isfinite(finish))),
        finish_s=finish,
    )


class _Tally:
    """Doses of many paths on their way to one target."""

    def __init__(self, start_s: float, target_j_m2: float, count: int) -> None:
        self.now_s = start_s
        self.target_j_m2 = target_j_m2
        self.dose_j_m2 = np.zeros(count)
        self.finish_s = np.full(count, np.nan)

    @property
    def open(self) -> IntArray:
        """The paths that have not finished."""
        return np.flatnonzero(self.dose_j_m2 < self.target_j_m2)

    @property
    def done(self) -> bool:
        """Whether all have finished."""
        return bool((self.dose_j_m2 >= self.target_j_m2).all())

    def add(self, rate_w_m2: FloatArray, which: IntArray | None = None) -> None:
        """Go on by steps with mean rates (n, n_which); the rate counts as even within its step."""
        columns = np.arange(self.dose_j_m2.size) if which is None else which
        before = self.dose_j_m2[columns]
        after = before + STEP_S * rate_w_m2.sum(axis=0)
        ends = np.flatnonzero((before < self.target_j_m2) & (after >= self.target_j_m2))
        if ends.size:
            rate = rate_w_m2[:, ends]
            dose = np.cumsum(rate, axis=0)
            wanted = (self.target_j_m2 - before[ends]) / STEP_S
            # Summed in another order, the last step may miss what the whole has reached by a rounding.
            step = np.minimum(np.count_nonzero(dose < wanted, axis=0), len(rate) - 1)
            row = np.arange(ends.size)
            left_over_s = (dose[step, row] - wanted) / rate[step, row] * STEP_S
            self.finish_s[columns[ends]] = self.now_s + (step + 1.0) * STEP_S - left_over_s
        self.dose_j_m2[columns] = after
        self.now_s += len(rate_w_m2) * STEP_S


def _maker(
    scene: Scene,
    course: CloudCourse,
    start_s: float,
    sampling: Sampling,
    *,
    other_spread_stops: float,
    seen: SeenSky | None,
) -> PathMaker:
    if not (math.isfinite(start_s) and course.from_s <= start_s < course.to_s):
        span = f"between {course.from_s:.0f} and {course.to_s:.0f}, the course's span"
        raise OutOfDomain("start_s", start_s, span)
    if not 0.0 <= other_spread_stops <= _LARGEST_SPREAD_STOPS:
        limit = f"between 0 and {_LARGEST_SPREAD_STOPS:g} stops"
        raise OutOfDomain("other_spread_stops", other_spread_stops, limit)
    if seen is not None and seen.at_s > start_s:
        raise OutOfDomain("at_s", seen.at_s, f"not after the start, {start_s:.0f}")
    courses = max(len(course.members), 1)
    return PathMaker(
        scene.place,
        start_s,
        sampling,
        courses=courses,
        other_spread_stops=other_spread_stops,
        seen=seen,
    )


def _blocks(
    scene: Scene, course: CloudCourse, start_s: float, end_s: float, seen: SeenSky | None
) -> Iterator[tuple[float, Block, bool]]:
    """Blocks of whole steps up to `end_s` or the first dark instant: where each ends, and if in the dark."""
    rates = cloud_rates(scene)
    total, first, size = int((end_s - start_s) // STEP_S), 0, _FIRST_BLOCK
    while first < total:
        last = min(first + size, total)
        edges = start_s + STEP_S * np.arange(first, last + 1.0)
        sun = rates.nodes[0].rate(edges)
        dark = np.flatnonzero(sun <= 0.0)
        if dark.size:
            edges, sun = edges[: dark[0] + 1], sun[: dark[0] + 1]
        yield float(edges[-1]), _block(scene, course, edges, sun, seen), bool(dark.size)
        if dark.size:
            return
        first, size = last, min(2 * size, _LONGEST_BLOCK)


def _block(
    scene: Scene, course: CloudCourse, edges_s: FloatArray, sun_w_m2: FloatArray, seen: SeenSky | None
) -> Block:
    followed = course.members or (course,)
    piece = course.piece_of(0.5 * (edges_s[1:] + edges_s[:-1]))
    depth = np.stack([one.optical_depth[piece] for one in (course, *course.members)])
    # Where the course has no cloud, "covered" still has to mean something.
    depth = np.where(depth > 0.0, depth, COVERING_CLOUD_OPTICAL_DEPTH)
    if seen is not None and seen.optical_depth is not None:
        depth = np.concatenate([depth, np.full((1, piece.size), seen.optical_depth)])
    rate = cloud_rates(scene).step_rates(edges_s, depth)
    return Block(
        sun_w_m2=0.5 * (sun_w_m2[1:] + sun_w_m2[:-1]),
        clouded_w_m2=rate[0],
        covered_w_m2=rate[1 : 1 + len(course.members)] if course.members else rate[:1],
        cover=np.stack([one.cover[piece] for one in followed]),
        spread_stops=np.stack([one.spread_stops[piece] for one in followed]),
        seen_w_m2=rate[-1] if seen is not None and seen.optical_depth is not None else None,
    )
