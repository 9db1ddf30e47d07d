"""How long: one exposure from a given start, and the next chance when it cannot be done."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.dose.course import LONGEST_S, Course, Exposure
from noonframe.dose.integrate import cumulative_dose
from noonframe.dose.scene import STEP_S, Rate
from noonframe.types import FloatArray

__all__ = ["LONGEST_S", "Exposure", "NextChance", "expose", "lengths_from_every_step", "next_chance"]

_LOOKS_S = (3600.0, 4 * 3600.0, LONGEST_S)
_SEARCH_STEP_S = 600.0
_SEARCH_S = 366 * LONGEST_S
_STEPS_A_DAY = round(LONGEST_S / _SEARCH_STEP_S)
_COARSE_MARGIN = 0.9  # the coarse sum may miss this much of a short stretch of light
SENSIBLE_FACTOR = 2.0
"""The next chance is the first start that takes at most this times the shortest of its light period."""


@dataclass(frozen=True)
class NextChance:
    """A later start from which the target can be reached, and the length there."""

    start_s: float
    length_s: float


def expose(rate: Rate, start_s: float, target_j_m2: float, spread_stops: float = 0.0) -> Exposure:
    """Length of an exposure begun at `start_s` for a target, with its 10-90 % range.

    `spread_stops` is one standard deviation of target and light together.  The search ends when it is
    dark or after a day, whichever comes first.
    """
    for reach_s in _LOOKS_S:
        time_s = start_s + np.arange(0.0, reach_s + STEP_S / 2.0, STEP_S)
        exposure = Course.of(time_s, rate(time_s)).expose(start_s, target_j_m2, spread_stops)
        if exposure.dark_then or exposure.high_s is not None:
            break
    return exposure


def next_chance(rate: Rate, after_s: float, target_j_m2: float) -> NextChance | None:
    """The next start at which the exposure can be made in sensible light, or None within a year.

    The year is scanned at ten-minute steps; only stretches that hold the target are looked at closely, two
    days at a time where the sun does not set.  Bounded: at most a year of steps at each pace.
    """
    for reach in (3 * LONGEST_S, 30 * LONGEST_S, _SEARCH_S):
        coarse_s = after_s + np.arange(0.0, reach, _SEARCH_STEP_S)
        power = rate(coarse_s)
        dose = np.concatenate([[0.0], np.cumsum(power)]) * _SEARCH_STEP_S
        for first, last in _light_periods(power):
            for left in range(max(first - 1, 0), last + 1, _STEPS_A_DAY):
                right = min(left + 2 * _STEPS_A_DAY, last + 1, coarse_s.size - 1)
                if float(dose[right + 1] - dose[left]) < _COARSE_MARGIN * target_j_m2:
                    continue
                found = _first_sensible(rate, float(coarse_s[left]), float(coarse_s[right]), target_j_m2)
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
