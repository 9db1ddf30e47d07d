"""What an exposure tells about the dose a sheet needs: strips, wedges and finished prints, in one shape.

Every reading says that the target lies in a span of doses, give or take a spread.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from noonframe.bench.ladder import LEAST_DOSE_J_M2, MOST_DOSE_J_M2
from noonframe.errors import OutOfDomain


class EvidenceKind(StrEnum):
    """What was exposed."""

    STRIP = "strip"
    WEDGE = "wedge"
    PRINT = "print"


@dataclass(frozen=True)
class Conditions:
    """What may change the speed of a coat, as far as it was written down."""

    coat_age_h: float | None = None
    relative_humidity_percent: float | None = None
    air_temperature_c: float | None = None

    def __post_init__(self) -> None:
        for name, low, high in (
            ("coat_age_h", 0.0, 8784.0),
            ("relative_humidity_percent", 0.0, 100.0),
            ("air_temperature_c", -40.0, 60.0),
        ):
            value = getattr(self, name)
            if value is not None and not low <= value <= high:  # also refuses NaN
                raise OutOfDomain(name, value, f"between {low:g} and {high:g}")


@dataclass(frozen=True)
class ToneScale:
    """How many stops below full density the first tone lies, and one standard deviation of that."""

    stops: float
    spread_stops: float

    def __post_init__(self) -> None:
        if not 0.5 <= self.stops <= 15.0:
            raise OutOfDomain("tone_scale.stops", self.stops, "between 0.5 and 15 stops")
        if not 0.0 <= self.spread_stops <= 4.0:
            raise OutOfDomain("tone_scale.spread_stops", self.spread_stops, "between 0 and 4 stops")


@dataclass(frozen=True)
class Reading:
    """The target lies above `low_j_m2` (None: open) and not above `high_j_m2` (None: open).

    `spread_stops` is one standard deviation of where the eye puts the limits.  Equal limits are a point.
    """

    low_j_m2: float | None
    high_j_m2: float | None
    spread_stops: float

    def __post_init__(self) -> None:
        for name, value in (("low_j_m2", self.low_j_m2), ("high_j_m2", self.high_j_m2)):
            if value is not None and not LEAST_DOSE_J_M2 / 1e3 <= value <= MOST_DOSE_J_M2 * 1e3:
                raise OutOfDomain(name, value, "a dose in J/m2 that a sheet can have")
        if self.low_j_m2 is not None and self.high_j_m2 is not None and self.low_j_m2 > self.high_j_m2:
            raise OutOfDomain("low_j_m2", self.low_j_m2, f"at most high_j_m2, {self.high_j_m2}")
        if self.low_j_m2 is None and self.high_j_m2 is None:
            raise OutOfDomain("high_j_m2", None, "given where low_j_m2 is not: such a reading says nothing")
        # finer than the grid of the belief can carry, and finer than an eye
        if not 0.02 <= self.spread_stops <= 4.0:
            raise OutOfDomain("reading_spread_stops", self.spread_stops, "between 0.02 and 4 stops")


@dataclass(frozen=True)
class Evidence:
    """One exposure and what was read from it.

    `light_spread_stops` is one standard deviation of the recorded dose, shared by all its readings: only the
    part that changes from one exposure to the next, since a lasting bias of the light goes into the target
    and comes out again when the same light is asked for the next print.  Exposures of one `occasion` (a day,
    a spot) share a further error of `shared_spread_stops`.  `blunder_share` is how often such an exposure
    tells nothing true.
    """

    kind: EvidenceKind
    readings: tuple[Reading, ...]
    light_spread_stops: float
    blunder_share: float
    conditions: Conditions = field(default_factory=Conditions)
    occasion: str = ""
    shared_spread_stops: float = 0.0

    def __post_init__(self) -> None:
        if not 1 <= len(self.readings) <= 2:
            raise OutOfDomain("readings", len(self.readings), "1 or 2 readings")
        for name, low, high in (
            ("light_spread_stops", 0.0, 4.0),
            ("shared_spread_stops", 0.0, 4.0),
            ("blunder_share", 0.001, 0.5),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise OutOfDomain(name, value, f"between {low:g} and {high:g}")
        if self.shared_spread_stops > 0.0 and not self.occasion:
            raise OutOfDomain("occasion", self.occasion, "named where an error is shared within it")


@dataclass(frozen=True)
class Circumstances:
    """What surrounds an exposure: the spread of its light, the weather of its coat, who shares its error."""

    light_spread_stops: float
    conditions: Conditions = field(default_factory=Conditions)
    occasion: str = ""
    shared_spread_stops: float = 0.0

    def evidence(self, kind: EvidenceKind, readings: tuple[Reading, ...], blunder_share: float) -> Evidence:
        """Evidence made under these circumstances."""
        return Evidence(
            kind,
            readings,
            self.light_spread_stops,
            blunder_share,
            self.conditions,
            self.occasion,
            self.shared_spread_stops,
        )
