"""Open-Meteo's answers field by field.

Form and key order after https://open-meteo.com/en/docs, "JSON Return Object", and the server's JSON writer:
units beside each section, `null` for what is missing, cell coordinates instead of the asked ones.
"""

import json

import pytest

from noonframe.sky.forecast import SampleKind
from noonframe.weather.errors import UpstreamMalformed
from noonframe.weather.open_meteo import OpenMeteo, OpenMeteoEnsemble
from noonframe.weather.provider import AskedPlace

HELSINKI = AskedPlace.near(60.17, 24.94)
T0 = 1782036000  # 2026-06-21T10:00Z


def documented() -> dict:
    hours, quarters = [T0, T0 + 3600], [T0, T0 + 900, T0 + 1800]
    return {
        # docs, "JSON Return Object": centre of the grid cell, may lie a few kilometres off
        "latitude": 60.25,
        "longitude": 25.0,
        "generationtime_ms": 0.0871,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 15.0,
        # docs, "15-Minutely Parameter Definition": radiation is the mean of the preceding 15 minutes
        "minutely_15_units": {
            "time": "unixtime",
            "shortwave_radiation": "W/m²",
            "diffuse_radiation": "W/m²",
        },
        "minutely_15": {
            "time": quarters,
            "shortwave_radiation": [512.0, 520.5, None],
            "diffuse_radiation": [130.0, 0.0, None],
        },
        # docs, "Hourly Parameter Definition": cloud is "Instant", radiation "Preceding hour mean",
        # precipitation "Preceding hour sum"
        "hourly_units": {
            "time": "unixtime",
            "cloud_cover": "%",
            "cloud_cover_low": "%",
            "cloud_cover_mid": "%",
            "cloud_cover_high": "%",
            "shortwave_radiation": "W/m²",
            "precipitation": "mm",
            "uv_index": "",
            "uv_index_clear_sky": "",
        },
        "hourly": {
            "time": hours,
            "cloud_cover": [37, 12],
            "cloud_cover_low": [5, None],
            "cloud_cover_mid": [0, 0],
            "cloud_cover_high": [100, 12],
            "shortwave_radiation": [512.0, 604.3],
            "precipitation": [0.0, 0.4],
            "uv_index": [3.15, 4.2],
            "uv_index_clear_sky": [3.9, None],
        },
    }


def ensemble() -> dict:
    # https://open-meteo.com/en/docs/ensemble-api: the control run under the plain name, members numbered
    # with two digits after it
    names = [
        f"{v}{m}" for v in ("cloud_cover", "shortwave_radiation") for m in ("", "_member01", "_member02")
    ]
    units = {n: "%" if n.startswith("cloud") else "W/m²" for n in names}
    columns = {n: [10.0 * k, 5.0 * k] for k, n in enumerate(names)}
    body = {k: v for k, v in documented().items() if not k.startswith(("hourly", "minutely"))}
    times = [T0, T0 + 3600]
    return {**body, "hourly_units": {"time": "unixtime", **units}, "hourly": {"time": times, **columns}}


def read(body: object, provider=None, place=HELSINKI, fetched_s=float(T0)):
    provider = provider or OpenMeteo("https://api.open-meteo.com")
    data = body if isinstance(body, bytes) else json.dumps(body, ensure_ascii=False).encode()
    return provider.read(data, place, fetched_s, fetched_s + 900)


def only(forecast, kind, start_s, end_s):
    found = [s for s in forecast.samples if (s.kind, s.start_s, s.end_s) == (kind, start_s, end_s)]
    assert len(found) == 1
    return found[0]


def test_cloud_holds_at_its_time_label():
    sample = only(read(documented()), SampleKind.INSTANT, T0, T0)
    assert (sample.cloud_total, sample.cloud_low, sample.cloud_mid, sample.cloud_high) == (0.37, 0.05, 0, 1)
    assert sample.global_w_m2 is None
    assert sample.uv_index is None


def test_radiation_and_uv_index_are_means_of_the_hour_before_the_label():
    sample = only(read(documented()), SampleKind.MEAN, T0, T0 + 3600)
    assert (sample.global_w_m2, sample.uv_index, sample.precipitation_mm_h) == (604.3, 4.2, 0.4)
    assert sample.cloud_total is None


def test_quarters_are_means_of_the_quarter_before_the_label():
    forecast = read(documented())
    sample = only(forecast, SampleKind.MEAN, T0 - 900, T0)
    assert (sample.global_w_m2, sample.diffuse_w_m2) == (512.0, 130.0)
    assert only(forecast, SampleKind.MEAN, T0, T0 + 900).diffuse_w_m2 == 0.0


def test_holes_stay_holes():
    forecast = read(documented())
    assert only(forecast, SampleKind.INSTANT, T0 + 3600, T0 + 3600).cloud_low is None
    assert only(forecast, SampleKind.MEAN, T0, T0 + 3600).uv_index_clear is None
    assert not [s for s in forecast.samples if s.end_s == T0 + 1800]  # a row of nothing is no sample


def test_what_comes_with_the_samples():
    forecast = read(documented())
    assert (forecast.latitude_deg, forecast.longitude_deg) == (60.25, 25.0)
    assert (forecast.provider, forecast.issued_s) == ("open-meteo", None)
    assert (forecast.fetched_s, forecast.expires_s) == (T0, T0 + 900)
    # docs: low cloud and fog up to 3 km, mid 3 to 8 km
    assert (forecast.low_top_m, forecast.mid_top_m) == (3000, 8000)
    assert "Open-Meteo.com" in forecast.attribution
    assert "CC BY 4.0" in forecast.attribution
    starts = [s.start_s for s in forecast.samples]
    assert starts == sorted(starts)


