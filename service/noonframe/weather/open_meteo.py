"""Open-Meteo: irradiance by hour and quarter, cloud layers, UV index; and its ensembles with their members.

Cloud is told for the instant of its time label, radiation, UV index and precipitation for the hour or quarter
that ends there.  The documentation gives no such mark for `uv_index`; the server's source files it under
backward-averaged solar variables, so it is read as an hour's mean.
Sources: https://open-meteo.com/en/docs, https://open-meteo.com/en/docs/ensemble-api (parameters, valid times,
units), https://open-meteo.com/en/licence (attribution; the address without key is for non-commercial use).
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from noonframe.sky.forecast import Forecast, SampleKind, WeatherSample
from noonframe.weather.errors import UpstreamMalformed
from noonframe.weather.provider import HORIZON_S, AskedPlace, ProviderRequest, user_agent
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

ATTRIBUTION = "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0"
LOW_TOP_M, MID_TOP_M = 3000.0, 8000.0  # docs, "Hourly Parameter Definition": low up to 3 km, mid 3-8 km
HOUR_S, QUARTER_S = 3600, 900
AHEAD_HOURS = int(HORIZON_S // HOUR_S)
BEHIND_HOURS = 12  # a long exposure under cloud is integrated again from its start

UNITS = {
    "cloud_cover": "%",
    "cloud_cover_low": "%",
    "cloud_cover_mid": "%",
    "cloud_cover_high": "%",
    "shortwave_radiation": "W/m²",
    "diffuse_radiation": "W/m²",
    "precipitation": "mm",
    "uv_index": "",
    "uv_index_clear_sky": "",
}
INSTANTS = {
    "cloud_cover": "cloud_total",
    "cloud_cover_low": "cloud_low",
    "cloud_cover_mid": "cloud_mid",
    "cloud_cover_high": "cloud_high",
}
MEANS = {
    "shortwave_radiation": "global_w_m2",
    "diffuse_radiation": "diffuse_w_m2",
    "precipitation": "precipitation_mm_h",  # millimetres in one hour
    "uv_index": "uv_index",
    "uv_index_clear_sky": "uv_index_clear",
}
HOURLY = (*INSTANTS, "shortwave_radiation", "precipitation", "uv_index", "uv_index_clear_sky")
QUARTERLY = ("shortwave_radiation", "diffuse_radiation")
ENSEMBLE_HOURLY = ("cloud_cover", "shortwave_radiation")


@dataclass(frozen=True)
class OpenMeteo:
    """The forecast API: one best guess, irradiance also by the quarter."""

    base_url: str
    contact: str | None = None
    key: str | None = field(default=None, repr=False)
    name: str = "open-meteo"

    @property
    def identity(self) -> str:
        """See `Provider`."""
        return repr((self.base_url, self.contact, self.key))

    def request(self, place: AskedPlace) -> ProviderRequest:
        """See `Provider`."""
        query = {
            **_common(place),
            "hourly": ",".join(HOURLY),
            "minutely_15": ",".join(QUARTERLY),
            "forecast_minutely_15": str(AHEAD_HOURS * 4),
            "past_minutely_15": str(BEHIND_HOURS * 4),
        }
        headers = {"User-Agent": user_agent(self.contact)}
        return ProviderRequest(f"{self.base_url}/v1/forecast", query, headers, _secret(self.key))

    def read(self, body: bytes, place: AskedPlace, fetched_s: float, expires_s: float) -> Forecast:
        """See `Provider`."""
        answer = _opened(body)
        samples = [
            *_section(answer, "hourly", HOUR_S, HOURLY),
            *_section(answer, "minutely_15", QUARTER_S, QUARTERLY),
        ]
        return _forecast(
            answer,
            place,
            samples,
            provider=self.name,
            model="best_match",
            fetched_s=fetched_s,
            expires_s=expires_s,
        )


@dataclass(frozen=True)
class OpenMeteoEnsemble:
    """The ensemble API: hourly cloud and irradiance of a control run (member 0) and of each member."""

    base_url: str
    model: str
    contact: str | None = None
    key: str | None = field(default=None, repr=False)
    name: str = "open-meteo-ensemble"

    @property
    def identity(self) -> str:
        """See `Provider`."""
        return repr((self.base_url, self.contact, self.key))

    def request(self, place: AskedPlace) -> ProviderRequest:
        """See `Provider`."""
        query = {**_common(place), "hourly": ",".join(ENSEMBLE_HOURLY), "models": self.model}
        headers = {"User-Agent": user_agent(self.contact)}
        return ProviderRequest(f"{self.base_url}/v1/ensemble", query, headers, _secret(self.key))

    def read(self, body: bytes, place: AskedPlace, fetched_s: float, expires_s: float) -> Forecast:
        """See `Provider`."""
        answer = _opened(body)
        samples: list[WeatherSample | None] = []
        for count in (0, *_members(answer)):
            suffix = f"_member{count:02d}" if count else ""
            samples += _section(answer, "hourly", HOUR_S, ENSEMBLE_HOURLY, suffix=suffix, count=count)
        return _forecast(
            answer,
            place,
            samples,
            provider=self.name,
            model=self.model,
            fetched_s=fetched_s,
            expires_s=expires_s,
        )


def _common(place: AskedPlace) -> dict[str, str]:
    # local times come without offset, and one hour of the year twice: unix time cannot be misread
    return {
        "latitude": place.latitude_text,
        "longitude": place.longitude_text,
        "timeformat": "unixtime",
        "timezone": "GMT",
        "forecast_hours": str(AHEAD_HOURS),
        "past_hours": str(BEHIND_HOURS),
    }


def _secret(key: str | None) -> Mapping[str, str]:
    return {"apikey": key} if key else {}


def _opened(body: bytes) -> dict[str, Any]:
    answer = json_object(body)
    if answer.get("error"):
        raise UpstreamMalformed("the answer is an error message under a status of success")
    if number(answer.get("utc_offset_seconds"), "utc_offset_seconds") != 0.0:
        raise UpstreamMalformed("times are counted in local time, not in unix time")
    return answer


def _members(answer: dict[str, Any]) -> list[int]:
    names = member(answer, "hourly", dict, "answer")
    found = (re.fullmatch(r"shortwave_radiation_member(\d\d)", str(name)) for name in names)
    return sorted(int(match[1]) for match in found if match)


def _times(section: dict[str, Any], units: dict[str, Any], name: str, step_s: int) -> list[float]:
    if units.get("time") != "unixtime":
        raise UpstreamMalformed(f"{name}.time is in {units.get('time')!r}, not in unixtime")
    times = [number(t, f"{name}.time") for t in member(section, "time", list, name)]
    if any(after - before != step_s for before, after in pairwise(times)):
        raise UpstreamMalformed(f"{name}.time does not go in steps of {step_s} s")
    return times


def _section(
    answer: dict[str, Any],
    name: str,
    step_s: int,
    variables: Sequence[str],
    *,
    suffix: str = "",
    count: int = 0,
) -> list[WeatherSample | None]:
    section = member(answer, name, dict, "answer")
    units = member(answer, f"{name}_units", dict, "answer")
    times = _times(section, units, name, step_s)
    columns: dict[str, list[float | None]] = {}
    for variable in variables:
        full = variable + suffix
        where = f"{name}.{full}"
        if units.get(full) != UNITS[variable]:
            raise UpstreamMalformed(f"{where} is in {units.get(full)!r}, not in {UNITS[variable]!r}")
        column = [number_or_none(value, where) for value in member(section, full, list, name)]
        if len(column) != len(times):
            raise UpstreamMalformed(f"{where} has {len(column)} values for {len(times)} times")
        columns[variable] = column
    found: list[WeatherSample | None] = []
    for row, time_s in enumerate(times):
        instant = {INSTANTS[v]: share(columns[v][row]) for v in variables if v in INSTANTS}
        mean = {MEANS[v]: columns[v][row] for v in variables if v in MEANS}
        found.append(sample(SampleKind.INSTANT, time_s, time_s, member=count, **instant))
        found.append(sample(SampleKind.MEAN, time_s - step_s, time_s, member=count, **mean))
    return found


def _forecast(
    answer: dict[str, Any],
    place: AskedPlace,
    samples: Sequence[WeatherSample | None],
    *,
    provider: str,
    model: str,
    fetched_s: float,
    expires_s: float,
) -> Forecast:
    latitude_deg = number(answer.get("latitude"), "latitude")
    longitude_deg = number(answer.get("longitude"), "longitude")
    check_cell(latitude_deg, longitude_deg, place)
    return Forecast(
        provider=provider,
        model=model,
        attribution=ATTRIBUTION,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        issued_s=None,
        fetched_s=fetched_s,
        expires_s=expires_s,
        low_top_m=LOW_TOP_M,
        mid_top_m=MID_TOP_M,
        samples=in_order(samples, fetched_s),
    )
