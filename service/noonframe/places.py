"""From what people type to a point on the earth: coordinates, geo URIs and city names, all offline."""

import csv
import difflib
import json
import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from noonframe.datafiles import data_folder
from noonframe.errors import DataFileError, Malformed, OutOfDomain, UnknownName

MAX_TEXT_LENGTH = 200
CLEAR_WINNER = 5.0  # a name shared by several cities means the largest only if it is this many times larger
MAX_CANDIDATES = 5
MAX_CITIES = 50

_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}  # Unicode categories that no place name needs
_COORDINATE = re.compile(
    r"([+-]?)(\d{1,3}(?:\.\d{0,15})?|\.\d{1,15})\s*(?:°|deg)?\s*([NSEW]?)", re.ASCII | re.IGNORECASE
)
_FOLDED_LETTERS = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "ə": "e", "ħ": "h"}
    | dict.fromkeys("-–—/_", " ")
    | dict.fromkeys(".'`´’‘ʻʼ()", "")
)
_DIGRAPHS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa"})  # as typed on other keyboards

# RFC 5870, section 3.3; the crs parameter comes first, then u, then any others
_GEO_NUMBER = r"-?\d{1,12}(?:\.\d{1,15})?"
_GEO_URI = re.compile(
    rf"geo:(?P<a>{_GEO_NUMBER}),(?P<b>{_GEO_NUMBER})(?:,(?P<c>{_GEO_NUMBER}))?"
    r"(?:;crs=(?P<crs>[A-Za-z0-9-]+))?"
    r"(?:;u=(?P<u>\d{1,12}(?:\.\d{1,15})?))?"
    r"(?P<rest>(?:;[A-Za-z0-9-]+(?:=(?:[\[\]:&+$\w.!~*'()-]|%[0-9A-Fa-f]{2})*)?)*)",
    re.ASCII | re.IGNORECASE,
)


