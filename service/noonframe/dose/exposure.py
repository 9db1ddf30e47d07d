"""How long: one exposure from a given start, and the next chance when it cannot be done."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.dose.integrate import crossing_time_s, cumulative_dose
from noonframe.dose.scene import Rate
from noonframe.types import FloatArray

LONGEST_S = 86400.0
"""An exposure that has not reached its target after a day is not one a printer makes."""

STEP_S = 60.0
_FIRST_LOOK_S = 4 * 3600.0
_TEN_PERCENT = 1.2815515594600038  # standard normal quantile of 0.9
_SEARCH_STEP_S = 600.0
_SEARCH_S = 366 * 86400.0
SENSIBLE_FACTOR = 2.0
"""The next chance is the first start that takes at most this times the shortest of its light period."""


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


@dataclass(frozen=True)
class NextChance:
    """A later start from which the target can be reached, and the length there."""

    start_s: float
    length_s: float


def quantile_factor(spread_stops: float) -> float:
    """Factor between the median and the 90 % quantile of a log-normal with this standard deviation."""
    return float(2.0 ** (_TEN_PERCENT * spread_stops))


def expose(rate: Rate, start_s: float, target_j_m2: float, spread_stops: float = 0.0) -> Exposure:
    """Length of an exposure begun at `start_s` for a target, with its 10-90 % range.

    `spread_stops` is one standard deviation of target and light together.  The search ends when it is
    dark or after a day, whichever comes first.
    """
    factor = quantile_factor(spread_stops)
    wanted = (target_j_m2, target_j_m2 / factor, target_j_m2 * factor)
    for reach in (_FIRST_LOOK_S, LONGEST_S):
        time_s = start_s + np.arange(0.0, reach + STEP_S / 2.0, STEP_S)
        power = rate(time_s)
        time_s, power, ended = _until_dark(time_s, power)
        dose = cumulative_dose(time_s, power)
        if ended or float(dose[-1]) >= wanted[2]:
            break
    ends = [crossing_time_s(time_s, power, dose, value) for value in wanted]
    lengths = [None if end is None else end - start_s for end in ends]
    share = 1.0 if lengths[0] is not None else float(dose[-1]) / target_j_m2
    return Exposure(start_s, lengths[0], lengths[1], lengths[2], share, float(time_s[-1]), ended)


def _until_dark(time_s: FloatArray, power: FloatArray) -> tuple[FloatArray, FloatArray, bool]:
    """Cut the course at the first dark instant (kept, so that the last light counts)."""
    dark = np.flatnonzero(power <= 0.0)
    if dark.size == 0:
        return time_s, power, False
    stop = int(dark[0]) + 1
    return time_s[:stop], power[:stop], True


def next_chance(rate: Rate, after_s: float, target_j_m2: float) -> NextChance | None:
    """The next start at which the exposure can be made in sensible light, or None within a year.

    Days are scanned once at ten-minute steps; only the first light period that holds the target is
    looked at closely.  Bounded: at most a year of steps.
    """
    for reach in (3 * 86400.0, 30 * 86400.0, _SEARCH_S):
        coarse_s = after_s + np.arange(0.0, reach, _SEARCH_STEP_S)
        power = rate(coarse_s)
        for first, last in _light_periods(power):
            begin_s = float(coarse_s[max(first - 1, 0)])
            end_s = min(float(coarse_s[min(last + 1, coarse_s.size - 1)]), begin_s + 2 * LONGEST_S)
            if float(np.sum(power[first : last + 1])) * _SEARCH_STEP_S < 0.9 * target_j_m2:
                continue
            found = _first_sensible(rate, begin_s, end_s, target_j_m2)
            if found is not None:
                return found
    return None


def _light_periods(power: FloatArray) -> list[tuple[int, int]]:
    """First and last index of each unbroken run of light."""
    lit = np.concatenate([[False], power > 0.0, [False]])
    edges = np.flatnonzero(lit[1:] != lit[:-1])
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _first_sensible(rate: Rate, begin_s: float, end_s: float, target_j_m2: float) -> NextChance | None:
    time_s = np.arange(begin_s, end_s + STEP_S, STEP_S)
    lengths = lengths_from_every_step(time_s, rate(time_s), target_j_m2)
    if not np.any(np.isfinite(lengths)):
        return None
    sensible = lengths <= SENSIBLE_FACTOR * float(np.nanmin(lengths))
    start_s = float(time_s[int(np.argmax(sensible))])
    exact = expose(rate, start_s, target_j_m2)
    return None if exact.length_s is None else NextChance(start_s, exact.length_s)


def lengths_from_every_step(time_s: FloatArray, power: FloatArray, target_j_m2: float) -> FloatArray:
    """Length (n,) of an exposure begun at each instant (n,); NaN where the target is not reached.

    Nothing is gathered in the dark, and an exposure that would span a night or last over a day counts
    as not reached.  The crossing is straight within a step here: good for ranking, to a second or two.
    """
    dose = cumulative_dose(time_s, power)
    wanted = dose + target_j_m2
    end_s = np.interp(wanted, dose, time_s, right=math.nan)
    length = end_s - time_s
    dark_before = np.concatenate([[0], np.cumsum(power <= 0.0)])
    end_index = np.searchsorted(time_s, np.where(np.isnan(end_s), time_s, end_s))
    spans_dark = dark_before[np.minimum(end_index, time_s.size - 1)] > dark_before[np.arange(time_s.size)]
    return np.where(spans_dark | (length > LONGEST_S), math.nan, length)
