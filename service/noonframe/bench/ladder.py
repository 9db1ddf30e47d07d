"""Doses that rise by equal steps in stops: the totals of a geometric test strip."""

import math
from dataclasses import dataclass
from itertools import pairwise

from noonframe.errors import OutOfDomain

STEP_STOPS = 0.5
"""Half a stop a strip, as a step wedge has: the usual first strip (common practice, no source)."""

BRACKET_SIGMAS = 2.0
"""How far to either side of the median a strip reaches: 95 % of a log-normal belief."""

LEAST_STEP_STOPS, MOST_STEP_STOPS = 1.0 / 12.0, 2.0
MOST_STRIPS = 31
"""As many as the longest step tables have."""

LEAST_DOSE_J_M2, MOST_DOSE_J_M2 = 0.1, 1e9


@dataclass(frozen=True)
class DoseLadder:
    """Total doses H_k = H_0 2**(k s), k = 0 ... count - 1, of strips numbered 1 to `count` from the least.

    A dose that falls on a strip is the light that reaches its coat.  [J m-2]
    """

    first_j_m2: float
    step_stops: float
    count: int

    def __post_init__(self) -> None:
        if not (math.isfinite(self.step_stops) and LEAST_STEP_STOPS <= self.step_stops <= MOST_STEP_STOPS):
            raise OutOfDomain("step_stops", self.step_stops, "between 1/12 and 2 stops")
        if not 2 <= self.count <= MOST_STRIPS:
            raise OutOfDomain("strip_count", self.count, f"between 2 and {MOST_STRIPS}")
        if not (math.isfinite(self.first_j_m2) and self.first_j_m2 >= LEAST_DOSE_J_M2):
            raise OutOfDomain("first_j_m2", self.first_j_m2, f"at least {LEAST_DOSE_J_M2} J/m2")
        if self.totals_j_m2[-1] > MOST_DOSE_J_M2:
            raise OutOfDomain("last_j_m2", self.totals_j_m2[-1], f"at most {MOST_DOSE_J_M2:.0f} J/m2")

    @property
    def totals_j_m2(self) -> tuple[float, ...]:
        """Total dose of each strip, rising."""
        return tuple(self.first_j_m2 * 2.0 ** (k * self.step_stops) for k in range(self.count))

    @property
    def additions_j_m2(self) -> tuple[float, ...]:
        """What each strip adds to the one before it; the first adds its whole dose."""
        totals = self.totals_j_m2
        return (totals[0], *(b - a for a, b in pairwise(totals)))

    @property
    def span_stops(self) -> float:
        """From the least exposed strip to the most exposed one."""
        return (self.count - 1) * self.step_stops


def bracketing_ladder(
    median_j_m2: float,
    spread_stops: float,
    *,
    step_stops: float | None = None,
    count: int | None = None,
    sigmas: float = BRACKET_SIGMAS,
) -> DoseLadder:
    """The ladder, centred on the median, that reaches `sigmas` spreads of a belief to either side.

    Of step and count, the one not given follows from the other, rounded so that the reach is kept; with
    neither the step is half a stop.  With both the ladder is centred and reaches as far as it reaches.
    """
    if not (math.isfinite(median_j_m2) and median_j_m2 > 0.0):
        raise OutOfDomain("median_j_m2", median_j_m2, "above 0 J/m2")
    if not (math.isfinite(spread_stops) and 0.0 < spread_stops <= 4.0):
        raise OutOfDomain("spread_stops", spread_stops, "above 0 and at most 4 stops")
    if not (math.isfinite(sigmas) and 0.0 < sigmas <= 4.0):
        raise OutOfDomain("sigmas", sigmas, "above 0 and at most 4")
    wanted_stops = 2.0 * sigmas * spread_stops
    if count is not None and count < 2:
        raise OutOfDomain("strip_count", count, f"between 2 and {MOST_STRIPS}")
    if step_stops is None:
        step_stops = STEP_STOPS if count is None else max(wanted_stops / (count - 1), LEAST_STEP_STOPS)
    if not (math.isfinite(step_stops) and LEAST_STEP_STOPS <= step_stops <= MOST_STEP_STOPS):
        raise OutOfDomain("step_stops", step_stops, "between 1/12 and 2 stops; change the number of strips")
    if count is None:
        # a whole number of steps must not gain one through rounding of the quotient
        count = max(math.ceil(wanted_stops / step_stops - 1e-9), 1) + 1
    span_stops = (count - 1) * step_stops
    return DoseLadder(median_j_m2 / 2.0 ** (span_stops / 2.0), step_stops, count)
