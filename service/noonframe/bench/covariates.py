"""Coat age, humidity and warmth: recorded with every exposure, believed only when there is enough to see.

No quantitative curve is published for any of them.  The target's log2 gets a straight term
slope * (value - mean of the recorded values) with a normal prior of mean 0, and only by this rule: at least
`ENOUGH` exposures have the value written down, and it still spans `least_span` when its lowest and highest
are left out, so that no single day makes the slope.  At most `MOST_TERMS` are fitted, those with the widest
span for their need.  An exposure without the value counts as one at the mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from noonframe.bench.evidence import Conditions, Evidence

ENOUGH = 8
MOST_TERMS = 2


@dataclass(frozen=True)
class Covariate:
    """A condition, the step of it that a slope is given for, and what is believed of the slope beforehand.

    `slope_spread_stops` is one standard deviation of the change of the target over `step`, `basis` where
    that comes from.
    """

    name: str
    label: str
    unit: str
    step: float
    slope_spread_stops: float
    least_span: float
    basis: str

    def value(self, conditions: Conditions) -> float | None:
        """Its value, None where it was not written down."""
        value: float | None = getattr(conditions, self.name)
        return value


COVARIATES = (
    Covariate(
        "relative_humidity_percent",
        "relative humidity",
        "%",
        10.0,
        0.1,
        20.0,
        "a bone-dry coat may lose half a stop to a stop against a moist one (from memory)",
    ),
    Covariate(
        "coat_age_h",
        "coat age",
        "h",
        24.0,
        0.15,
        24.0,
        "coated sheets lose speed within a day to a few days (anecdotal)",
    ),
    Covariate(
        "air_temperature_c",
        "air temperature",
        "°C",
        10.0,
        0.05,
        10.0,
        "warmth hardly changes the light's work; it dries the sheet (from memory)",
    ),
)


@dataclass(frozen=True)
class Recorded:
    """How much was written down of one covariate: how many exposures, their mean and trimmed span."""

    covariate: Covariate
    count: int
    mean: float
    span: float

    @property
    def enough(self) -> bool:
        """Whether the rule lets its slope be fitted."""
        return self.count >= ENOUGH and self.span >= self.covariate.least_span

    def offset(self, conditions: Conditions) -> float:
        """Steps away from the mean; 0 where the value is missing."""
        value = self.covariate.value(conditions)
        return 0.0 if value is None else (value - self.mean) / self.covariate.step

    @property
    def why_not(self) -> str:
        """Why its slope is not fitted, in words."""
        covariate = self.covariate
        if self.count < ENOUGH:
            return f"{covariate.label} is recorded {self.count} times and counts from {ENOUGH} on"
        return (
            f"{covariate.label} has varied by {self.span:.0f} {covariate.unit} "
            f"and counts from {covariate.least_span:.0f} {covariate.unit} on"
        )


def recorded(evidence: Sequence[Evidence]) -> tuple[Recorded, ...]:
    """What was written down, for every covariate that was at all."""
    found = []
    for covariate in COVARIATES:
        values = sorted(v for item in evidence if (v := covariate.value(item.conditions)) is not None)
        if values:
            span = values[-2] - values[1] if len(values) > 3 else 0.0
            found.append(Recorded(covariate, len(values), sum(values) / len(values), span))
    return tuple(found)


def to_fit(found: Sequence[Recorded]) -> tuple[Recorded, ...]:
    """Those whose slope is fitted."""
    enough = [each for each in found if each.enough]
    enough.sort(key=lambda each: -each.span / each.covariate.least_span)
    return tuple(enough[:MOST_TERMS])


@dataclass(frozen=True)
class Term:
    """A fitted slope: the change of the target in stops over the covariate's step, and its spread."""

    recorded: Recorded
    slope_stops: float
    slope_spread_stops: float
