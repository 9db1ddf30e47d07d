"""MET Norway Locationforecast 2.0, complete: cloud in three layers, fog and clear-sky UV index by instants.

No irradiance.  Periods look forward: `next_1_hours` begins at its entry's time.  Any variable may be missing
for a region, and the clear-sky UV index is told for the near days alone.
Sources: https://docs.api.met.no/doc/locationforecast/datamodel.html (variables, units, layer bounds),
https://docs.api.met.no/doc/ForecastJSON.html (instants and periods),
https://docs.api.met.no/doc/TermsOfService.html (identification, decimals, licence).
"""

import re
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

from noonframe.errors import OutOfDomain
from noonframe.sky.forecast import Forecast, SampleKind, WeatherSample
from noonframe.weather.errors import UpstreamMalformed
from noonframe.weather.provider import AskedPlace, ProviderRequest, user_agent
from noonframe.weather.reading import (
    check_cell,
    in_order,
    json_object,
    member,
    number,
    number_or_none,
    sample,
    share,
)

ATTRIBUTION = "Data from MET Norway (https://www.met.no/), CC BY 4.0 / NLOD 2.0"
LOW_TOP_M, MID_TOP_M = 2000.0, 5000.0
UNITS = {
    "cloud_area_fraction": "%",
    "cloud_area_fraction_low": "%",
    "cloud_area_fraction_medium": "%",
    "cloud_area_fraction_high": "%",
    "fog_area_fraction": "%",
    "ultraviolet_index_clear_sky": "1",
    "precipitation_amount": "mm",
}
FRACTIONS = {
    "cloud_area_fraction": "cloud_total",
    "cloud_area_fraction_low": "cloud_low",
    "cloud_area_fraction_medium": "cloud_mid",
    "cloud_area_fraction_high": "cloud_high",
    "fog_area_fraction": "fog",
}


@dataclass(frozen=True)
class MetNorway:
    """Locationforecast; it answers only callers who say whom to write to, so a contact is a must."""

    base_url: str
    contact: str
    name: str = "met-norway"

    def __post_init__(self) -> None:
        if not self.contact:
            raise OutOfDomain("weather_contact", None, "set, because met-norway asks who is calling")

    @property
    def identity(self) -> str:
        """See `Provider`."""
        return repr((self.base_url, self.contact))

    def request(self, place: AskedPlace) -> ProviderRequest:
        """See `Provider`; without altitude, which corrects the temperature alone."""
        query = {"lat": place.latitude_text, "lon": place.longitude_text}
        headers = {"User-Agent": user_agent(self.contact)}
        return ProviderRequest(f"{self.base_url}/locationforecast/2.0/complete", query, headers)

    def read(self, body: bytes, place: AskedPlace, fetched_s: float, expires_s: float) -> Forecast:
        """See `Provider`."""
        answer = json_object(body)
        longitude_deg, latitude_deg = _point(answer)
        check_cell(latitude_deg, longitude_deg, place)
        properties = member(answer, "properties", dict, "answer")
        meta = member(properties, "meta", dict, "properties")
        units = member(meta, "units", dict, "meta")
        series = member(properties, "timeseries", list, "properties")
        return Forecast(
            provider=self.name,
            model="locationforecast 2.0",
            attribution=ATTRIBUTION,
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            issued_s=_unix(meta.get("updated_at"), "meta.updated_at"),
            fetched_s=fetched_s,
            expires_s=expires_s,
            low_top_m=LOW_TOP_M,
            mid_top_m=MID_TOP_M,
            samples=in_order(_series(series, units), fetched_s),
        )


def _point(answer: dict[str, Any]) -> tuple[float, float]:
    geometry = member(answer, "geometry", dict, "answer")
    found = member(geometry, "coordinates", list, "geometry")
    if geometry.get("type") != "Point" or len(found) not in (2, 3):
        raise UpstreamMalformed("geometry is not a point")
    return number(found[0], "geometry.coordinates"), number(found[1], "geometry.coordinates")


def _unix(text: object, where: str) -> float:
    if isinstance(text, str) and re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", text):
        try:
            return datetime.fromisoformat(text).timestamp()
        except ValueError:
            pass
    raise UpstreamMalformed(f"{where} is not a time in UTC")


def _told(details: dict[str, Any], name: str, units: dict[str, Any]) -> float | None:
    value = number_or_none(details.get(name), name)
    if value is not None and units.get(name) != UNITS[name]:
        raise UpstreamMalformed(f"{name} is in {units.get(name)!r}, not in {UNITS[name]!r}")
    return value


def _series(series: list[Any], units: dict[str, Any]) -> list[WeatherSample | None]:
    if not all(isinstance(entry, dict) for entry in series):
        raise UpstreamMalformed("timeseries holds something else than objects")
    times = [_unix(entry.get("time"), "timeseries.time") for entry in series]
    if any(after <= before for before, after in pairwise(times)):
        raise UpstreamMalformed("timeseries does not go forward in time")
    found: list[WeatherSample | None] = []
    for row, entry in enumerate(series):
        data = member(entry, "data", dict, "timeseries")
        details = member(member(data, "instant", dict, "data"), "details", dict, "instant")
        told = {ours: share(_told(details, theirs, units)) for theirs, ours in FRACTIONS.items()}
        told["uv_index_clear"] = _told(details, "ultraviolet_index_clear_sky", units)
        found.append(sample(SampleKind.INSTANT, times[row], times[row], **told))
        following = times[row + 1] if row + 1 < len(times) else None
        found.append(_rain(data, times[row], following, units))
    return found


def _rain(
    data: dict[str, Any], start_s: float, following_s: float | None, units: dict[str, Any]
) -> WeatherSample | None:
    """Precipitation rate of the shortest period that reaches no farther than the next entry.

    Longer periods overlap those of later entries, and where steps grow from one hour to six an entry may have
    only a longer one.
    """
    for name, hours in (("next_1_hours", 1), ("next_6_hours", 6)):
        end_s = start_s + hours * 3600.0
        if name not in data or (following_s is not None and end_s > following_s):
            continue
        period = member(data, name, dict, "data")
        details = member(period, "details", dict, name) if "details" in period else {}
        amount_mm = _told(details, "precipitation_amount", units)
        rate = None if amount_mm is None else amount_mm / hours
        return sample(SampleKind.MEAN, start_s, end_s, precipitation_mm_h=rate)
    return None
