"""The dose along a course of light: worked out once, then read for any start within it."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.dose.integrate import crossing_time_s, cumulative_dose
from noonframe.types import FloatArray, IntArray

LONGEST_S = 86400.0
"""An exposure that has not reached its target after a day is not one a printer makes."""

_TEN_PERCENT = 1.2815515594600038  # standard normal quantile of 0.9


@dataclass(frozen=True)
class Exposure:
    """The answer to "how long from here".

    `length_s`, `low_s`, `high_s` are the likely length and the 10 % and 90 % quantiles; each is None when
    the light goes first.  `dose_share` is the share of the target gathered by then (1 when reached).
    `looked_until_s` is the unix second at which the search stopped, `dark_then` whether for darkness.
    """

    start_s: float
    length_s: float | None
    low_s: float | None
    high_s: float | None
    dose_share: float
    looked_until_s: float
    dark_then: bool

    @property
    def end_s(self) -> float:
        """Unix second at which the likely exposure ends, or at which the search stopped without it."""
        return self.looked_until_s if self.length_s is None else self.start_s + self.length_s

    @property
    def reached(self) -> bool:
        """Whether the likely dose reaches the target before the light goes."""
        return self.length_s is not None


def quantile_factor(spread_stops: float) -> float:
    """Factor between the median and the 90 % quantile of a log-normal with this standard deviation."""
    return float(2.0 ** (_TEN_PERCENT * spread_stops))


@dataclass(frozen=True)
class Course:
    """Light and dose at rising instants (n,) of unix seconds, two or more; the rate is straight between them.

    The dose is counted from the first instant on; `dark` (n_dark,) holds the indices of dark instants.
    """

    time_s: FloatArray
    rate_w_m2: FloatArray
    dose_j_m2: FloatArray
    dark: IntArray

    @classmethod
    def of(cls, time_s: FloatArray, rate_w_m2: FloatArray) -> "Course":
        """The course of a rate of dose (n,)."""
        return cls(time_s, rate_w_m2, cumulative_dose(time_s, rate_w_m2), np.flatnonzero(rate_w_m2 <= 0.0))

    def expose(self, start_s: float, target_j_m2: float, spread_stops: float = 0.0) -> Exposure:
        """Length of an exposure begun at `start_s`, within the course, for a target, with its 10-90 % range.

        `spread_stops` is one standard deviation of target and light together.  The search ends when it is
        dark, after a day or at the end of the course, whichever comes first.
        """
        index, rate, before = self._at(start_s)
        limit_s = min(start_s + LONGEST_S, float(self.time_s[-1]))
        dark_s = start_s if rate <= 0.0 else self._dark_after(index)
        stop_s = min(dark_s, limit_s)
        likely = self._length(start_s, stop_s, before + target_j_m2)
        low = high = likely
        if spread_stops > 0.0:
            factor = quantile_factor(spread_stops)
            low = self._length(start_s, stop_s, before + target_j_m2 / factor)
            high = self._length(start_s, stop_s, before + target_j_m2 * factor)
        share = 1.0 if likely is not None else (self._at(stop_s)[2] - before) / target_j_m2
        return Exposure(start_s, likely, low, high, share, stop_s, dark_s <= limit_s)

    def _at(self, unix_s: float) -> tuple[int, float, float]:
        """Index of the last instant not after `unix_s` (but the last of all), and rate and dose then."""
        index = min(int(self.time_s.searchsorted(unix_s, side="right")), self.time_s.size - 1) - 1
        since_s = unix_s - float(self.time_s[index])
        low, high = float(self.rate_w_m2[index]), float(self.rate_w_m2[index + 1])
        span_s = float(self.time_s[index + 1] - self.time_s[index])
        rate = low + (high - low) * since_s / span_s
        return index, rate, float(self.dose_j_m2[index]) + 0.5 * (low + rate) * since_s

    def _dark_after(self, index: int) -> float:
        """Unix second of the first dark instant after one that is not; infinite when there is none."""
        next_dark = int(self.dark.searchsorted(index, side="right"))
        return float(self.time_s[self.dark[next_dark]]) if next_dark < self.dark.size else math.inf

    def _length(self, start_s: float, stop_s: float, dose_j_m2: float) -> float | None:
        end_s = crossing_time_s(self.time_s, self.rate_w_m2, self.dose_j_m2, dose_j_m2)
        return None if end_s is None or end_s > stop_s else end_s - start_s
