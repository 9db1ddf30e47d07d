"""Whatever is wrong with a request, the answer names the field, what was sent and what it must be."""

import json

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from noonframe.api.problems import MEDIA_TYPE

YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61}
LIGHT = {**YARD, "start": "2026-06-21T12:00:00Z", "end": "2026-06-21T13:00:00Z", "step_s": 600}
GOOD = {
    "/v1/light": LIGHT,
    "/v1/exposure": {**YARD, "start": "2026-06-21T12:00:00Z", "target_j_m2": 24000},
    "/v1/say": {**YARD, "start": "2026-06-21T12:00:00Z", "target_j_m2": 24000},
    "/v1/slots": {**YARD, "date": "2026-06-21", "target_j_m2": 24000},
}
BODIES = ("/v1/light", "/v1/exposure", "/v1/slots")

NOT_NUMBERS = [
    "nan",
    "NaN",
    "inf",
    "-inf",
    "Infinity",
    "1e400",
    "-1e400",
    "",
    " ",
    "x",
    "1,5",
    "0x10",
    "٤١",
    "４１",
    "41°",
    "[41]",
    "null",
    "None",
    "true",
    "1\x00",
]
NUMBERS = {
    "latitude_deg": ["90", "-90", "90.0001", "-91", "1e300"],
    "longitude_deg": ["181", "-180.1", "360"],
    "elevation_m": ["-451", "5501", "9999"],
    "ozone_du": ["99", "601", "-1"],
    "aerosol_optical_depth": ["-0.1", "2.1"],
    "ground_albedo": ["-0.1", "1.1"],
    "near_ground_albedo": ["-0.1", "1.1"],
    "cloud_optical_depth": ["-1", "129"],
    "tilt_deg": ["-1", "91"],
    "aim_azimuth_deg": ["-1", "361"],
}
TARGETS = {
    "target_j_m2": ["0", "-1", "0.5", "1e9"],
    "target_spread_stops": ["-0.1", "4.1"],
    "reciprocity_exponent": ["0.69", "1.2", "0"],
}
TIMES = [
    "2026-06-21T12:00:00",  # no offset
    "2026-06-21",
    "2026-06-21 12:00:00Z",
    "2026-06-21T12:00:00 01:00",  # a plus sign that became a space
    "2026-06-21T12:00Z",
    "1800-01-01T00:00:00Z",
    "9999-12-31T23:59:59Z",
    "9999-12-31T23:59:59-14:00",
    "0000-01-01T00:00:00Z",
    "0001-01-01T00:00:00+14:00",
    "2026-06-31T12:00:00Z",
    "2025-02-29T12:00:00Z",
    "2026-06-21T24:30:00Z",
    "2016-12-31T23:59:60Z",  # a leap second
    "2026-06-21T12:00:00+24:00",
    "2026-06-21T12:00:00+01:60",
    "２０２６-06-21T12:00:00Z",
    "1782043200",
    "now",
    "",
    "2026-06-21T12:00:00Z\x00",
    "2026-06-21T12:00:00Z" * 50,
]
NAMES = {
    "sky": ["", "Clear", "blue", "x" * 101, "clear\n", "\x00"],
    "sensitizer": ["", "unknown", "citrate-classic,", "x" * 101, "../../etc/passwd", "\x1b[31m"],
    "stack": [
        "",
        "none,none",
        "float-glass-4mm,",
        ",",
        "glass",
        "x" * 401,
        "none,float-glass-4mm",
        ",".join(["float-glass-4mm"] * 9),
        "\ud7ff",
    ],
    "time_zone": ["", "Nowhere/City", "../../etc/passwd", "/etc/passwd", "Europe", "UTC\x00", "x" * 101],
    "place": [
        "",
        " ",
        "Nowhereburg-on-Sea",
        "x" * 101,
        "91,0",
        "geo:nan,0",
        "geo:90,0",
        "41.15",
        "\u202e",
        "\x07",
    ],
}


