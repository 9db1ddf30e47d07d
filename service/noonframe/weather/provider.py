"""What every provider can do, and the place it is asked about."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from noonframe import __version__
from noonframe.errors import OutOfDomain
from noonframe.sky.forecast import Forecast

HORIZON_S = 3 * 86400.0
PLACE_DECIMALS = 2
FARTHEST_CELL_DEG = 1.5
READING_EDITION = 1  # to be raised when readers turn stricter, so that what older ones kept is not met again


@dataclass(frozen=True)
class AskedPlace:
    """A place rounded to 0.01 degree (about 1 km), which is finer than any global model's grid.

    Neighbours then share one answer, and no provider learns where a printer's yard is.
    """

    latitude_deg: float
    longitude_deg: float

    @classmethod
    def near(cls, latitude_deg: float, longitude_deg: float) -> "AskedPlace":
        """The rounded place nearest to a position, longitudes -180 to below 180."""
        if not -90.0 <= latitude_deg <= 90.0:
            raise OutOfDomain("latitude_deg", latitude_deg, "between -90 and 90")
        if not -180.0 <= longitude_deg <= 180.0:
            raise OutOfDomain("longitude_deg", longitude_deg, "between -180 and 180")
        longitude_deg = round(longitude_deg, PLACE_DECIMALS)
        # adding zero turns -0.0 into 0.0, so that both are the same place
        return cls(
            round(latitude_deg, PLACE_DECIMALS) + 0.0,
            (-180.0 if longitude_deg == 180.0 else longitude_deg) + 0.0,
        )

    @property
    def latitude_text(self) -> str:
        """Latitude as it is sent, two decimals."""
        return f"{self.latitude_deg:.{PLACE_DECIMALS}f}"

    @property
    def longitude_text(self) -> str:
        """Longitude as it is sent, two decimals."""
        return f"{self.longitude_deg:.{PLACE_DECIMALS}f}"


@dataclass(frozen=True)
class ProviderRequest:
    """One GET; `secret` holds query parameters that no key, log or message may show."""

    url: str
    query: Mapping[str, str]
    headers: Mapping[str, str]
    secret: Mapping[str, str] = field(default_factory=dict, repr=False)


class Provider(Protocol):
    """A source of forecasts: how to ask it and how to read what it says."""

    @property
    def name(self) -> str:
        """Its name in settings and answers."""
        ...

    @property
    def identity(self) -> str:
        """Text that changes whenever another service, account or contact is meant."""
        ...

    def request(self, place: AskedPlace) -> ProviderRequest:
        """The question about `place`."""
        ...

    def read(self, body: bytes, place: AskedPlace, fetched_s: float, expires_s: float) -> Forecast:
        """The forecast in `body`; raises `UpstreamMalformed` for what breaks the documented format."""
        ...


def user_agent(contact: str | None) -> str:
    """Application, version and, where one is set, whom to write to."""
    return f"noonframe/{__version__}" + (f" {contact}" if contact else "")


def scope_of(provider: Provider) -> str:
    """Key of a provider's pauses.

    It changes with address, account and contact: a pause earned by a wrong contact ends with it, and a
    rehearsal's never holds back the real service.
    """
    return f"{provider.name}:{_digest(provider.identity)}"


def key_of(provider: Provider, place: AskedPlace) -> str:
    """Key of a provider's answers about one place; it changes with everything that is asked for."""
    request = provider.request(place)
    question = repr((READING_EDITION, provider.identity, request.url, sorted(request.query.items())))
    return f"{provider.name}:{place.latitude_text},{place.longitude_text}:{_digest(question)}"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]
