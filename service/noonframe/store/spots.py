"""Spots saved by name: where the frame lies, and at which place."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection

from noonframe.errors import Malformed, OutOfDomain
from noonframe.store.checks import plain_text
from noonframe.store.places_saved import LONGEST_ZONE, check_zone
from noonframe.store.strict import Reader, bounded_json
from noonframe.store.tables import SPOT_VERSIONS
from noonframe.store.tables import SPOTS as SPOT_HEADS
from noonframe.store.versioned import LONGEST_NAME, Shelf, living_name, name_text
from noonframe.sun.place import Place

LONGEST_SPOT = 100_000


@dataclass(frozen=True)
class SpotFields:
    """A spot as requests describe it (a JSON object with a `kind`), at a place in words or coordinates.

    Elevation and time zone may be given with either.
    """

    name: str
    spot: Mapping[str, Any] = field(repr=False)
    place: str | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None
    time_zone: str | None = None

    def __post_init__(self) -> None:
        name_text(self.name)
        object.__setattr__(self, "spot", bounded_json("spot", self.spot, LONGEST_SPOT))
        if not isinstance(self.spot.get("kind"), str):
            raise Malformed("spot.kind", self.spot.get("kind"), "must say what kind of spot it is")
        self._check_place()
        if self.time_zone is not None:
            plain_text("time_zone", self.time_zone, LONGEST_ZONE)

    def _check_place(self) -> None:
        latitude_deg, longitude_deg = self.latitude_deg, self.longitude_deg
        if self.place is not None:
            if latitude_deg is not None or longitude_deg is not None:
                raise OutOfDomain(
                    "place", self.place, "left out when latitude_deg and longitude_deg are given"
                )
            if not self.place.strip():
                raise Malformed("place", self.place, "must say something")
            plain_text("place", self.place, LONGEST_NAME)
            latitude_deg, longitude_deg = 0.0, 0.0  # only the elevation is left to check
        if latitude_deg is None or longitude_deg is None:
            missing = "latitude_deg" if latitude_deg is None else "longitude_deg"
            raise OutOfDomain(missing, None, "given, together with the other coordinate, or else place")
        Place(latitude_deg, longitude_deg, 0.0 if self.elevation_m is None else self.elevation_m)


def _check(_db: Connection, fields: SpotFields) -> None:
    if fields.time_zone is not None:
        check_zone(fields.time_zone)


def _read(reader: Reader) -> SpotFields:
    return reader.build(
        SpotFields,
        name=reader.text("name"),
        spot=reader.mapping("spot"),
        place=reader.maybe("place", reader.text),
        latitude_deg=reader.maybe("latitude_deg", reader.number),
        longitude_deg=reader.maybe("longitude_deg", reader.number),
        elevation_m=reader.maybe("elevation_m", reader.number),
        time_zone=reader.maybe("time_zone", reader.text),
    )


SPOTS: Shelf[SpotFields] = Shelf("spot", SPOT_HEADS, SPOT_VERSIONS, _read, living_name, _check)
"""Every saved spot."""
