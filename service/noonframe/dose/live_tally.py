"""The dose of an exposure up to a moment, its errors, and when it reached the target.

The errors of the light come in three kinds.  Air, model and stack are wrong by one factor all along; so is,
within an exposure, how thick a kind of cloud is (the standing error).  Whether the sun was out when nobody
looked switches with the persistence time: its variance is the double integral of s(t) s(t') exp(-|t - t'| /
persistence), and a sky seen ends its memory.
"""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.dose.live_sky import LN2, Gain, SkyTrack
from noonframe.types import FloatArray

_CLOSE_S = 1e-6
_MOST_STEPS = 60


@dataclass(frozen=True, eq=False)
class Tally:
    """What was gathered up to `at_s`: dose (n_point,), and for its errors the integral of the standing part,
    the variance of the switching part and what of it still runs on.  `reached_s` is when the mean reached
    the target.
    """

    at_s: float
    dose_j_m2: FloatArray
    standing_j_m2: float = 0.0
    switching_variance: float = 0.0
    memory_j_m2: float = 0.0
    reached_s: float | None = None

    def mean_j_m2(self, weights: FloatArray) -> float:
        """The mean over the sheet, whose points have `weights` (n_point,)."""
        return float(self.dose_j_m2 @ weights)

    def cloud_spread_stops(self, weights: FloatArray) -> float:
        """One standard deviation of the mean dose that is owed to cloud; 0 before any light."""
        mean = self.mean_j_m2(weights)
        if mean <= 0.0:
            return 0.0
        return math.hypot(self.standing_j_m2, math.sqrt(self.switching_variance)) / (LN2 * mean)


def carry_on(tally: Tally, track: SkyTrack, to_s: float, weights: FloatArray, target_j_m2: float) -> Tally:
    """The tally at `to_s`, no earlier than where it stands."""
    if to_s <= tally.at_s:
        return tally
    gain = track.gain(tally.at_s, to_s)
    dose = tally.dose_j_m2 + gain.dose_j_m2.cumsum(axis=0)
    standing = tally.standing_j_m2 + float(gain.standing_w_m2 @ gain.length_s)
    variance, memory = _switching(tally, gain, track.persistence_s)
    reached_s = tally.reached_s
    if reached_s is None:
        mean = dose @ weights
        piece = int(np.argmax(mean >= target_j_m2))
        if mean[piece] >= target_j_m2:
            before = tally.dose_j_m2 if piece == 0 else dose[piece - 1]
            begin_s = tally.at_s if piece == 0 else float(gain.end_s[piece - 1])
            missing = target_j_m2 - float(before @ weights)
            reached_s = _crossing(track, begin_s, float(gain.end_s[piece]), missing, weights)
    return Tally(to_s, dose[-1], standing, variance, memory, reached_s)


def _switching(tally: Tally, gain: Gain, persistence_s: float) -> tuple[float, float]:
    variance, memory = tally.switching_variance, tally.memory_j_m2
    for length, spread, fresh in zip(
        gain.length_s.tolist(), gain.switching_w_m2.tolist(), gain.fresh.tolist(), strict=True
    ):
        if fresh:
            memory = 0.0
        left = math.exp(-length / persistence_s)
        gone = persistence_s * -math.expm1(-length / persistence_s)
        variance += 2.0 * spread * (memory * gone + spread * persistence_s * (length - gone))
        memory = memory * left + spread * gone
    return max(variance, 0.0), memory


def _crossing(
    track: SkyTrack, begin_s: float, end_s: float, missing_j_m2: float, weights: FloatArray
) -> float:
    """When the light since `begin_s` amounts to what is missing, within one piece."""
    if missing_j_m2 <= 0.0:
        return begin_s
    from scipy.optimize import brentq

    def short(at_s: float) -> float:
        if at_s <= begin_s:
            return -missing_j_m2
        return float(track.gain(begin_s, at_s).dose_j_m2.sum(axis=0) @ weights) - missing_j_m2

    if short(end_s) <= 0.0:  # by a rounding
        return end_s
    return float(brentq(short, begin_s, end_s, xtol=_CLOSE_S, maxiter=_MOST_STEPS))
