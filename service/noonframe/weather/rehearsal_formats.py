"""A scripted sky in the words of the providers, field by field as their documentation shows them.

Sources: https://open-meteo.com/en/docs ("JSON Return Object", "Errors"), https://open-meteo.com/en/docs/ensemble-api,
https://docs.api.met.no/doc/ForecastJSON.html and https://docs.api.met.no/doc/locationforecast/datamodel.html.
"""

import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import numpy as np

from noonframe.sun.place import Place
from noonframe.sun.position import sun_track
from noonframe.types import FloatArray
from noonframe.weather.open_meteo import INSTANTS, UNITS
from noonframe.weather.rehearsal_sky import IntervalLight, ScriptedSky, clear_uv_index, mean_light

HOUR_S, QUARTER_S = 3600, 900
MEMBERS = 20
MEMBER_SPREAD_S = 180.0  # how far apart in time the members see the same clouds
CELLS_PER_DEG = 8
FINE_HOURS, ALL_HOURS = 60, 216  # hourly for two and a half days, then in steps of six hours up to nine days
UV_HOURS = 48


def open_meteo_answer(query: Mapping[str, str], sky: ScriptedSky, now_s: float, members: int = 0) -> bytes:
    """A forecast (or with `members` an ensemble) for a checked query, written without blanks."""
    latitude_deg = round(float(query["latitude"]) * CELLS_PER_DEG) / CELLS_PER_DEG
    longitude_deg = round(float(query["longitude"]) * CELLS_PER_DEG) / CELLS_PER_DEG
    place = Place(latitude_deg, longitude_deg, sky.elevation_m)
    answer: dict[str, Any] = {
        "latitude": latitude_deg,
        "longitude": longitude_deg,
        "generationtime_ms": 0.0871,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": sky.elevation_m,
    }
    for name, unit_name, step_s in (("minutely_15", "minutely_15", QUARTER_S), ("hourly", "hours", HOUR_S)):
        if name not in query:
            continue
        first = math.floor(now_s / step_s) - int(query.get(f"past_{unit_name}", 0))
        last = math.floor(now_s / step_s) + int(query.get(f"forecast_{unit_name}", 7 * 86400 // step_s))
        times = np.arange(first, last, dtype=np.float64) * step_s
        units, columns = {"time": "unixtime"}, {"time": [int(t) for t in times]}
        for count in range(members + 1):
            shift_s = (count - (members + 1) / 2.0) * MEMBER_SPREAD_S if count else 0.0
            light = mean_light(sky, place, times, step_s, shift_s)
            for variable in query[name].split(","):
                full = f"{variable}_member{count:02d}" if count else variable
                units[full] = UNITS[variable]
                columns[full] = _column(variable, sky, times + shift_s, light, step_s)
        answer |= {f"{name}_units": units, name: columns}
    return json.dumps(answer, separators=(",", ":"), ensure_ascii=False).encode()


def _column(
    variable: str, sky: ScriptedSky, sky_time_s: FloatArray, light: IntervalLight, step_s: int
) -> list[Any]:
    if variable == "cloud_cover":
        return [round(100.0 * float(v)) for v in sky.cloud_total(sky_time_s)]
    if variable in INSTANTS:
        return [round(100.0 * float(v)) for v in sky.at(sky_time_s)[INSTANTS[variable]]]
    values, digits = {
        "shortwave_radiation": (light.global_w_m2, 1),
        "diffuse_radiation": (light.diffuse_w_m2, 1),
        "precipitation": (light.precipitation_mm_h * step_s / HOUR_S, 2),
        "uv_index": (light.uv_index, 2),
        "uv_index_clear_sky": (light.uv_index_clear, 2),
    }[variable]
    return [round(float(v), digits) for v in values]


def met_norway_answer(query: Mapping[str, str], sky: ScriptedSky, issued_s: float, now_s: float) -> bytes:
    """A complete Locationforecast for a checked query."""
    latitude_deg, longitude_deg = float(query["lat"]), float(query["lon"])
    place = Place(latitude_deg, longitude_deg, sky.elevation_m)
    begin = math.floor(now_s / HOUR_S)
    fine = begin + FINE_HOURS
    coarse = range(math.ceil(fine / 6) * 6, begin + ALL_HOURS, 6)
    hours = [*range(begin, coarse[0]), *coarse]
    times = np.array(hours, dtype=np.float64) * HOUR_S
    now, total = sky.at(times), sky.cloud_total(times)
    uv_clear = clear_uv_index(sun_track(place, times).zenith_deg)
    rain_mm = {
        h: h * mean_light(sky, place, times + h * HOUR_S, h * HOUR_S).precipitation_mm_h for h in (1, 6)
    }
    series = []
    for row, hour in enumerate(hours):
        details = {
            "air_pressure_at_sea_level": 1018.2,
            "air_temperature": 18.4,
            "cloud_area_fraction": round(100.0 * float(total[row]), 1),
            "cloud_area_fraction_high": round(100.0 * float(now["cloud_high"][row]), 1),
            "cloud_area_fraction_low": round(100.0 * float(now["cloud_low"][row]), 1),
            "cloud_area_fraction_medium": round(100.0 * float(now["cloud_mid"][row]), 1),
            "fog_area_fraction": round(100.0 * float(now["fog"][row]), 1),
            "relative_humidity": 61.0,
        }
        if hour < begin + UV_HOURS:
            details["ultraviolet_index_clear_sky"] = round(float(uv_clear[row]), 1)
        data: dict[str, Any] = {"instant": {"details": details}}
        gap = hours[row + 1] - hour if row + 1 < len(hours) else None
        for length in (1, 6):
            if gap is not None and gap <= length and hour + length <= hours[-1]:
                amount = {"precipitation_amount": round(float(rain_mm[length][row]), 1)}
                data[f"next_{length}_hours"] = {"summary": {"symbol_code": "cloudy"}, "details": amount}
        series.append({"time": utc_text(hour * HOUR_S), "data": data})
    units = {
        "air_pressure_at_sea_level": "hPa",
        "air_temperature": "celsius",
        "cloud_area_fraction": "%",
        "cloud_area_fraction_high": "%",
        "cloud_area_fraction_low": "%",
        "cloud_area_fraction_medium": "%",
        "fog_area_fraction": "%",
        "precipitation_amount": "mm",
        "relative_humidity": "%",
        "ultraviolet_index_clear_sky": "1",
    }
    answer = {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude_deg, latitude_deg, round(sky.elevation_m)]},
        "properties": {"meta": {"updated_at": utc_text(issued_s), "units": units}, "timeseries": series},
    }
    return json.dumps(answer, separators=(",", ":")).encode()


def utc_text(unix_s: float) -> str:
    """A time as MET Norway writes it."""
    return datetime.fromtimestamp(unix_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
