"""MET Norway's answers field by field; the example has the numbers of https://docs.api.met.no/doc/ForecastJSON.html."""

import copy
import json
from datetime import UTC, datetime

import pytest

from noonframe.errors import OutOfDomain
from noonframe.sky.forecast import SampleKind
from noonframe.weather.errors import UpstreamMalformed
from noonframe.weather.met_norway import MetNorway
from noonframe.weather.provider import AskedPlace

CONTACT = "printer@quayside.example"
PLACE = AskedPlace.near(60.1, 10.0)
T0 = datetime(2020, 6, 10, 13, tzinfo=UTC).timestamp()

DOCUMENTED = {
    "type": "Feature",
    # "Geographical metadata": longitude, latitude, altitude
    "geometry": {"type": "Point", "coordinates": [10, 60.1, 267]},
    "properties": {
        # "Forecast metadata": when the forecast was updated, and the unit of every variable
        "meta": {
            "updated_at": "2020-06-10T13:04:26Z",
            "units": {
                "air_pressure_at_sea_level": "hPa",
                "air_temperature": "celsius",
                "cloud_area_fraction": "%",
                "cloud_area_fraction_high": "%",
                "cloud_area_fraction_low": "%",
                "cloud_area_fraction_medium": "%",
                "fog_area_fraction": "%",
                "precipitation_amount": "mm",
                "probability_of_precipitation": "%",
                "relative_humidity": "%",
                "ultraviolet_index_clear_sky": "1",
            },
        },
        "timeseries": [
            {
                "time": "2020-06-10T13:00:00Z",
                "data": {
                    # "Parameters for a single point in time"
                    "instant": {
                        "details": {
                            "air_pressure_at_sea_level": 1020.5,
                            "air_temperature": 20.7,
                            "cloud_area_fraction": 58.0,
                            "cloud_area_fraction_high": 47.7,
                            "cloud_area_fraction_low": 17.7,
                            "cloud_area_fraction_medium": 1.7,
                            "dew_point_temperature": 9.5,
                            "fog_area_fraction": 0.0,
                            "relative_humidity": 48.6,
                            "ultraviolet_index_clear_sky": 4.7,
                            "wind_speed": 2.5,
                        }
                    },
                    # "Parameters for a time period": from `time` onward
                    "next_12_hours": {
                        "summary": {"symbol_code": "partlycloudy_day"},
                        "details": {"probability_of_precipitation": 2.2},
                    },
                    "next_1_hours": {
                        "summary": {"symbol_code": "partlycloudy_day"},
                        "details": {"precipitation_amount": 0.0, "probability_of_precipitation": 0.0},
                    },
                    "next_6_hours": {
                        "summary": {"symbol_code": "partlycloudy_day"},
                        "details": {"precipitation_amount": 1.2},
                    },
                },
            },
            # "Aggregation periods": an entry before a gap of six hours has no next_1_hours
            {
                "time": "2020-06-10T14:00:00Z",
                "data": {
                    "instant": {"details": {"cloud_area_fraction": 61.0}},
                    "next_6_hours": {"details": {"precipitation_amount": 3.0}},
                },
            },
            # the last entry has instants only
            {
                "time": "2020-06-10T20:00:00Z",
                "data": {"instant": {"details": {"cloud_area_fraction": 90.0}}},
            },
        ],
    },
}


def documented() -> dict:
    return copy.deepcopy(DOCUMENTED)


def read(body: dict, place=PLACE):
    provider = MetNorway("https://api.met.no/weatherapi", CONTACT)
    return provider.read(json.dumps(body).encode(), place, T0, T0 + 1800)


def series(body: dict) -> list:
    return body["properties"]["timeseries"]


def details(body: dict, row: int = 0) -> dict:
    return series(body)[row]["data"]["instant"]["details"]


def test_layers_fog_and_clear_uv_index_hold_at_the_entry_s_time():
    first = next(s for s in read(documented()).samples if s.kind is SampleKind.INSTANT)
    assert (first.start_s, first.end_s) == (T0, T0)
    assert (first.cloud_low, first.cloud_mid, first.cloud_high) == pytest.approx((0.177, 0.017, 0.477))
    assert (first.cloud_total, first.fog, first.uv_index_clear) == (0.58, 0.0, 4.7)
    assert first.global_w_m2 is None
    assert first.uv_index is None


