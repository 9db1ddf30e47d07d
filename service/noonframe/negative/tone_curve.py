"""How a coat answers to light, as the negative needs it: print density over log10 of dose / target.

The curve itself is the bench's affair; here it is a function that was sampled, so any curve will do that
never falls.  0 on its axis is the target, the dose of full density; a film of density d above its clearest
part puts a spot at -d.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

FULL_SHARE = 0.95
"""Share of the net density that passes for full: half a stop more adds hardly what a densitometer sees
(common practice, no source)."""

FIRST_TONE = 0.04
"""Net density of the first tone, the lower limit of the exposure scale in ISO 6846 (from memory)."""

LEAST_NET_DENSITY = 0.2
_LOWEST, _HIGHEST, _STEP = -5.0, 2.0, 0.001
_HIGHEST_DENSITY = 5.0


@dataclass(frozen=True)
class PaperCurve:
    """Print density (n,), never falling, over log10 of dose / target (n,), rising.

    `d_min` is that of the washed paper, `d_max` the densest it gets; `says` tells where the curve is from.
    """

    log_exposure: FloatArray = field(repr=False)
    density: FloatArray = field(repr=False)
    d_min: float
    d_max: float
    says: str = ""

    def __post_init__(self) -> None:
        if self.log_exposure.shape != self.density.shape or self.density.size < 2:
            limit = "one density for each exposure, two or more"
            raise OutOfDomain("curve", f"{self.density.size} densities", limit)
        for name, values in (("exposure", self.log_exposure), ("density", self.density)):
            if not np.isfinite(values).all():
                raise OutOfDomain("curve", f"not a number in {name}", "finite")
        if np.any(np.diff(self.log_exposure) <= 0.0) or np.any(np.diff(self.density) < -1e-12):
            raise OutOfDomain("curve", "falling", "one whose density never falls with exposure")
        check_ends(self.d_min, self.d_max)

    @property
    def net_density(self) -> float:
        """`d_max - d_min`."""
        return self.d_max - self.d_min

    def density_at(self, log_exposure: FloatArray) -> FloatArray:
        """Density at log10 of dose / target, of any shape; past the samples it stays what it is there."""
        found: FloatArray = np.interp(log_exposure, self.log_exposure, self.density)
        return found

    def exposure_for(self, density: FloatArray) -> FloatArray:
        """log10 of dose / target for densities of any shape: the inverse; NaN for a density it never has."""
        # a flat run has many exposures for one density; the least dose is the one that costs no detail
        rises = np.concatenate(([True], np.diff(np.maximum.accumulate(self.density)) > 0.0))
        steps, exposures = self.density[rises], self.log_exposure[rises]
        found: FloatArray = np.interp(density, steps, exposures, left=np.nan, right=np.nan)
        return found

    def with_ends(self, d_min: float | None, d_max: float | None) -> "PaperCurve":
        """The same curve between other, measured ends; its slopes scale with the net density."""
        low = self.d_min if d_min is None else d_min
        high = self.d_max if d_max is None else d_max
        check_ends(low, high)
        scaled = low + (self.density - self.d_min) * ((high - low) / self.net_density)
        return PaperCurve(self.log_exposure, scaled, low, high, self.says)


def check_ends(d_min: float, d_max: float) -> None:
    """Raise for a D_min and a D_max that no print has."""
    if not (math.isfinite(d_min) and -0.2 <= d_min <= 2.0):
        raise OutOfDomain("d_min", d_min, "between -0.2 and 2")
    if not (math.isfinite(d_max) and d_min + LEAST_NET_DENSITY <= d_max <= _HIGHEST_DENSITY):
        limit = f"at least {LEAST_NET_DENSITY} above d_min and at most {_HIGHEST_DENSITY:g}"
        raise OutOfDomain("d_max", d_max, limit)


def sampled_curve(
    density: Callable[[FloatArray], FloatArray], d_min: float, d_max: float, says: str = ""
) -> PaperCurve:
    """A curve out of a function from log10 of dose / target (n,) to print density (n,).

    Sampled from a hundred-thousandth of the target to a hundred times it, a thousandth of a decade apart:
    between the samples a slope of 5 bends by less than 1e-5.
    """
    exposures = np.arange(_LOWEST, _HIGHEST + 0.5 * _STEP, _STEP)
    return PaperCurve(exposures, density(exposures), d_min, d_max, says)


def usual_curve(
    scale_stops: float, d_min: float, d_max: float, says: str = "", *, full_share: float = FULL_SHARE
) -> PaperCurve:
    """A curve for a coat of which only the scale is known: a logistic in log exposure.

    It has `full_share` of its net density at the target and the first tone, 0.04 above `d_min`,
    `scale_stops` below it.
    """
    check_ends(d_min, d_max)
    if not 0.5 <= scale_stops <= 15.0:
        raise OutOfDomain("scale_stops", scale_stops, "between 0.5 and 15 stops")
    net = d_max - d_min
    full, first = (math.log(share / (1.0 - share)) for share in (full_share, FIRST_TONE / net))
    steepness = (full - first) / (scale_stops * math.log10(2.0))

    def density(exposure: FloatArray) -> FloatArray:
        out: FloatArray = d_min + net / (1.0 + np.exp(-(full + steepness * exposure)))
        return out

    return sampled_curve(density, d_min, d_max, says)
