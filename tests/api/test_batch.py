"""/v1/batch: columns for many places, equal to what the routes for one place say."""

import datetime as dt
import json

import pytest

from noonframe.api.batch_bodies import MOST_BATCH_BYTES, MOST_PLACES

SHEET = {"stack": "float-glass-4mm,polyester-film", "sensitizer": "citrate-classic"}
START = "2026-06-21T11:00:00Z"
WHERE = (
    (41.15, -8.61, 80.0),
    (-45.87, 170.5, 10.0),
    (69.65, 18.96, 0.0),
    (-77.85, 166.67, 24.0),
    (89.99, 0.0, 0.0),
    (-16.8, 180.0, 3.0),
    (-3.07, 37.35, 5300.0),
    (31.5, 35.47, -430.0),
)
LIGHT_TOLERANCE, TWILIGHT_TOLERANCE = 0.0035, 0.005  # as the answer's basis states
LENGTH_TOLERANCE = 0.005
"""The light's, and that of both integrals' steps; none of these exposures ends in fading light."""


def columns(where=WHERE):
    return dict(
        zip(
            ("latitude_deg", "longitude_deg", "elevation_m"), map(list, zip(*where, strict=True)), strict=True
        )
    )


def ask(caller, **fields):
    return caller.post("/v1/batch", {**columns(), "start": START, "target_j_m2": 24000, **SHEET, **fields})


@pytest.mark.parametrize(
    "sky", [{}, {"sky": "broken"}, {"cloud_optical_depth": 7, "ozone_du": 310, "aerosol_optical_depth": 0.3}]
)
def test_every_place_is_told_what_it_is_told_alone(caller, sky):
    answer = ask(caller, **sky)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert found["count"] == len(WHERE)
    assert found["time"] == "2026-06-21T11:00:00+00:00"
    for k, (latitude, longitude, elevation) in enumerate(WHERE):
        place = {"latitude_deg": latitude, "longitude_deg": longitude, "elevation_m": elevation}
        light = caller.get(
            "/v1/light", {**place, **SHEET, **sky, "start": START, "end": START, "step_s": 60}
        ).json()
        tolerance = LIGHT_TOLERANCE if light["solar_zenith_deg"][0] < 90.0 else TWILIGHT_TOLERANCE
        for name in ("uva_w_m2", "blue_w_m2", "effective_w_m2", "uv_index"):
            assert found["light"][name][k] == pytest.approx(light[name][0], rel=tolerance, abs=6e-5), name
        for name in ("solar_zenith_deg", "solar_azimuth_deg"):
            assert found["light"][name][k] == pytest.approx(light[name][0], abs=1e-4)
        share, expected = (of["uva_diffuse_fraction"] for of in (found["light"], light))
        assert (share[k] is None) == (expected[0] is None)
        if expected[0] is not None:
            assert share[k] == pytest.approx(expected[0], abs=0.003)
        alone = caller.get(
            "/v1/exposure", {**place, **SHEET, **sky, "start": START, "target_j_m2": 24000}
        ).json()
        exposure = found["exposure"]
        assert (exposure["outcome"][k] == "reached") == alone["reached"]
        for name in ("length_s", "length_low_s", "length_high_s"):
            assert (exposure[name][k] is None) == (alone[name] is None), (name, place)
            if alone[name] is not None:
                assert exposure[name][k] == pytest.approx(alone[name], rel=LENGTH_TOLERANCE), (name, place)
        assert exposure["dose_share"][k] == pytest.approx(alone["dose_share"], rel=0.005, abs=0.001)
        assert exposure["target_spread_stops"] == alone["target_spread_stops"]


def test_each_place_may_have_its_own_air_and_one_number_holds_for_all(caller):
    own = ask(caller, ozone_du=[300.0] * len(WHERE), aerosol_optical_depth=[0.2] * len(WHERE))
    shared = ask(caller, ozone_du=300, aerosol_optical_depth=0.2)
    assert own.json()["light"] == shared.json()["light"]
    assert own.json()["basis"]["sources"]["ozone_du"] == "given"
    thick = ask(caller, ozone_du=[500.0] * len(WHERE)).json()["light"]["uv_index"]
    thin = ask(caller, ozone_du=[200.0] * len(WHERE)).json()["light"]["uv_index"]
    assert thick[0] < 0.6 * thin[0]  # UV index falls nearly as the ozone to the power 1.2, common practice


