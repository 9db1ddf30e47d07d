"""When: the stretches of a day in which an exposure can be made, best first."""

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from noonframe.dose.exposure import LONGEST_S, Exposure, expose, lengths_from_every_step
from noonframe.dose.scene import Rate
from noonframe.types import FloatArray, IntArray

START_STEP_S = 300.0
_STEP_S = 60.0
QUICK_FACTOR = 1.25
FAIR_FACTOR = 2.0
LATE_START_S = 600.0


class Pace(StrEnum):
    """How an exposure in a slot compares with the shortest of the same day."""

    QUICK = "quick"  # at most a quarter longer
    FAIR = "fair"  # at most twice as long
    SLOW = "slow"  # longer still


@dataclass(frozen=True)
class Slot:
    """A run of starts of one pace.

    Starts from `first_start_s` to `last_start_s` (unix seconds); `best` is the exposure at its best start.
    `steadiness` is the lowest light during that exposure over the highest (1 is perfectly steady);
    `late_cost_s` is what beginning ten minutes after the best start adds (negative: gains).
    """

    pace: Pace
    first_start_s: float
    last_start_s: float
    best: Exposure
    steadiness: float
    late_cost_s: float | None


def find_slots(
    rate: Rate, from_s: float, to_s: float, target_j_m2: float, spread_stops: float = 0.0
) -> tuple[Slot, ...]:
    """Slots whose starts lie in [from_s, to_s], ranked by length stretched by unsteadiness.

    Exposures may run past `to_s` but not through the dark.  An empty tuple when none can be made.
    """
    time_s = np.arange(from_s, to_s + LONGEST_S, _STEP_S)
    power = rate(time_s)
    lengths = lengths_from_every_step(time_s, power, target_j_m2)
    every = round(START_STEP_S / _STEP_S)
    starts = np.arange(0, int(np.searchsorted(time_s, to_s, side="right")), every)
    at_start = lengths[starts]
    if not np.any(np.isfinite(at_start)):
        return ()
    shortest = float(np.nanmin(at_start))
    pace = np.select([at_start <= QUICK_FACTOR * shortest, at_start <= FAIR_FACTOR * shortest], [0, 1], 2)
    pace = np.where(np.isfinite(at_start), pace, -1)
    found = [
        _slot(
            rate,
            time_s,
            power,
            starts=starts[first : last + 1],
            lengths=lengths,
            pace=list(Pace)[kind],
            target_j_m2=target_j_m2,
            spread_stops=spread_stops,
        )
        for first, last, kind in _runs(pace)
    ]
    return tuple(sorted(found, key=_rank))


def _rank(slot: Slot) -> tuple[float, float]:
    length = slot.best.length_s if slot.best.length_s is not None else LONGEST_S
    # A light that halves during the exposure counts as half as long again.
    return length * (2.0 - slot.steadiness), slot.first_start_s


def _runs(kinds: FloatArray) -> list[tuple[int, int, int]]:
    """Unbroken runs (first, last, kind) of equal kinds, leaving out kind -1."""
    edges = np.flatnonzero(np.diff(kinds)) + 1
    bounds = [0, *edges.tolist(), kinds.size]
    runs = [(a, b - 1, int(kinds[a])) for a, b in pairwise(bounds)]
    return [run for run in runs if run[2] >= 0]


def _slot(
    rate: Rate,
    time_s: FloatArray,
    power: FloatArray,
    *,
    starts: IntArray,
    lengths: FloatArray,
    pace: Pace,
    target_j_m2: float,
    spread_stops: float,
) -> Slot:
    best_index = int(starts[int(np.argmin(lengths[starts]))])
    start_s = float(time_s[best_index])
    exposure = expose(rate, start_s, target_j_m2, spread_stops)
    end_s = start_s + (exposure.length_s if exposure.length_s is not None else float(lengths[best_index]))
    during = power[best_index : int(np.searchsorted(time_s, end_s)) + 1]
    late_index = best_index + round(LATE_START_S / _STEP_S)
    late = float(lengths[late_index]) - float(lengths[best_index]) if late_index < lengths.size else np.nan
    return Slot(
        pace=pace,
        first_start_s=float(time_s[starts[0]]),
        last_start_s=float(time_s[starts[-1]]),
        best=exposure,
        steadiness=float(np.min(during) / np.max(during)),
        late_cost_s=late if np.isfinite(late) else None,
    )