def bad_fields():
    for field, values in NUMBERS.items():
        for value in [*NOT_NUMBERS, *values]:
            yield from ((path, field, value) for path in GOOD)
    for field, values in TARGETS.items():
        for value in [*NOT_NUMBERS, *values]:
            yield from ((path, field, value) for path in GOOD if path != "/v1/light")
    for field, values in NAMES.items():
        if field != "place":
            yield from ((path, field, value) for path in GOOD for value in values)
    for value in TIMES:
        yield from (("/v1/light", "start", value), ("/v1/light", "end", value))
        yield from ((path, "start", value) for path in ("/v1/exposure", "/v1/say"))
    for value in [*NOT_NUMBERS, "0", "-1", "0.5", "86401"]:
        yield "/v1/light", "step_s", value
    for value in [
        "2026-06-31",
        "2026-6-1",
        "20260621",
        "0",
        "2026-06-21T00:00:00",
        "1800-01-01",
        "9999-01-01",
        "",
        "today",
        "２０２６-06-21",
    ]:
        yield "/v1/slots", "date", value
    for value in [*NOT_NUMBERS, "0", "51", "1.5", "9" * 5000]:
        yield "/v1/slots", "limit", value


def assert_problem(response, status, field=None, *, echoed=None):
    """The response is a problem document that names `field`."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == MEDIA_TYPE
    problem = response.json()
    assert set(problem) == {"type", "title", "status", "detail", "instance", "errors", "request_id"}
    assert problem["request_id"] == response.headers["X-Request-ID"]
    assert problem["status"] == status
    assert problem["type"].startswith("urn:noonframe:problem:")
    assert problem["title"]
    assert problem["detail"]
    assert len(response.content) < 20_000
    for error in problem["errors"]:
        assert set(error) == {"field", "value", "limit"}
        assert error["limit"]
    if field is not None:
        found = {error["field"]: error for error in problem["errors"]}
        assert field in found, found
        if echoed is not None:
            assert str(found[field]["value"])[:60] == echoed[:60]
    return problem


@pytest.mark.parametrize("path", GOOD)
def test_a_bad_value_of_any_field_is_refused_by_name(caller, path):
    """One test for each path, since the cases are many and alike."""
    cases = [(field, value) for at, field, value in bad_fields() if at == path]
    assert len(cases) > 150
    for field, value in cases:
        response = caller.get(path, {**GOOD[path], field: value})
        assert response.status_code == 422, (field, value, response.text)
        assert_problem(response, 422, field)


@pytest.mark.parametrize("path", GOOD)
@pytest.mark.parametrize("value", NAMES["place"])
def test_a_bad_place_is_refused_by_name(caller, path, value):
    without = {name: v for name, v in GOOD[path].items() if name not in YARD}
    problem = caller.get(path, {**without, "place": value}).json()
    assert problem["status"] == 422
    assert {error["field"] for error in problem["errors"]} & {"place", "latitude_deg"}


@pytest.mark.parametrize("path", GOOD)
def test_what_is_missing_is_named(caller, path):
    without = {name: value for name, value in GOOD[path].items() if name != "longitude_deg"}
    assert_problem(caller.get(path, without), 422, "longitude_deg")
    nowhere = {name: value for name, value in GOOD[path].items() if name not in YARD}
    assert_problem(caller.get(path, nowhere), 422, "latitude_deg")


@pytest.mark.parametrize("field", ["start", "end", "step_s"])
def test_light_needs_its_span(caller, field):
    assert_problem(caller.get("/v1/light", {k: v for k, v in LIGHT.items() if k != field}), 422, field)


@pytest.mark.parametrize("path", [*GOOD, "/v1/materials", "/v1/places"])
def test_unknown_and_repeated_fields_are_refused_everywhere(caller, path):
    known = GOOD.get(path, {"name": "Porto"} if path == "/v1/places" else {})
    assert_problem(caller.get(path, {**known, "lattitude": 1}), 422, "lattitude", echoed="1")
    assert_problem(caller.get(path, "latitude_deg=1&latitude_deg=1"), 422, "latitude_deg")
    if path in BODIES:
        assert_problem(caller.post(f"{path}?step_s=1", GOOD[path]), 422, "step_s")
        assert_problem(caller.post(path, {**known, "lattitude": 1}), 422, "lattitude")


@pytest.mark.parametrize("path", GOOD)
def test_two_ways_of_saying_one_thing_exclude_each_other(caller, path):
    good = GOOD[path]
    assert_problem(caller.get(path, {**good, "place": "Porto, PT"}), 422, "place")
    assert_problem(caller.get(path, {**good, "sky": "clear", "cloud_optical_depth": 5}), 422, "sky")
    if path != "/v1/light":
        fields = {k: v for k, v in good.items() if k != "target_j_m2"}
        assert_problem(caller.get(path, {**fields, "target_spread_stops": 1}), 422, "target_spread_stops")


def test_spans_that_run_backward_or_are_too_long_are_refused(caller):
    assert_problem(caller.get("/v1/light", {**LIGHT, "end": "2026-06-21T11:59:59Z"}), 422, "end")
    assert_problem(
        caller.get("/v1/light", {**LIGHT, "end": "2126-06-21T12:00:00Z", "step_s": 86400}), 422, "end"
    )
    assert_problem(
        caller.get("/v1/light", {**LIGHT, "end": "2026-06-28T12:00:00Z", "step_s": 1}), 422, "step_s"
    )
    span = {**YARD, "target_j_m2": 24000, "start": "2026-06-21T12:00:00Z"}
    assert_problem(caller.get("/v1/slots", {**span, "end": "2026-06-21T11:00:00Z"}), 422, "end")
    assert_problem(caller.get("/v1/slots", {**span, "end": "2026-07-31T11:00:00Z"}), 422, "end")
    assert_problem(caller.get("/v1/slots", span), 422, "end")
    assert_problem(
        caller.get("/v1/slots", {**span, "date": "2026-06-21", "end": "2026-06-22T00:00:00Z"}), 422, "date"
    )


def test_limits_of_the_installation_hold_to_the_last_instant(caller_with):
    caller = caller_with(max_light_steps=7, max_span_days=2)
    assert caller.get("/v1/light", LIGHT).status_code == 200
    assert_problem(caller.get("/v1/light", {**LIGHT, "step_s": 500}), 422, "step_s")
    days = {**LIGHT, "step_s": 86400, "end": "2026-06-23T12:00:00Z"}
    assert caller.get("/v1/light", days).status_code == 200
    assert_problem(caller.get("/v1/light", {**days, "end": "2026-06-23T12:00:01Z"}), 422, "end")


def test_a_day_that_the_clocks_left_out_is_refused(caller):
    samoa = {"latitude_deg": -13.83, "longitude_deg": -171.76, "date": "2011-12-30", "target_j_m2": 24000}
    assert_problem(caller.get("/v1/slots", samoa), 422, "date")


def test_the_ends_of_the_years_that_are_known_are_answered(caller):
    for start in ("1901-01-01T00:00:00Z", "2197-12-31T23:59:59Z"):
        for target in (24000, 1e8):
            question = {**YARD, "start": start, "target_j_m2": target}
            assert caller.get("/v1/exposure", question).status_code == 200
    for date in ("1901-01-01", "2197-12-31"):
        assert caller.get("/v1/slots", {**YARD, "date": date, "target_j_m2": 1e8}).status_code == 200


@pytest.mark.parametrize(
    "edge",
    [
        {"latitude_deg": 89.9999, "longitude_deg": 180},
        {"latitude_deg": -89.9999, "longitude_deg": -180},
        {"latitude_deg": 0, "longitude_deg": 0, "elevation_m": 5500},
        {"latitude_deg": 31.5, "longitude_deg": 35.5, "elevation_m": -430},
        {**YARD, "ozone_du": 100, "aerosol_optical_depth": 2, "ground_albedo": 1, "cloud_optical_depth": 128},
        {**YARD, "ozone_du": 600, "aerosol_optical_depth": 0, "ground_albedo": 0, "cloud_optical_depth": 0},
        {**YARD, "tilt_deg": 90, "aim_azimuth_deg": 360, "near_ground_albedo": 1},
        {**YARD, "stack": "polycarbonate-3mm," * 7 + "polycarbonate-3mm"},
    ],
)
@pytest.mark.parametrize("path", GOOD)
def test_the_edges_of_every_range_are_answered(caller, path, edge):
    response = caller.get(path, {**GOOD[path], **edge})
    assert response.status_code == 200, response.text
    json.loads(response.text if path != "/v1/say" else "0", parse_constant=pytest.fail)


@pytest.mark.parametrize(
    ("query", "status", "field"),
    [
        (b"place=" + b"x" * 100_000, 414, "query"),
        (b"place=" + b"x" * 8000, 422, "place"),
        (b"&".join(b"f%d=1" % k for k in range(800)), 422, "f0"),
        (b"%FF%FE=%00&%F0%9F=1", 422, None),
        (b"\xff\xfe=\x00", 422, None),
        (b"&&&==&=", 422, ""),
        (b"latitude_deg[]=1&longitude_deg.x=2", 422, "latitude_deg[]"),
        (b"latitude_deg=1;longitude_deg=2", 422, "latitude_deg"),
        (b"LATITUDE_DEG=1", 422, "LATITUDE_DEG"),
        (b"%6catitude_deg=nan", 422, "latitude_deg"),
    ],
    ids=lambda value: str(value)[:20],
)
def test_long_and_odd_queries_are_refused_calmly(caller, query, status, field):
    answered, body = caller.raw("/v1/light", query)
    problem = json.loads(body)
    assert answered == problem["status"] == status
    assert len(body) < 20_000
    assert problem["errors"]
    if field is not None:
        assert field in {error["field"] for error in problem["errors"]}


def test_values_come_back_shortened(caller):
    problem = assert_problem(
        caller.get("/v1/exposure", {**GOOD["/v1/exposure"], "sensitizer": "y" * 4000}), 422, "sensitizer"
    )
    assert len(problem["errors"][0]["value"]) < 100


# Bodies

BAD_JSON_VALUES = [True, False, "41.15", [41.15], {}, {"deg": 41}, 10**400, "nan"]


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("value", BAD_JSON_VALUES, ids=str)
def test_a_number_in_a_body_must_be_a_number(caller, path, value):
    body = json.dumps({**GOOD[path], "latitude_deg": value}).encode()
    assert_problem(caller.post(path, body), 422, "latitude_deg")


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("value", [1, 1.5, True, None, ["none"], {}])
def test_a_text_in_a_body_must_be_a_text(caller, path, value):
    assert_problem(caller.post(path, {**GOOD[path], "sensitizer": value}), 422, "sensitizer")


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("value", [0, 1782043200, True, [], {}, "2026-06-21T12:00:00"])
def test_a_time_in_a_body_must_be_a_time(caller, path, value):
    assert_problem(caller.post(path, {**GOOD[path], "start": value}), 422, "start")


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"null",
        b"[]",
        b"1",
        b'"text"',
        b"true",
        b'{"latitude_deg": NaN}',
        b'{"latitude_deg": Infinity}',
        b'{"latitude_deg": 1e999}',
        b"{'latitude_deg': 1}",
        b'{"latitude_deg": 1,}',
        b"\xff\xfe\x00",
        b'{"place": "\\ud800"}',
        b'{"\\ud800": 1}',
        b"[" * 30_000,
        b'{"a":' * 5_000,
        b'{"spot":' * 500 + b"1" + b"}" * 500,
        b"[" * 900 + b"]" * 900,
        b'{"latitude_deg": ' + b"9" * 5000 + b"}",
        b"latitude_deg=41.15",
    ],
    ids=lambda body: body[:24],
)
def test_a_body_that_is_no_such_json_is_refused(caller, path, body):
    problem = assert_problem(caller.post(path, body), 422)
    assert problem["errors"]


@pytest.mark.parametrize("path", BODIES)
def test_equal_keys_in_a_body_are_refused_at_any_depth(caller, path):
    assert_problem(caller.post(path, b'{"latitude_deg": 1, "latitude_deg": 1}'), 422, "latitude_deg")
    assert_problem(
        caller.post(path, b'{"spot": {"kind": "open", "tilt_deg": 1, "tilt_deg": 2}}'), 422, "tilt_deg"
    )


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize(
    "kind",
    [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "",
        "json",
        "text/json",
    ],
)
def test_a_body_that_is_not_said_to_be_json_is_refused(caller, path, kind):
    response = caller.post(path, json.dumps(GOOD[path]).encode(), headers={"Content-Type": kind})
    assert_problem(response, 415, "Content-Type")


@pytest.mark.parametrize(
    "kind",
    ["application/json", "application/json; charset=utf-8", "APPLICATION/JSON", "application/vnd.x+json"],
)
def test_a_body_said_to_be_json_in_any_usual_way_is_read(caller, kind):
    response = caller.post("/v1/light", json.dumps(LIGHT).encode(), headers={"Content-Type": kind})
    assert response.status_code == 200


@pytest.mark.parametrize("path", BODIES)
def test_a_body_that_is_too_large_is_refused_whatever_length_it_states(caller_with, path):
    caller = caller_with(max_body_bytes=1024)
    exact = json.dumps(GOOD[path]).encode().ljust(1024)
    assert caller.post(path, exact).status_code == 200
    assert_problem(caller.post(path, exact + b" "), 413, "body")
    assert_problem(caller.post(path, b" " * 10_000_000), 413, "body")

    async def unending():
        for _ in range(100):
            yield b" " * 100

    chunked = caller.request("POST", path, content=unending(), headers={"Content-Type": "application/json"})
    assert_problem(chunked, 413, "body")


SPOTS = [
    ({"kind": "open", "tilt_deg": 91}, "spot.tilt_deg"),
    ({"kind": "open", "tilt_deg": "10"}, "spot.tilt_deg"),
    ({"kind": "open", "tilt_deg": True}, "spot.tilt_deg"),
    ({"kind": "open", "aim_azimuth_deg": -1}, "spot.aim_azimuth_deg"),
    ({"kind": "open", "slope": 1}, "spot.slope"),
    ({"kind": "open", "skyline": 5}, "spot.skyline"),
    ({"kind": "open", "skyline": []}, "spot.skyline"),
    ({"kind": "open", "skyline": [[90, 10], [80, 10]]}, "spot.skyline.1.azimuth_deg"),
    ({"kind": "open", "skyline": [[90, 10], [90, 10]]}, "spot.skyline.1.azimuth_deg"),
    ({"kind": "open", "skyline": [[360, 10]]}, "spot.skyline.0.azimuth_deg"),
    ({"kind": "open", "skyline": [[0, 91]]}, "spot.skyline.0.elevation_deg"),
    ({"kind": "open", "skyline": [[k / 3, 1] for k in range(721)]}, "spot.skyline"),
    ({"kind": "open", "skyline": [[0, "1"]]}, "spot.skyline.0.1"),
    ({"kind": "open", "skyline": [[0]]}, "spot.skyline.0.1"),
]


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize(("spot", "field"), SPOTS, ids=[field for _, field in SPOTS])
def test_a_bad_spot_is_refused_by_its_dotted_name(caller, path, spot, field):
    assert_problem(caller.post(path, {**GOOD[path], "spot": spot}), 422, field)


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("spot", [5, "open", [], {}, {"kind": "roof"}, {"kind": None}, {"tilt_deg": 10}])
def test_a_spot_of_no_known_kind_is_refused(caller, path, spot):
    problem = assert_problem(caller.post(path, {**GOOD[path], "spot": spot}), 422)
    assert all(error["field"].startswith("spot") for error in problem["errors"])


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("field", ["tilt_deg", "aim_azimuth_deg"])
def test_a_spot_and_a_tilt_beside_it_exclude_each_other(caller, path, field):
    assert_problem(caller.post(path, {**GOOD[path], field: 10, "spot": {"kind": "open"}}), 422, field)


# Addresses, methods and failures


@pytest.mark.parametrize(
    "path",
    [
        "/v1",
        "/v2/light",
        "/v1/light/",
        "/v1/Light",
        "/v1/light/x",
        "/favicon.ico",
        "/v1/%00",
        "/v1/\u00e9",
        "//v1/light",
    ],
)
def test_an_address_that_leads_nowhere_is_a_problem(caller, path):
    assert_problem(caller.get(path), 404)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
@pytest.mark.parametrize("path", ["/v1/light", "/v1/say", "/v1/materials", "/readyz", "/openapi.json"])
def test_a_method_that_is_not_taken_is_a_problem_that_tells_which_are(caller, method, path):
    response = caller.request(method, path)
    assert_problem(response, 405)
    assert "GET" in response.headers["allow"]


@pytest.mark.parametrize("path", ["/v1/light", "/v1/nowhere", "/readyz", "/openapi.json"])
def test_every_answer_carries_the_safe_headers(caller, path):
    response = caller.get(path)
    assert response.headers["x-content-type-options"] == "nosniff"
    assert response.headers["referrer-policy"] == "no-referrer"
    assert response.headers["cache-control"] == "no-store"
    assert len(response.headers.get_list("cache-control")) == 1


def test_a_failure_inside_is_a_problem_without_its_secrets(caller_with):
    caller = caller_with()
    app: FastAPI = caller.app

    @app.get("/v1/broken")
    async def broken() -> None:
        raise RuntimeError("a secret of the installation")

    response = caller.get("/v1/broken")
    problem = assert_problem(response, 500)
    assert "secret" not in response.text
    assert problem["instance"] == "/v1/broken"
    assert response.headers["x-content-type-options"] == "nosniff"
    assert response.headers["cache-control"] == "no-store"
    assert caller.get("/readyz").status_code == 200


def test_damaged_data_is_a_problem_that_names_the_file(caller_with, tmp_path):
    (tmp_path / "old.pane.csv").write_text("wavelength_nm,transmittance\n300,much\n", encoding="utf-8")
    caller = caller_with(spectra_dir=tmp_path)
    problem = assert_problem(caller.get("/v1/materials"), 500)
    assert "old.pane.csv" in problem["detail"]
    assert str(tmp_path) not in problem["detail"]
    assert caller.get("/v1/exposure", GOOD["/v1/exposure"]).status_code == 200


# Anything at all

FIELDS = sorted({*NUMBERS, *TARGETS, *NAMES, "start", "end", "step_s", "date", "limit", "spot", "x", ""})
VALUES = st.one_of(
    st.sampled_from(
        [v for values in (*NUMBERS.values(), *TARGETS.values(), *NAMES.values()) for v in values]
    ),
    st.sampled_from([*TIMES, *NOT_NUMBERS, "2026-06-21T12:00:00Z", "2026-06-21", "0", "1", "45", "600"]),
    st.floats().map(str),
    st.integers().map(str),
    st.text(max_size=40),
)


@seed(20260621)
@settings(max_examples=250, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    path=st.sampled_from([*GOOD, "/v1/places", "/v1/materials"]),
    fields=st.dictionaries(st.sampled_from(FIELDS), VALUES, max_size=6),
    whole=st.booleans(),
)
def test_no_query_makes_the_service_fail(caller, path, fields, whole):
    response = caller.get(path, {**(GOOD.get(path, {}) if whole else {}), **fields})
    assert response.status_code in (200, 414, 422), response.text
    if response.status_code != 200:
        assert_problem(response, response.status_code)


@seed(20260621)
@settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    query=st.one_of(
        st.binary(max_size=60), st.text("%&=+;?#[]{}\\\"'<>0123456789abcdefLATlat_. ", max_size=80)
    )
)
def test_no_raw_query_string_makes_the_service_fail(caller, query):
    status, body = caller.raw("/v1/exposure", query if isinstance(query, bytes) else query.encode())
    assert status == json.loads(body)["status"] == 422


JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12), VALUES),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from([*FIELDS, "kind", "skyline"]), inner, max_size=4),
    ),
    max_leaves=8,
)


@seed(20260621)
@settings(max_examples=250, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    path=st.sampled_from(BODIES),
    changes=st.dictionaries(st.sampled_from(FIELDS), JSON, max_size=4),
    whole=st.booleans(),
)
def test_no_body_makes_the_service_fail(caller, path, changes, whole):
    body = json.dumps({**(GOOD[path] if whole else {}), **changes}).encode("utf-8", "surrogatepass")
    response = caller.post(path, body)
    assert response.status_code in (200, 422), response.text
    if response.status_code != 200:
        assert_problem(response, 422)
