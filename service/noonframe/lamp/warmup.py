"""How a lamp comes to its full light after it is switched on, and the dose that takes.

Output over full output is s(t) = 1 - (1 - s0) c(t): `start_share` s0 is what a cold lamp gives at once, and
the coldness c, 1 for a lamp that was off for long, falls as exp(-t/tau) while it burns.  While it is off it
grows cold again with the same time constant (our own assumption, no source).  The integral is in closed form.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

LONGEST_TIME_CONSTANT_S = 3600.0
_CLOSE = 1e-14
_MOST_STEPS = 60
_NODES = 24
_WARM_AFTER = 40.0  # time constants: what is left of the cold then is below a double's last digit


@cache
def _gauss() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return nodes, weights


@dataclass(frozen=True)
class WarmUp:
    """`start_share` (0.05-1) of full output when cold, and the time constant of the rest in seconds."""

    start_share: float = 1.0
    time_constant_s: float = 0.0

    def __post_init__(self) -> None:
        if not 0.05 <= self.start_share <= 1.0:
            raise OutOfDomain("start_share", self.start_share, "between 0.05 and 1")
        if not 0.0 <= self.time_constant_s <= LONGEST_TIME_CONSTANT_S:
            limit = f"between 0 and {LONGEST_TIME_CONSTANT_S:g}"
            raise OutOfDomain("time_constant_s", self.time_constant_s, limit)

    @property
    def is_instant(self) -> bool:
        """Whether full output is there at once."""
        return self.start_share == 1.0 or self.time_constant_s == 0.0

    def share(self, coldness: float) -> float:
        """Output over full output at a coldness of 0-1."""
        return 1.0 if self.is_instant else 1.0 - (1.0 - self.start_share) * coldness

    def burning(self, coldness: float, length_s: float) -> float:
        """The coldness after burning so long."""
        return 0.0 if self.is_instant else coldness * math.exp(-length_s / self.time_constant_s)

    def off(self, coldness: float, length_s: float) -> float:
        """The coldness after being off so long."""
        if self.is_instant:
            return 0.0
        return 1.0 - (1.0 - coldness) * math.exp(-length_s / self.time_constant_s)

    def full_s(self, length_s: float, coldness: float = 1.0, power: float = 1.0) -> float:
        """Seconds of full output that `length_s` of burning from `coldness` are worth; 0 or more.

        With `power` the share is raised to it first, as a reciprocity failure asks for.
        """
        if length_s <= 0.0 or self.is_instant:
            return max(length_s, 0.0)
        lost, tau = (1.0 - self.start_share) * coldness, self.time_constant_s
        if power == 1.0:
            return length_s + lost * tau * math.expm1(-length_s / tau)
        warming_s = min(length_s, _WARM_AFTER * tau)
        # pieces no longer than the time constant: 24 points each leave nothing a double could show
        pieces = max(math.ceil(warming_s / tau), 1)
        half = 0.5 * warming_s / pieces
        nodes, weights = _gauss()
        middle = half * (2.0 * np.arange(pieces) + 1.0)
        moments = middle[:, None] + half * nodes
        shares = (1.0 - lost * np.exp(-moments / tau)) ** power
        return float((shares @ weights).sum() * half) + length_s - warming_s

    def time_s(self, full_s: float, coldness: float = 1.0, power: float = 1.0) -> float:
        """How long it burns from `coldness` until that is worth `full_s` seconds of full output."""
        if full_s <= 0.0 or self.is_instant:
            return max(full_s, 0.0)
        # The worth grows ever faster, so Newton's steps from beyond come down to the root without passing it.
        time_s = full_s / math.pow(self.share(coldness), power)
        for _ in range(_MOST_STEPS):
            over = self.full_s(time_s, coldness, power) - full_s
            step = over / math.pow(self.share(self.burning(coldness, time_s)), power)
            time_s -= step
            if abs(step) <= _CLOSE * time_s:
                break
        return time_s
