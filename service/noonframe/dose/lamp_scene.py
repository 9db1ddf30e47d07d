"""A sheet under a lamp: the rate of dose, and how long it takes, without sun, sky or place."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noonframe.dose.course import LONGEST_S, Exposure, quantile_factor
from noonframe.dose.scene import with_reciprocity
from noonframe.errors import OutOfDomain
from noonframe.lamp.lamp import Lamp
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer
from noonframe.types import FloatArray

_WARM_UP_DOUBT = 0.5  # an allowance for the warm-up is uncertain by half of itself
LONGEST_LIT_S = 1e6


@dataclass(frozen=True)
class LampScene:
    """What a sheet needs to know of the lamp over it.

    `coldness` (0-1) is how cold the lamp is when an exposure begins: 1 when it was off for long.  The dose is
    that of the sheet's middle.  `reciprocity_exponent` is as for `Scene`.
    """

    lamp: Lamp
    stack: Stack
    sensitizer: Sensitizer
    coldness: float = 1.0
    reciprocity_exponent: float = 1.0

    def __post_init__(self) -> None:
        if not 0.7 <= self.reciprocity_exponent <= 1.1:
            raise OutOfDomain("reciprocity_exponent", self.reciprocity_exponent, "between 0.7 and 1.1")
        if not 0.0 <= self.coldness <= 1.0:
            raise OutOfDomain("coldness", self.coldness, "between 0 and 1")
        _ = self.effective_w_m2  # refuses a stack that lets nothing through when the scene is made

    @cached_property
    def effective_w_m2(self) -> float:
        """Effective irradiance at the coat under the warm lamp."""
        return self.lamp.effective_w_m2(self.stack, self.sensitizer)

    @cached_property
    def full_rate_w_m2(self) -> float:
        """Rate at which dose is gathered under the warm lamp."""
        return float(with_reciprocity(np.array([self.effective_w_m2]), self.reciprocity_exponent)[0])

    @property
    def power(self) -> float:
        """How the rate follows the share of full output: its 1/p-th power."""
        return 1.0 / self.reciprocity_exponent

    def rate_at(self, coldness: float) -> float:
        """Rate of dose at a coldness.  [W m-2]"""
        return self.full_rate_w_m2 * math.pow(self.lamp.warm_up.share(coldness), self.power)

    def dose_j_m2(self, length_s: float, coldness: float) -> float:
        """Dose that burning so long gives, from a coldness; exact."""
        return self.full_rate_w_m2 * self.lamp.warm_up.full_s(length_s, coldness, self.power)

    def time_s(self, dose_j_m2: float, coldness: float) -> float:
        """How long it burns for a dose, from a coldness."""
        return self.lamp.warm_up.time_s(dose_j_m2 / self.full_rate_w_m2, coldness, self.power)

    def shares(self, since_s: FloatArray) -> FloatArray:
        """Output over full output (n,) so many seconds after an exposure begins."""
        warm_up = self.lamp.warm_up
        return np.array([warm_up.share(warm_up.burning(self.coldness, float(s))) for s in since_s])

    @cached_property
    def light_spread_stops(self) -> float:
        """One standard deviation of the light behind the stack: lamp, spectrum and materials."""
        weight = self.lamp.kind.boxes * self.sensitizer.action
        stack = self.stack.spread_stops(weight)
        spectrum = self.lamp.spectrum_spread_stops(self.stack, self.sensitizer)
        return math.hypot(self.lamp.output_spread_stops, spectrum, stack)

    def warm_up_stops(self, length_s: float) -> float:
        """What the warm-up takes from an exposure of this length, in stops."""
        full_s = self.lamp.warm_up.full_s(length_s, self.coldness, self.power)
        return math.log2(length_s / full_s) if full_s > 0.0 else 0.0

    def expose(self, start_s: float, target_j_m2: float, spread_stops: float = 0.0) -> Exposure:
        """Length of an exposure for a target, with its 10-90 % range, of a day at most.

        `spread_stops` is one standard deviation of target and light together; the warm-up's is added.
        """
        likely = self.time_s(target_j_m2, self.coldness)
        spread = math.hypot(spread_stops, _WARM_UP_DOUBT * self.warm_up_stops(likely))
        factor = quantile_factor(spread)
        low, high = (self.time_s(target_j_m2 * each, self.coldness) for each in (1.0 / factor, factor))
        share = min(self.dose_j_m2(LONGEST_S, self.coldness) / target_j_m2, 1.0)
        length, low_s, high_s = (each if each <= LONGEST_S else None for each in (likely, low, high))
        return Exposure(start_s, length, low_s, high_s, share, start_s + LONGEST_S, False)


def coldness_after(lamp: Lamp, lit_s: float) -> float:
    """How cold a lamp still is that was switched on, cold, so many seconds ago."""
    if not 0.0 <= lit_s <= LONGEST_LIT_S:
        raise OutOfDomain("lamp_lit_s", lit_s, f"between 0 and {LONGEST_LIT_S:g} seconds")
    return lamp.warm_up.burning(1.0, lit_s)