def test_an_ensemble_gives_its_control_run_as_member_0_and_the_others_by_number():
    provider = OpenMeteoEnsemble("https://ensemble-api.open-meteo.com", "icon_seamless_eps")
    forecast = read(ensemble(), provider)
    means = {s.member: s.global_w_m2 for s in forecast.samples if s.kind is SampleKind.MEAN and s.end_s == T0}
    assert means == {0: 30.0, 1: 40.0, 2: 50.0}
    covers = {
        s.member: s.cloud_total for s in forecast.samples if s.kind is SampleKind.INSTANT and s.end_s == T0
    }
    assert covers == {0: 0.0, 1: 0.1, 2: 0.2}
    assert forecast.model == "icon_seamless_eps"


def test_an_ensemble_whose_members_do_not_match_is_refused():
    body = ensemble()
    del body["hourly"]["cloud_cover_member02"]
    with pytest.raises(UpstreamMalformed, match="cloud_cover_member02"):
        read(body, OpenMeteoEnsemble("https://e.invalid", "icon_seamless_eps"))


def test_only_what_is_needed_is_asked_for():
    request = OpenMeteo("https://api.open-meteo.com", "a@b.example", "secret-key").request(
        AskedPlace.near(41.14961, -8.61099)
    )
    asked = {**request.query}
    assert request.url == "https://api.open-meteo.com/v1/forecast"
    # https://open-meteo.com/en/pricing: beyond ten variables a call counts for more than one
    assert len((asked["hourly"] + "," + asked["minutely_15"]).split(",")) <= 10
    assert (asked["latitude"], asked["longitude"]) == ("41.15", "-8.61")
    assert (asked["timeformat"], asked["timezone"]) == ("unixtime", "GMT")
    assert (asked["forecast_hours"], asked["forecast_minutely_15"]) == ("72", "288")
    assert request.secret == {"apikey": "secret-key"}
    assert "secret-key" not in repr(request)


@pytest.mark.parametrize(
    ("section", "name", "unit"),
    [
        ("hourly", "shortwave_radiation", "MJ/m²"),
        ("hourly", "cloud_cover", ""),
        ("hourly", "precipitation", "inch"),
        ("minutely_15", "diffuse_radiation", None),
        ("hourly", "time", "iso8601"),
    ],
)
def test_a_foreign_unit_is_refused_by_name(section, name, unit):
    body = documented()
    body[f"{section}_units"][name] = unit
    with pytest.raises(UpstreamMalformed, match=f"{section}.{name}"):
        read(body)


BROKEN = {
    "no longer the asked place": lambda b: b.update(longitude=12.0),
    "not on earth": lambda b: b.update(latitude=91.0),
    "local times": lambda b: b.update(utc_offset_seconds=10800),
    "no offset told": lambda b: b.pop("utc_offset_seconds"),
    "a section missing": lambda b: b.pop("minutely_15"),
    "units missing": lambda b: b.pop("hourly_units"),
    "a column missing": lambda b: b["hourly"].pop("uv_index"),
    "a column too short": lambda b: b["hourly"]["uv_index"].pop(),
    "a column too long": lambda b: b["hourly"]["uv_index"].append(1.0),
    "a text for a number": lambda b: b["hourly"]["uv_index"].__setitem__(0, "3.15"),
    "a truth value for a number": lambda b: b["hourly"]["cloud_cover"].__setitem__(0, True),
    "a list for a number": lambda b: b["hourly"]["cloud_cover"].__setitem__(0, [1]),
    "a time that is none": lambda b: b["hourly"]["time"].__setitem__(0, None),
    "times that jump": lambda b: b["hourly"].update(time=[T0, T0 + 7200]),
    "times that go back": lambda b: b["hourly"].update(time=[T0, T0 - 3600]),
    "more than all sky": lambda b: b["hourly"]["cloud_cover"].__setitem__(0, 101),
    "negative light": lambda b: b["hourly"]["shortwave_radiation"].__setitem__(0, -5.0),
    "negative rain": lambda b: b["hourly"]["precipitation"].__setitem__(0, -0.1),
    "beyond all numbers": lambda b: b["hourly"]["uv_index"].__setitem__(0, 10**400),
    "an error under success": lambda b: b.update(error=True, reason="late"),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_whatever_breaks_the_format_is_refused(fault):
    body = documented()
    BROKEN[fault](body)
    with pytest.raises(UpstreamMalformed):
        read(body)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "not complete JSON"),
        (b'{"latitude":60.25', "not complete JSON"),
        (b'{"hourly":{"time":[1,2Unexpected error while streaming data: x', "error message"),
        (b"[]", "not a JSON object"),
        (b'{"latitude":Infinity}', "Infinity"),
        (b'{"latitude":"\xff"}', "not complete JSON"),
    ],
)
def test_a_body_that_is_no_json_object_is_refused(body, says):
    with pytest.raises(UpstreamMalformed, match=says):
        read(body)


def test_an_answer_that_ends_before_the_present_is_refused():
    with pytest.raises(UpstreamMalformed, match="before the present"):
        read(documented(), fetched_s=T0 + 7200.0)


def test_places_near_the_antimeridian_and_the_poles_match_their_cells():
    body = documented()
    body.update(latitude=-17.75, longitude=179.875)
    assert read(body, place=AskedPlace.near(-17.8, -179.99)).longitude_deg == 179.875
    body.update(latitude=89.75, longitude=100.0)
    assert read(body, place=AskedPlace.near(89.99, -60.0)).latitude_deg == 89.75
