"""When a running exposure will be done: over skies that begin as the sky is now."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from noonframe.dose.course import LONGEST_S
from noonframe.dose.live_light import assumed_spread_stops, scene_sun_share
from noonframe.dose.scene import Scene, Target
from noonframe.dose.skies import SampledSkies, Sampling, SeenSky, finish_quantile_s, sample_skies
from noonframe.sky.evidence import CloudCourse, steady_course
from noonframe.sky.words import CloudPart
from noonframe.types import FloatArray

_LOOKS_S = (3600.0, 4 * 3600.0, LONGEST_S)
_SEED = 20260921
_SHARES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class StandingNow:
    """Where an exposure stands at `at_s`: what the view ahead begins with.

    `cloud` and `seen_s` tell the sky seen last and until when it was vouched for, None for nothing seen;
    `meter_excess` is the share by which a meter found the light above the model's.  `common_spread_stops` is
    one standard deviation of what air, model and stack do to all light, `past_spread_stops` of what cloud did
    to the dose so far.
    """

    at_s: float
    dose_j_m2: float
    common_spread_stops: float
    past_spread_stops: float
    cloud: tuple[CloudPart, ...] | None = None
    seen_s: float | None = None
    meter_excess: float = 0.0


@dataclass(frozen=True, eq=False)
class Ahead:
    """The view ahead: unix seconds by which 10, 50 and 90 % of the skies are done, None for not at all.

    `edges_s` (n+1,) with the doses `sun_out_j_m2` and `clouded_j_m2` (n+1,) gathered since its beginning if
    the sun stays out and if cloud covers it.  `reached_share` is the share of skies that get there.
    """

    ends_s: tuple[float | None, float | None, float | None]
    reached_share: float
    looked_until_s: float
    dark_then: bool
    edges_s: FloatArray
    sun_out_j_m2: FloatArray
    clouded_j_m2: FloatArray

    def steady_s(self, dose_j_m2: FloatArray, now_s: float, missing_j_m2: float) -> float | None:
        """How long from `now_s` a steady sky takes for what is missing; None if the light goes first."""
        if missing_j_m2 <= 0.0:
            return 0.0
        wanted = float(np.interp(now_s, self.edges_s, dose_j_m2)) + missing_j_m2
        step = int(dose_j_m2.searchsorted(wanted))
        if step >= dose_j_m2.size:
            return None
        low, high = float(dose_j_m2[step - 1]), float(dose_j_m2[step])
        begin_s, end_s = float(self.edges_s[step - 1]), float(self.edges_s[step])
        return max(begin_s + (end_s - begin_s) * (wanted - low) / (high - low) - now_s, 0.0)


def look_ahead(
    scene: Scene, course: CloudCourse, target: Target, now: StandingNow, *, end_s: float, sampling: Sampling
) -> Ahead:
    """The view from where the exposure stands, at most to `end_s`, the end of the course or the dark."""
    end_s = min(end_s, course.to_s)
    seen, course = _seen(course, now, sampling.persistence_s)
    chance = _chance(sampling.paths)
    common = np.exp2(now.common_spread_stops * chance.common)
    past = now.dose_j_m2 * np.exp2(now.past_spread_stops * chance.past)
    missing = target.target_j_m2 * np.exp2(target.spread_stops * chance.target) / common - past
    steady_missing = target.target_j_m2 - now.dose_j_m2
    for reach_s in _LOOKS_S:
        until_s = min(now.at_s + reach_s, end_s)
        if until_s <= now.at_s:
            return _nothing_ahead(now.at_s, missing)
        sampled = sample_skies(scene, course, now.at_s, until_s, sampling=sampling, seen=seen)
        finish_s = _finishes(sampled, missing, now.meter_excess, sampling.persistence_s)
        sun_out, clouded = (_dose(rate) for rate in (sampled.sun_out_w_m2, sampled.clouded_w_m2))
        settled = np.mean(np.isfinite(finish_s)) > _SHARES[-1] and clouded[-1] >= steady_missing
        if settled or sampled.dark_then or until_s >= end_s:
            break
    low, middle, high = (finish_quantile_s(finish_s, share) for share in _SHARES)
    return Ahead(
        ends_s=(low, middle, high),
        reached_share=float(np.mean(np.isfinite(finish_s))),
        looked_until_s=float(sampled.edges_s[-1]),
        dark_then=sampled.dark_then,
        edges_s=sampled.edges_s,
        sun_out_j_m2=sun_out,
        clouded_j_m2=clouded,
    )


def assumed_course(scene: Scene, from_s: float, to_s: float) -> CloudCourse:
    """The sky that the scene assumes, as a course; several kinds of cloud become one of their mean depth."""
    cloud = scene.sky.state.cloud
    covered = 1.0 - scene_sun_share(scene)
    if covered > 0.0:
        depth = sum(part.probability * part.optical_depth for part in cloud) / covered
        cloud = (CloudPart(1.0 - covered, 0.0), CloudPart(covered, depth))
    return steady_course(cloud, from_s, to_s, assumed_spread_stops(scene), scene.sky.evidence)


def _seen(course: CloudCourse, now: StandingNow, persistence_s: float) -> tuple[SeenSky | None, CloudCourse]:
    """What was seen, as the sampling of skies takes it: one state of the sun, or a course of its own."""
    if now.cloud is None or now.seen_s is None:
        return None, course
    at_s = min(now.seen_s, now.at_s)  # nobody vouches for what is still to come
    if len(now.cloud) > 1:
        return None, _blended(course, now.cloud, at_s, persistence_s)
    depth = now.cloud[0].optical_depth
    return SeenSky(at_s, depth > 0.0, depth if depth > 0.0 else None), course


def _blended(
    course: CloudCourse, cloud: Sequence[CloudPart], seen_s: float, persistence_s: float
) -> CloudCourse:
    """A course that begins with a sky of passing cloud that was seen, and goes over to itself."""
    covered = sum(part.probability for part in cloud if part.optical_depth > 0.0)
    depth = sum(part.probability * part.optical_depth for part in cloud) / covered
    fade_s = seen_s + persistence_s * np.array([-1.0, 0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0])
    inner = fade_s[(fade_s > course.from_s) & (fade_s < course.to_s)]
    edges = np.unique(np.concatenate([course.edges_s, inner]))
    middle = 0.5 * (edges[1:] + edges[:-1])
    piece = course.piece_of(middle)
    weight = np.exp(-np.maximum(middle - seen_s, 0.0) / persistence_s)
    cover = weight * covered + (1.0 - weight) * course.cover[piece]
    by_seen = weight * covered * depth
    mean_depth = np.divide(
        by_seen + (1.0 - weight) * course.cover[piece] * course.optical_depth[piece],
        cover,
        out=np.zeros(cover.size),
        where=cover > 0.0,
    )
    return replace(
        course,
        edges_s=edges,
        cover=cover,
        optical_depth=mean_depth,
        spread_stops=course.spread_stops[piece],
        evidence=course.evidence[piece],
        members=(),
    )


def _finishes(
    sampled: SampledSkies, missing_j_m2: FloatArray, meter_excess: float, persistence_s: float
) -> FloatArray:
    """Unix second (n_path,) at which each path has what it misses (n_path,); NaN for never."""
    length_s = np.diff(sampled.edges_s)
    gained = sampled.rates_w_m2 * length_s
    if meter_excess != 0.0 and length_s.size:
        since_s = 0.5 * (sampled.edges_s[1:] + sampled.edges_s[:-1]) - sampled.edges_s[0]
        gained = gained * (1.0 + meter_excess * np.exp(-since_s / persistence_s))
    dose = np.cumsum(gained, axis=1)
    step = np.count_nonzero(dose < missing_j_m2[:, None], axis=1)
    finish = np.full(missing_j_m2.size, np.nan)
    some = np.flatnonzero(step < length_s.size)
    at = step[some]
    over_j_m2 = dose[some, at] - missing_j_m2[some]
    gain = gained[some, at]
    back = np.divide(over_j_m2, gain, out=np.ones(at.size), where=gain > 0.0)
    finish[some] = sampled.edges_s[at + 1] - np.minimum(back, 1.0) * length_s[at]
    finish[missing_j_m2 <= 0.0] = sampled.edges_s[0]
    return finish


def _dose(rate_w_m2: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(rate_w_m2) * 60.0])


def _nothing_ahead(at_s: float, missing_j_m2: FloatArray) -> Ahead:
    finish = np.where(missing_j_m2 <= 0.0, at_s, np.nan)
    low, middle, high = (finish_quantile_s(finish, share) for share in _SHARES)
    edges = np.array([at_s])
    share = float(np.mean(np.isfinite(finish)))
    return Ahead((low, middle, high), share, at_s, False, edges, np.zeros(1), np.zeros(1))


@dataclass(frozen=True, eq=False)
class _Chance:
    """Standard normals of the paths (n_path,): one value from each of as many equal shares."""

    common: FloatArray
    past: FloatArray
    target: FloatArray


@lru_cache(maxsize=8)
def _chance(paths: int) -> _Chance:
    from scipy.special import ndtri

    random = np.random.Generator(np.random.PCG64([_SEED, paths]))
    half = paths // 2
    drawn = []
    for _ in range(3):
        # mirrored, so that however they are put together their median is 0
        normal = ndtri((np.arange(half) + 0.5) / paths + 0.5) * random.permutation(
            np.where(np.arange(half) % 2, 1.0, -1.0)
        )
        normal = random.permutation(normal)
        middle = np.zeros(paths - 2 * half)
        drawn.append(np.concatenate([normal, middle, -normal]))
    return _Chance(*drawn)


def log2_over(dose_j_m2: float, target_j_m2: float) -> float:
    """Stops by which a dose lies above a target; 0 where it does not."""
    return max(math.log2(dose_j_m2 / target_j_m2), 0.0) if dose_j_m2 > 0.0 else 0.0
