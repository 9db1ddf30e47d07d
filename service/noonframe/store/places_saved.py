"""Places saved by name."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import Connection

from noonframe.errors import UnknownName
from noonframe.store.checks import plain_text
from noonframe.store.strict import Reader
from noonframe.store.tables import PLACE_VERSIONS
from noonframe.store.tables import PLACES as PLACE_HEADS
from noonframe.store.versioned import Shelf, living_name, name_text
from noonframe.sun.place import Place

LONGEST_ZONE = 100


@dataclass(frozen=True)
class PlaceFields:
    """A point on the earth with the zone of its clocks; the limits are those of `sun.place.Place`."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str

    def __post_init__(self) -> None:
        name_text(self.name)
        self.place()
        plain_text("time_zone", self.time_zone, LONGEST_ZONE)

    def place(self) -> Place:
        """The point."""
        return Place(self.latitude_deg, self.longitude_deg, self.elevation_m)


def check_zone(name: str) -> None:
    """Raise `UnknownName` unless the zone is known on this machine.

    Asked for when a record is saved and not when it is read: a zone that a later edition of the IANA table
    drops must not take the record with it.
    """
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UnknownName("time_zone", name, "an IANA time zone such as Europe/Lisbon") from None


def _check(_db: Connection, fields: PlaceFields) -> None:
    check_zone(fields.time_zone)


def _read(reader: Reader) -> PlaceFields:
    return reader.build(
        PlaceFields,
        name=reader.text("name"),
        latitude_deg=reader.number("latitude_deg"),
        longitude_deg=reader.number("longitude_deg"),
        elevation_m=reader.number("elevation_m"),
        time_zone=reader.text("time_zone"),
    )


PLACES: Shelf[PlaceFields] = Shelf("place", PLACE_HEADS, PLACE_VERSIONS, _read, living_name, _check)
"""Every saved place."""