def test_precipitation_looks_forward_and_long_periods_do_not_overlap_short_ones():
    rain = {
        (s.start_s - T0, s.end_s - T0): s.precipitation_mm_h
        for s in read(documented()).samples
        if s.kind is SampleKind.MEAN
    }
    assert rain == {(0, 3600): 0.0, (3600, 7 * 3600): 0.5}


def test_a_long_period_that_overlaps_the_next_entries_is_left_out():
    body = documented()
    del series(body)[0]["data"]["next_1_hours"]
    means = [s.start_s - T0 for s in read(body).samples if s.kind is SampleKind.MEAN]
    assert means == [3600]


def test_what_comes_with_the_samples():
    forecast = read(documented())
    assert forecast.issued_s == datetime(2020, 6, 10, 13, 4, 26, tzinfo=UTC).timestamp()
    assert (forecast.latitude_deg, forecast.longitude_deg) == (60.1, 10)
    # datamodel, "Variables": low below 2000 m, medium to 5000 m above the ground
    assert (forecast.low_top_m, forecast.mid_top_m) == (2000, 5000)
    # License: credit and link to the licence
    assert "MET Norway" in forecast.attribution
    assert "CC BY 4.0" in forecast.attribution


def test_any_variable_may_be_missing():
    body = documented()
    for name in ("fog_area_fraction", "ultraviolet_index_clear_sky", "cloud_area_fraction_low"):
        del details(body)[name]
        del body["properties"]["meta"]["units"][name]
    first = read(body).samples[0]
    assert (first.fog, first.uv_index_clear, first.cloud_low, first.cloud_total) == (None, None, None, 0.58)


def test_entries_beyond_three_days_are_left_out():
    body = documented()
    far = copy.deepcopy(series(body)[2])
    far["time"] = "2020-06-14T00:00:00Z"
    series(body).append(far)
    assert max(s.start_s for s in read(body).samples) == T0 + 7 * 3600


BROKEN = {
    "another place": lambda b: b["geometry"].update(coordinates=[60.1, 10, 267]),  # latitude first
    "no point": lambda b: b["geometry"].update(type="Polygon"),
    "one coordinate": lambda b: b["geometry"].update(coordinates=[10]),
    "no geometry": lambda b: b.pop("geometry"),
    "no update time": lambda b: b["properties"]["meta"].pop("updated_at"),
    "a time without zone": lambda b: series(b)[0].update(time="2020-06-10T13:00:00"),
    "a time of another zone": lambda b: series(b)[0].update(time="2020-06-10T13:00:00+02:00"),
    "a time that never was": lambda b: series(b)[0].update(time="2020-02-30T13:00:00Z"),
    "times that go back": lambda b: series(b).reverse(),
    "a doubled time": lambda b: series(b).insert(0, copy.deepcopy(series(b)[0])),
    "an entry that is no object": lambda b: series(b).insert(0, 5),
    "no instant": lambda b: series(b)[0]["data"].pop("instant"),
    "no entries": lambda b: series(b).clear(),
    "fractions for percent": lambda b: b["properties"]["meta"]["units"].update(cloud_area_fraction_low="1"),
    "no unit": lambda b: b["properties"]["meta"]["units"].pop("fog_area_fraction"),
    "inches": lambda b: b["properties"]["meta"]["units"].update(precipitation_amount="in"),
    "a text": lambda b: details(b).update(fog_area_fraction="0.0"),
    "more than all sky": lambda b: details(b).update(cloud_area_fraction=100.5),
    "negative UV": lambda b: details(b).update(ultraviolet_index_clear_sky=-1),
    "a period that is no object": lambda b: series(b)[0]["data"].update(next_1_hours=3),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_whatever_breaks_the_format_is_refused(fault):
    body = documented()
    BROKEN[fault](body)
    with pytest.raises(UpstreamMalformed):
        read(body)


def test_the_request_is_short_and_says_who_asks():
    request = MetNorway("https://api.met.no/weatherapi", CONTACT).request(AskedPlace.near(-45.8742, 170.5036))
    assert request.url == "https://api.met.no/weatherapi/locationforecast/2.0/complete"
    assert dict(request.query) == {"lat": "-45.87", "lon": "170.50"}
    # Terms of Service, "Identification": application, version, and where to reach its operator
    assert request.headers["User-Agent"].startswith("noonframe/")
    assert request.headers["User-Agent"].endswith(f" {CONTACT}")


def test_without_contact_it_cannot_be_made():
    with pytest.raises(OutOfDomain) as caught:
        MetNorway("https://api.met.no/weatherapi", "")
    assert caught.value.field == "weather_contact"