@dataclass(frozen=True)
class Coordinates:
    """A WGS 84 position; `uncertainty_m` is the radius a geo URI may state."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None = None
    uncertainty_m: float | None = None


@dataclass(frozen=True)
class City:
    """One row of the city table."""

    name: str
    ascii_name: str
    alternate_names: tuple[str, ...]
    country_code: str
    state_code: str
    latitude_deg: float
    longitude_deg: float
    population: int
    time_zone: str

    @property
    def label(self) -> str:
        """Name with state and country code, as `resolve_place` reads it back."""
        where = f"{self.state_code}, {self.country_code}" if self.state_code else self.country_code
        return f"{self.name} ({where})"


@dataclass(frozen=True)
class LocatedPlace:
    """A place found: `elevation_m` is None where the source does not tell; `source` says what answered."""

    label: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    time_zone: str
    source: str


def check_position(latitude_deg: float, longitude_deg: float) -> None:
    """Raise `OutOfDomain` unless latitude is inside -90..90 (poles excluded) and longitude in -180..180."""
    if not (math.isfinite(latitude_deg) and abs(latitude_deg) <= 90.0):
        raise OutOfDomain("latitude_deg", latitude_deg, "between -90 and 90")
    if abs(latitude_deg) == 90.0:
        limit = "off the pole, where azimuth and local time have no meaning; use 89.99 or -89.99"
        raise OutOfDomain("latitude_deg", latitude_deg, limit)
    if not (math.isfinite(longitude_deg) and abs(longitude_deg) <= 180.0):
        raise OutOfDomain("longitude_deg", longitude_deg, "between -180 and 180")


def fold(text: str) -> str:
    """`text` without case, accents and punctuation, the form in which names are compared."""
    lowered = text.casefold()
    if not lowered.isascii():
        decomposed = unicodedata.normalize("NFKD", lowered)
        lowered = "".join(c for c in decomposed if not unicodedata.combining(c))
    return " ".join(lowered.translate(_FOLDED_LETTERS).split())


def parse_coordinates(text: str) -> Coordinates:
    """Decimal degrees "latitude,longitude", signed or with hemisphere letters ("41.15 N, 8.61 W").

    Raises `Malformed` for anything else (NaN and infinity are words, not degrees) and `OutOfDomain`
    outside the ranges of `check_position`.
    """
    text = _clean(text)
    form = 'give decimal degrees as "latitude,longitude", such as 41.15,-8.61'
    parts = [_COORDINATE.fullmatch(part.strip()) for part in text.split(",")]
    if len(parts) != 2:
        raise Malformed("place", text, form)
    values = []
    for part, (positive, negative) in zip(parts, (("N", "S"), ("E", "W")), strict=True):
        if part is None:
            raise Malformed("place", text, form)
        sign, digits, letter = part[1], part[2], part[3].upper()
        if letter and (sign or letter not in (positive, negative)):
            raise Malformed("place", text, f"{form}; a letter N, S, E or W replaces the sign")
        values.append(-float(digits) if sign == "-" or letter == negative else float(digits))
    check_position(*values)
    return Coordinates(*values)


def parse_geo_uri(text: str) -> Coordinates:
    """A `geo:` URI of RFC 5870: latitude, longitude, optional altitude in metres, WGS 84 only.

    Parameters other than `crs` and `u` are accepted and ignored, as section 3.4 of the RFC allows.
    """
    text = _clean(text)
    found = _GEO_URI.fullmatch(text)
    if found is None:
        raise Malformed("place", text, "write a geo URI as geo:41.15,-8.61 or geo:41.15,-8.61,80;u=40")
    others = {item.partition("=")[0].lower() for item in found["rest"].split(";")[1:]}
    if others & {"crs", "u"}:
        raise Malformed("place", text, "in a geo URI crs comes first, then u, each at most once")
    if found["crs"] is not None and found["crs"].lower() != "wgs84":
        raise Malformed("place", text, f"coordinate system {found['crs']} is not read; only wgs84 is")
    latitude_deg, longitude_deg = float(found["a"]), float(found["b"])
    check_position(latitude_deg, longitude_deg)
    return Coordinates(
        latitude_deg,
        longitude_deg,
        None if found["c"] is None else float(found["c"]),
        None if found["u"] is None else float(found["u"]),
    )


def time_zone_at(latitude_deg: float, longitude_deg: float) -> str:
    """IANA zone name at a position; in the open ocean the nautical zone (`Etc/GMT+2` is two hours behind).

    Borders are simplified by some hundred metres.  Longitude -180 is the same meridian as +180 and gives the
    same answer.
    """
    check_position(latitude_deg, longitude_deg)
    import tzfpy

    if longitude_deg == -180.0:
        longitude_deg = 180.0
    name = tzfpy.get_tz(longitude_deg, latitude_deg)
    if name:
        return name
    hours = round(longitude_deg / 15.0)
    return "Etc/GMT" if hours == 0 else f"Etc/GMT{-hours:+d}"  # the sign of these names runs westwards


def find_cities(name: str, limit: int = 10) -> tuple[City, ...]:
    """Cities called `name`, then those known by it, then those that begin with it; largest first in each."""
    if not 1 <= limit <= MAX_CITIES:
        raise OutOfDomain("limit", limit, f"between 1 and {MAX_CITIES}")
    matches = _matches(_clean(name))
    found = dict.fromkeys(matches.named + matches.known_as)
    wanted = fold(name)
    if wanted and len(found) < limit:
        found |= dict.fromkeys(city for city in _cities() if fold(city.name).startswith(wanted))
    return tuple(found)[:limit]


def resolve_place(text: str) -> LocatedPlace:
    """The one place `text` means: coordinates, a geo URI, a demo place's word, or a city.

    A city may carry country or state ("Porto, PT", "Porto, Portugal", "Springfield (MO, US)"); case, accents
    and punctuation do not count.  A name that several cities bear means the most populous one only if it is
    five times larger than the next.  Raises `UnknownName` with candidates otherwise, `Malformed` and
    `OutOfDomain` as the parsers do.
    """
    text = _clean(text)
    if text[:4].lower() == "geo:":
        return _at(parse_geo_uri(text), "geo URI")
    if _looks_like_coordinates(text):
        return _at(parse_coordinates(text), "coordinates")
    demo = demo_places().get(text.lower())
    if demo is not None:
        return demo
    city = _the_one(text, _matches(text))
    return LocatedPlace(
        city.label, city.latitude_deg, city.longitude_deg, None, city.time_zone, "GeoNames city table"
    )


@cache
def demo_places() -> dict[str, LocatedPlace]:
    """The invented places of the demo by their words."""
    path = data_folder() / "scenario.json"
    try:
        places = json.loads(path.read_text(encoding="utf-8"))["places"]
        return {word: LocatedPlace(**place, source="demo scenario") for word, place in places.items()}
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise DataFileError("demo places", path.name, f"cannot be read ({problem})") from problem


@dataclass(frozen=True)
class _Matches:
    named: tuple[City, ...]
    known_as: tuple[City, ...]


def _clean(text: str) -> str:
    if len(text) > MAX_TEXT_LENGTH:
        raise OutOfDomain("place", f"{text[:20]}…", f"at most {MAX_TEXT_LENGTH} characters")
    if any(unicodedata.category(c) in _UNSEEN for c in text):
        raise Malformed("place", text, "it holds control or invisible characters")
    text = text.strip()
    if not text:
        raise Malformed("place", text, "give coordinates, a geo URI or a city")
    return text


def _looks_like_coordinates(text: str) -> bool:
    parts = [part.strip() for part in text.split(",")]
    return all(_COORDINATE.fullmatch(part) or _is_float(part) for part in parts)


def _is_float(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return any(c.isdigit() for c in text) or text.lstrip("+-").lower() in {"nan", "inf", "infinity"}


def _at(point: Coordinates, source: str) -> LocatedPlace:
    label = (
        f"{abs(point.latitude_deg):.4f}° {'S' if point.latitude_deg < 0 else 'N'}, "
        f"{abs(point.longitude_deg):.4f}° {'W' if point.longitude_deg < 0 else 'E'}"
    )
    zone = time_zone_at(point.latitude_deg, point.longitude_deg)
    return LocatedPlace(label, point.latitude_deg, point.longitude_deg, point.elevation_m, zone, source)


@cache
def _cities() -> tuple[City, ...]:
    return tuple(
        City(
            row["name"],
            row["ascii_name"] or row["name"],
            tuple(row["alternate_names"].split("|")) if row["alternate_names"] else (),
            row["country_code"],
            row["state_code"],
            float(row["latitude_deg"]),
            float(row["longitude_deg"]),
            int(row["population"]),
            row["time_zone"],
        )
        for row in _rows("places.csv")
    )


@cache
def _country_names() -> dict[str, str]:
    return {row["country_code"]: fold(row["name"]) for row in _rows("places_countries.csv")}


def _rows(name: str) -> list[dict[str, str]]:
    path = data_folder() / name
    try:
        with path.open(encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream))
    except (OSError, ValueError) as problem:
        raise DataFileError("city table", name, f"cannot be read ({problem})") from problem


@cache
def _index() -> tuple[dict[str, list[City]], dict[str, list[City]]]:
    """Cities by folded name and by folded alternate name; both keep the table's order by population."""
    named: dict[str, list[City]] = {}
    known_as: dict[str, list[City]] = {}
    for city in _cities():
        digraphs = city.name.casefold().translate(_DIGRAPHS)
        for key in {fold(city.name), fold(city.ascii_name), fold(digraphs)}:
            named.setdefault(key, []).append(city)
        for key in {fold(name) for name in city.alternate_names}:
            known_as.setdefault(key, []).append(city)
    return named, known_as


