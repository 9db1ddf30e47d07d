"""The characteristic curve of a coat: density against log10 of the dose, fitted to a wedge's readings.

A generalised logistic in x = log10 H [1]:
    D(x) = D_min + (D_max - D_min) * u**-v,   u = 1 + exp(-k (x - x0)),
whose inverse and steepest slope are closed forms.  v = 1 is the logistic; v below 1 draws out the toe, v
above 1 the shoulder.

The limits are those of ISO 6846 (from memory): the exposure scale runs from 0.04 above D_min to 90 % of the
net density D_max - D_min, the speed point lies 0.60 above D_min.

[1] Richards, F. J. (1959), A flexible growth function for empirical use, J. Exp. Bot. 10, 290-300.
"""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.bench.wedges import DECADES_PER_STOP
from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

TOE_NET_DENSITY = 0.04
SHOULDER_SHARE = 0.90
SPEED_NET_DENSITY = 0.60

READING_ERROR = 0.02
"""A densitometer's error in density (common practice, no source)."""


@dataclass(frozen=True)
class CharacteristicCurve:
    """A fitted curve, the readings' misfit and how far the readings reach.

    `steepness` is k, `asymmetry` v, `centre` x0.  `residuals` are reading minus curve, in the order of the
    readings.  `exposure_scale_error` is one standard error of the exposure scale, in log10 H.
    """

    d_min: float
    d_max: float
    centre: float
    steepness: float
    asymmetry: float
    residuals: tuple[float, ...]
    exposure_scale_error: float
    least_dose_j_m2: float
    most_dose_j_m2: float
    lowest_density: float
    highest_density: float

    @property
    def net_density(self) -> float:
        """D_max - D_min."""
        return self.d_max - self.d_min

    def density(self, dose_j_m2: FloatArray) -> FloatArray:
        """Density (n,) at doses (n,) above 0."""
        share = share_of_net(np.log10(dose_j_m2), self.centre, self.steepness, self.asymmetry)
        density: FloatArray = self.d_min + self.net_density * share
        return density

    def dose_j_m2(self, net_density: float) -> float:
        """The dose for a density this far above D_min."""
        if not 0.0 < net_density < self.net_density:
            limit = f"above 0 and below {self.net_density:.2f}, that of the coat"
            raise OutOfDomain("net_density", net_density, limit)
        return float(10.0 ** self._log_dose(net_density / self.net_density))

    @property
    def toe_j_m2(self) -> float:
        """The dose of the first tone, 0.04 above D_min."""
        return self.dose_j_m2(TOE_NET_DENSITY)

    @property
    def shoulder_j_m2(self) -> float:
        """The dose of 90 % of the net density."""
        return self.dose_j_m2(SHOULDER_SHARE * self.net_density)

    @property
    def exposure_scale(self) -> float:
        """From toe to shoulder, in log10 H."""
        return math.log10(self.shoulder_j_m2 / self.toe_j_m2)

    @property
    def exposure_scale_stops(self) -> float:
        """From toe to shoulder, in stops."""
        return self.exposure_scale / DECADES_PER_STOP

    @property
    def iso_range(self) -> int:
        """A hundred times the exposure scale, to the nearest ten."""
        return round(10.0 * self.exposure_scale) * 10

    @property
    def negative_density_range(self) -> float:
        """Density range, in the light that prints, of the negative that uses the whole exposure scale."""
        return self.exposure_scale

    @property
    def speed_point_j_m2(self) -> float | None:
        """The dose for 0.60 above D_min, None for a coat that does not get there."""
        return self.dose_j_m2(SPEED_NET_DENSITY) if self.net_density > SPEED_NET_DENSITY else None

    @property
    def gamma(self) -> float:
        """The steepest slope, in density per log10 H."""
        v = self.asymmetry
        return float(self.net_density * self.steepness * (1.0 + 1.0 / v) ** -(v + 1.0))

    @property
    def mean_gradient(self) -> float:
        """The mean slope between toe and shoulder."""
        rise = SHOULDER_SHARE * self.net_density - TOE_NET_DENSITY
        return rise / self.exposure_scale

    @property
    def rms_residual(self) -> float:
        """Root mean square of the residuals."""
        return math.sqrt(sum(r * r for r in self.residuals) / len(self.residuals))

    @property
    def notes(self) -> tuple[str, ...]:
        """Where the curve goes beyond its readings."""
        notes = []
        if self.highest_density < self.d_min + SHOULDER_SHARE * self.net_density:
            notes.append("the readings stop before 90 % of the net density: D_max is a guess, expose longer")
        if self.lowest_density > self.d_min + TOE_NET_DENSITY:
            notes.append("no reading is near paper white: D_min is a guess, add denser steps or a blank")
        worst = max(range(len(self.residuals)), key=lambda index: abs(self.residuals[index]))
        if abs(self.residuals[worst]) > 3.0 * READING_ERROR:
            notes.append(
                f"reading {worst + 1} lies {self.residuals[worst]:+.2f} off the curve: read it again"
            )
        return tuple(notes)

    def _log_dose(self, share: float) -> float:
        return self.centre - math.log(share ** (-1.0 / self.asymmetry) - 1.0) / self.steepness


def share_of_net(x: FloatArray, centre: float, steepness: float, asymmetry: float) -> FloatArray:
    """Share (n,) of the net density at x = log10 H (n,)."""
    share: FloatArray = np.exp(-asymmetry * np.logaddexp(0.0, -steepness * (x - centre)))
    return share


@dataclass(frozen=True)
class CurveComparison:
    """How a second curve differs from a first.

    `slower_stops` is how much more dose the second needs at the same net density: 0.60, or half the net
    density of the weaker coat when one does not reach that.  Scale and densities are second minus first.
    """

    compared_at_net_density: float
    slower_stops: float
    exposure_scale_stops: float
    d_min: float
    d_max: float
    gamma_ratio: float


def compare_curves(first: CharacteristicCurve, second: CharacteristicCurve) -> CurveComparison:
    """The second curve against the first."""
    weaker = min(first.net_density, second.net_density)
    at = SPEED_NET_DENSITY if weaker > SPEED_NET_DENSITY else 0.5 * weaker
    return CurveComparison(
        at,
        math.log2(second.dose_j_m2(at) / first.dose_j_m2(at)),
        second.exposure_scale_stops - first.exposure_scale_stops,
        second.d_min - first.d_min,
        second.d_max - first.d_max,
        second.gamma / first.gamma,
    )
