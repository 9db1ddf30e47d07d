"""A distribution of doses on the bench's grid: its density, quantiles and spread."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noonframe.bench.likelihood import log2_grid
from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

_Z_90 = 1.2815515594600038  # standard normal quantile of 0.9


@dataclass(frozen=True, eq=False)
class Distribution:
    """Probability density (n,) per stop over `log2_grid()`, straight between grid points, total 1."""

    density: FloatArray

    @classmethod
    def of(cls, weights: FloatArray) -> "Distribution":
        """The distribution in proportion to weights (n,) on the grid."""
        density = weights / float(np.trapezoid(weights, log2_grid()))
        density.setflags(write=False)
        return cls(density)

    @classmethod
    def of_log(cls, log_weights: FloatArray) -> "Distribution":
        """The same from logarithms of weights (n,)."""
        return cls.of(np.exp(log_weights - float(log_weights.max())))

    @cached_property
    def cumulative(self) -> FloatArray:
        """Probability (n,) that the dose lies below each grid point."""
        steps = 0.5 * (self.density[1:] + self.density[:-1]) * np.diff(log2_grid())
        return np.concatenate([[0.0], np.cumsum(steps)])

    def quantile_j_m2(self, probability: float) -> float:
        """The dose below which this share of the belief lies, 0.001-0.999."""
        if not 0.001 <= probability <= 0.999:
            raise OutOfDomain("probability", probability, "between 0.001 and 0.999")
        return float(2.0 ** np.interp(probability, self.cumulative, log2_grid()))

    def probability_below(self, dose_j_m2: float) -> float:
        """The share of the belief below a dose above 0."""
        if not dose_j_m2 > 0.0:
            raise OutOfDomain("dose_j_m2", dose_j_m2, "above 0 J/m2")
        return float(np.interp(math.log2(dose_j_m2), log2_grid(), self.cumulative))

    @cached_property
    def median_j_m2(self) -> float:
        """The dose that is as likely too low as too high."""
        return self.quantile_j_m2(0.5)

    @cached_property
    def low_j_m2(self) -> float:
        """The 10 % quantile."""
        return self.quantile_j_m2(0.1)

    @cached_property
    def high_j_m2(self) -> float:
        """The 90 % quantile."""
        return self.quantile_j_m2(0.9)

    @cached_property
    def spread_stops(self) -> float:
        """One standard deviation of the log-normal with the same 10-90 % range: tails do not inflate it."""
        return math.log2(self.high_j_m2 / self.low_j_m2) / (2.0 * _Z_90)

    @cached_property
    def standard_deviation_stops(self) -> float:
        """The standard deviation itself, tails and all."""
        x = log2_grid()
        mean = float(np.trapezoid(self.density * x, x))
        return math.sqrt(float(np.trapezoid(self.density * (x - mean) ** 2, x)))