def _matches(text: str) -> _Matches:
    """Cities `text` names in full, or as "name, country" / "name (state, country)" if not in full."""
    named, known_as = _index()
    key = fold(text)
    wanted: list[str] = []
    if key not in named and key not in known_as:
        key, *wanted = [fold(part) for part in re.split(r"[,()]", text) if part.strip()] or [""]
    return _Matches(
        tuple(city for city in named.get(key, ()) if _lies_in(city, wanted)),
        tuple(city for city in known_as.get(key, ()) if _lies_in(city, wanted)),
    )


def _lies_in(city: City, wanted: Sequence[str]) -> bool:
    where = {city.country_code.lower(), city.state_code.lower(), _country_names().get(city.country_code, "")}
    return all(word in where for word in wanted)


def _the_one(text: str, matches: _Matches) -> City:
    found = matches.named or matches.known_as
    if not found:
        raise UnknownName("place", text, "a city of 40,000 inhabitants or more, or coordinates", _near(text))
    if len(found) == 1 or found[0].population >= CLEAR_WINNER * found[1].population:
        return found[0]
    candidates = found[:MAX_CANDIDATES]
    labels = [city.label for city in candidates]
    distinct = [
        city.label if labels.count(city.label) == 1 else f"{city.latitude_deg},{city.longitude_deg}"
        for city in candidates
    ]
    raise UnknownName("place", text, "one city; several bear this name, so add the country", distinct)


def _near(text: str) -> list[str]:
    """Labels of the cities whose names are closest to `text`, by spelling."""
    named, known_as = _index()
    names = known_as | named
    wanted = fold(re.split(r"[,(]", text)[0])
    pool = [key for key in names if key[:1] == wanted[:1] and abs(len(key) - len(wanted)) <= 3]
    close = difflib.get_close_matches(wanted, pool, n=6, cutoff=0.7)
    return list(dict.fromkeys(names[key][0].label for key in close))[:3]
