"""Transparent step wedges: one exposure, many doses."""

import math
from dataclasses import dataclass

from noonframe.errors import OutOfDomain

DECADES_PER_STOP = math.log10(2.0)

CLEAR_DENSITY = 0.05
"""Nominal visual density of the first step of either table (from memory)."""

BASE_DENSITY = 0.10
"""Density in the near ultraviolet of the polyester film that carries the steps, as a maker of step tables
gives it; the silver steps themselves can differ by several per cent there from their visual density."""

_TOLERANCE_CLEAR, _TOLERANCE_DENSE, _DENSEST = 0.03, 0.10, 3.05
"""Tolerance of a step's density: below 0.03 at the clear end, about 0.1 at the dense end (a maker of step
tables); taken as one standard deviation and straight between."""


@dataclass(frozen=True)
class StepWedge:
    """Steps numbered from 1, the clearest; `step_density` is the density above the base of each, rising.

    `base_density` is that of the bare film in the near ultraviolet.  0 where the light recorded already
    passed such a film, that is, where the stack counts it.
    """

    name: str
    step_density: tuple[float, ...]
    base_density: float = BASE_DENSITY

    def __post_init__(self) -> None:
        if len(self.step_density) < 3:
            raise OutOfDomain("step_density", len(self.step_density), "at least 3 steps")
        for index, density in enumerate(self.step_density):
            least = self.step_density[index - 1] if index else -1e-12
            if not (math.isfinite(density) and least < density <= 6.0):
                limit = "0 or more, at most 6, and above that of the step before"
                raise OutOfDomain(f"step_density[{index}]", density, limit)
        if not (math.isfinite(self.base_density) and 0.0 <= self.base_density <= 1.0):
            raise OutOfDomain("base_density", self.base_density, "between 0 and 1")

    @property
    def count(self) -> int:
        """Number of steps."""
        return len(self.step_density)

    def doses_j_m2(self, dose_j_m2: float) -> tuple[float, ...]:
        """Dose under each step, falling from step 1, when `dose_j_m2` falls on the wedge."""
        if not (math.isfinite(dose_j_m2) and dose_j_m2 > 0.0):
            raise OutOfDomain("dose_j_m2", dose_j_m2, "above 0 J/m2")
        return tuple(dose_j_m2 * 10.0 ** -(self.base_density + density) for density in self.step_density)

    def dose_for(self, step: int, wanted_j_m2: float) -> float:
        """Dose to let fall on the wedge so that `wanted_j_m2` passes a step.  [J m-2]"""
        density = self.base_density + self.step_density[self._index(step)]
        return wanted_j_m2 * float(10.0**density)

    def factor(self, from_step: int, to_step: int) -> float:
        """Factor on the exposure that moves a tone from one step to another; above 1 towards dense steps."""
        change = self.step_density[self._index(to_step)] - self.step_density[self._index(from_step)]
        return float(10.0**change)

    def tolerance_stops(self, step: int) -> float:
        """One standard deviation of a step's density, in stops."""
        share = min(self.step_density[self._index(step)] / (_DENSEST - CLEAR_DENSITY), 1.0)
        return (_TOLERANCE_CLEAR + share * (_TOLERANCE_DENSE - _TOLERANCE_CLEAR)) / DECADES_PER_STOP

    def _index(self, step: int) -> int:
        if not 1 <= step <= self.count:
            raise OutOfDomain("step", step, f"between 1 and {self.count}, counted from the clear end")
        return step - 1


def even_wedge(count: int, increment: float, name: str, *, base_counted: bool = False) -> StepWedge:
    """A wedge of equal increments of density; with `base_counted` its film is part of the stack already."""
    if not 3 <= count <= 60:
        raise OutOfDomain("step_count", count, "between 3 and 60")
    if not (math.isfinite(increment) and 0.0 < increment <= 1.0):
        raise OutOfDomain("increment", increment, "above 0 and at most 1")
    densities = tuple(increment * index for index in range(count))
    return StepWedge(name, densities, 0.0 if base_counted else BASE_DENSITY)


def wedge_21(*, base_counted: bool = False) -> StepWedge:
    """The 21-step table: increments of 0.15, half a stop to within 0.3 %."""
    return even_wedge(21, 0.15, "21 steps of 0.15", base_counted=base_counted)


def wedge_31(*, base_counted: bool = False) -> StepWedge:
    """The 31-step table: increments of 0.10, a third of a stop to within 0.4 %."""
    return even_wedge(31, 0.10, "31 steps of 0.10", base_counted=base_counted)