def test_outcomes_are_told_in_words_that_are_explained(caller):
    found = ask(caller, target_j_m2=4e6).json()["exposure"]
    assert set(found["outcome"]) <= set(found["outcomes"])
    assert found["outcome"][3] == "dark"  # polar night
    assert all(length is None for length, outcome in zip(found["length_s"], found["outcome"], strict=True)
               if outcome != "reached")  # fmt: skip
    assert all(text for text in found["outcomes"].values())


def test_now_is_the_start_when_none_is_given(caller):
    body = {**columns(), **SHEET}
    found = caller.post("/v1/batch", body).json()
    assert found["time"] == "2026-06-21T09:00:00+00:00"  # the clock of these tests
    assert found["exposure"]["target_source"].startswith("prior of citrate-classic")
    assert any("sea level" not in note for note in found["basis"]["notes"])
    del body["elevation_m"]
    assert any("sea level" in note for note in caller.post("/v1/batch", body).json()["basis"]["notes"])


def test_parts_choose_what_is_answered(caller):
    assert ask(caller, parts=["light"]).json()["exposure"] is None
    assert ask(caller, parts=["exposure"]).json()["light"] is None


def test_cautions_come_with_the_sun(caller):
    assert any("Never look at the sun" in caution for caution in ask(caller).json()["cautions"])
    night = caller.post(
        "/v1/batch", {"latitude_deg": [-77.85], "longitude_deg": [166.67], "start": START, **SHEET}
    )
    assert night.json()["cautions"] == []


@pytest.mark.parametrize(
    ("field", "change"),
    [
        ("latitude_deg.1", {"latitude_deg": [0.0, 90.0], "longitude_deg": [0, 0]}),
        ("latitude_deg", {"latitude_deg": [], "longitude_deg": []}),
        ("longitude_deg", {"longitude_deg": [0.0]}),
        ("elevation_m.0", {"elevation_m": 6000}),
        ("elevation_m", {"elevation_m": [0, 0]}),
        ("ozone_du.2", {"ozone_du": [300, 300, 99] + [300] * (len(WHERE) - 3)}),
        ("aerosol_optical_depth", {"aerosol_optical_depth": True}),
        ("latitude_deg.0", {"latitude_deg": ["41"] * len(WHERE)}),
        ("sky", {"sky": "clear", "cloud_optical_depth": 2}),
        ("sky", {"sky": "plaid"}),
        ("stack", {"stack": "granite"}),
        ("parts", {"parts": []}),
        ("target_spread_stops", {"target_j_m2": None, "target_spread_stops": 0.5}),
        ("start", {"start": "2026-06-21T11:00:00"}),
        ("place", {"place": "Porto"}),
    ],
)
def test_a_wrong_field_is_named(caller, field, change):
    answer = ask(caller, **change)
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert field in [error["field"] for error in answer.json()["errors"]]


def test_more_places_than_promised_are_refused_and_so_is_a_longer_body(caller):
    many = {"latitude_deg": [0.0] * (MOST_PLACES + 1), "longitude_deg": [0.0] * (MOST_PLACES + 1)}
    answer = caller.post("/v1/batch", many)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "latitude_deg"
    padded = json.dumps({**columns()}) + " " * MOST_BATCH_BYTES
    answer = caller.request("POST", "/v1/batch", content=padded, headers={"content-type": "application/json"})
    assert answer.status_code == 413


def test_as_many_places_as_promised_are_answered(caller):
    latitudes = [-89.9 + 179.8 * k / (MOST_PLACES - 1) for k in range(MOST_PLACES)]
    longitudes = [(137.508 * k) % 360.0 - 180.0 for k in range(MOST_PLACES)]
    answer = caller.post(
        "/v1/batch", {"latitude_deg": latitudes, "longitude_deg": longitudes, "start": START, **SHEET}
    )
    assert answer.status_code == 200
    found = answer.json()
    assert found["count"] == MOST_PLACES
    assert all(len(column) == MOST_PLACES for column in found["light"].values())
    reached = [outcome == "reached" for outcome in found["exposure"]["outcome"]]
    assert reached == [length is not None for length in found["exposure"]["length_s"]]
    assert 0.3 < sum(reached) / MOST_PLACES < 0.6  # about half of the earth is lit


def test_the_example_is_within_the_time_that_the_sun_is_known_for(caller):
    late = dt.datetime(2199, 1, 1, tzinfo=dt.UTC).isoformat()
    assert ask(caller, start=late).status_code == 422
