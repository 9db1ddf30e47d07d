"""What the weather service hands back: evidence in the order of its worth, and why better is missing."""

from dataclasses import dataclass, field
from enum import StrEnum

from noonframe.sky.forecast import Forecast
from noonframe.weather.errors import FailureKind


class Freshness(StrEnum):
    """Whether the provider still stands by a forecast."""

    FRESH = "fresh"
    STALE = "stale"


@dataclass(frozen=True)
class WeatherEvidence:
    """One provider's forecast; `age_s` is the time since it came or was last confirmed."""

    forecast: Forecast = field(repr=False)
    freshness: Freshness
    age_s: float


@dataclass(frozen=True)
class WeatherFailure:
    """Why a provider gave no fresh forecast, in plain words.

    `retry_at_s` (unix seconds) is the earliest time at which it will be asked again, None where nothing
    stands in the way.
    """

    provider: str
    kind: FailureKind
    reason: str
    retry_at_s: float | None = None


@dataclass(frozen=True)
class WeatherAnswer:
    """Evidence, best first (empty when there is none), and why better evidence is missing."""

    asked_at_s: float
    evidence: tuple[WeatherEvidence, ...] = ()
    why: tuple[WeatherFailure, ...] = ()

    @property
    def best(self) -> WeatherEvidence | None:
        """The evidence to use, None where there is none."""
        return self.evidence[0] if self.evidence else None
