"""The answers of /v1/light and /v1/exposure: their fields, their times, and that they agree."""

import datetime as dt
import itertools

import numpy as np
import pytest

LIGHT_FIELDS = {
    "time",
    "solar_zenith_deg",
    "solar_azimuth_deg",
    "uva_w_m2",
    "uva_diffuse_fraction",
    "blue_w_m2",
    "effective_w_m2",
    "uv_index",
    "basis",
}
EXPOSURE_FIELDS = {
    "start",
    "end",
    "length_s",
    "length_low_s",
    "length_high_s",
    "reached",
    "target_j_m2",
    "moves",
    "cautions",
    "basis",
    "summary",
}
YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
NOONDAY = {**YARD, "start": "2026-06-21T12:00:00+01:00", "end": "2026-06-21T13:00:00+01:00", "step_s": 600}

CLOSURE = [  # summer and winter, north and south, high and low sun, tilts, stacks, skies
    ({**YARD, "start": "2026-06-21T12:00:00+01:00"}, 24000),
    ({**YARD, "start": "2026-12-21T11:30:00Z", "tilt_deg": 40, "aim_azimuth_deg": 180}, 24000),
    ({**YARD, "start": "2026-03-20T16:30:00Z", "stack": "float-glass-4mm,polyester-film"}, 6000),
    ({**YARD, "start": "2026-03-20T17:40:00Z", "tilt_deg": 75, "aim_azimuth_deg": 260}, 1200),
    ({**YARD, "start": "2026-09-10T07:05:00+01:00"}, 900),
    ({"latitude_deg": -45.87, "longitude_deg": 170.5, "start": "2026-06-21T11:00:00+12:00"}, 20000),
    (
        {
            "latitude_deg": -45.87,
            "longitude_deg": 170.5,
            "start": "2026-12-21T06:00:00+13:00",
            "tilt_deg": 30,
            "aim_azimuth_deg": 60,
            "sky": "overcast",
            "stack": "low-iron-glass-4mm",
        },
        9000,
    ),
    ({"latitude_deg": 0.0, "longitude_deg": 179.9, "start": "2026-03-21T00:10:00Z", "sky": "broken"}, 24000),
    ({"latitude_deg": 69.6, "longitude_deg": 18.9, "start": "2026-06-21T23:30:00+02:00"}, 4000),
    (
        {"latitude_deg": -89.9, "longitude_deg": 0.0, "start": "2026-12-30T22:00:00Z", "ground_albedo": 0.85},
        30000,
    ),
    ({**YARD, "start": "2026-06-21T12:00:00.250+01:00", "sensitizer": "oxalate-variant"}, 4000),
    ({**YARD, "start": "2026-04-01T12:00:00+01:00", "sky": "thin-cloud", "ozone_du": 280}, 1),
]


@pytest.mark.parametrize("step_s", [1, 7.5, 600, 3600])
def test_light_has_the_fields_of_the_contract_at_even_instants(caller, step_s):
    answer = caller.answer("/v1/light", {**NOONDAY, "step_s": step_s})
    assert set(answer) == LIGHT_FIELDS
    count = int(3600 / step_s) + 1
    assert {len(answer[name]) for name in LIGHT_FIELDS - {"basis"}} == {count}
    start = dt.datetime.fromisoformat(NOONDAY["start"])
    for k, text in enumerate(answer["time"]):
        assert text.endswith("+01:00")
        assert dt.datetime.fromisoformat(text) == start + dt.timedelta(seconds=k * step_s)


def test_light_stops_at_the_last_whole_step_before_the_end(caller):
    answer = caller.answer("/v1/light", {**NOONDAY, "end": "2026-06-21T12:29:59+01:00"})
    assert [text[11:19] for text in answer["time"]] == ["12:00:00", "12:10:00", "12:20:00"]
    alone = caller.answer("/v1/light", {**NOONDAY, "end": NOONDAY["start"]})
    assert len(alone["time"]) == 1


def test_times_keep_the_offset_of_the_place_through_a_change_of_clocks(caller):
    night = {**YARD, "start": "2026-10-25T00:30:00Z", "end": "2026-10-25T01:30:00Z", "step_s": 1800}
    assert caller.answer("/v1/light", night)["time"] == [
        "2026-10-25T01:30:00+01:00",
        "2026-10-25T01:00:00+00:00",
        "2026-10-25T01:30:00+00:00",
    ]


def test_the_offset_of_a_request_changes_nothing_but_how_it_is_written(caller):
    same = caller.answer(
        "/v1/light", {**NOONDAY, "start": "2026-06-21t11:00:00z", "end": "2026-06-21T14:00:00+02:00"}
    )
    assert same == caller.answer("/v1/light", NOONDAY)


def test_light_at_night_is_nothing_and_its_diffuse_share_is_null(caller):
    night = caller.answer(
        "/v1/light", {**YARD, "start": "2026-12-21T23:00:00Z", "end": "2026-12-22T01:00:00Z", "step_s": 3600}
    )
    assert (
        night["uva_w_m2"] == night["effective_w_m2"] == night["blue_w_m2"] == night["uv_index"] == [0, 0, 0]
    )
    assert night["uva_diffuse_fraction"] == [None] * 3
    assert min(night["solar_zenith_deg"]) > 96


def test_the_stack_dims_the_coat_and_not_the_light_above_it(caller):
    bare, glazed = (caller.answer("/v1/light", {**NOONDAY, "stack": s}) for s in ("none", "float-glass-4mm"))
    assert bare["uva_w_m2"] == glazed["uva_w_m2"]
    assert all(b > g > 0 for b, g in zip(bare["effective_w_m2"], glazed["effective_w_m2"], strict=True))


def test_basis_tells_what_was_given_and_what_was_assumed(caller):
    basis = caller.answer("/v1/light", {**NOONDAY, "ozone_du": 310})["basis"]
    assert basis["sky"]["sources"]["ozone_du"] == "given"
    assert basis["sky"]["sources"]["aerosol_optical_depth"] == "default"
    assert basis["sky"]["ozone_du"] == 310
    assert "assumed" in basis["sky"]["evidence"]
    assert basis["time_zone"] == "Europe/Lisbon"
    assert basis["notes"] == []
    assert any(
        "sea level" in note
        for note in caller.answer("/v1/light", {k: v for k, v in NOONDAY.items() if k != "elevation_m"})[
            "basis"
        ]["notes"]
    )


def test_post_takes_the_same_fields_as_get(caller):
    assert caller.post("/v1/light", NOONDAY).json() == caller.answer("/v1/light", NOONDAY)
    question = {**YARD, "start": NOONDAY["start"], "target_j_m2": 24000}
    assert caller.post("/v1/exposure", question).json() == caller.answer("/v1/exposure", question)


def test_an_open_spot_in_a_body_is_the_tilt_of_a_query(caller):
    tilted = {**NOONDAY, "tilt_deg": 30, "aim_azimuth_deg": 200}
    spot = {"kind": "open", "tilt_deg": 30, "aim_azimuth_deg": 200}
    assert caller.post("/v1/light", {**NOONDAY, "spot": spot}).json() == caller.answer("/v1/light", tilted)


def test_a_skyline_takes_the_sun_and_some_of_the_sky(caller):
    walls = {"kind": "open", "skyline": [[0, 80], [180, 80]]}
    walled = caller.post("/v1/light", {**NOONDAY, "spot": walls}).json()
    free = caller.answer("/v1/light", NOONDAY)
    assert walled["uva_diffuse_fraction"][0] == pytest.approx(1.0)
    assert 0 < walled["uva_w_m2"][0] < 0.25 * free["uva_w_m2"][0]
    assert "skyline" in walled["basis"]["spot"]


@pytest.mark.parametrize(("scene", "target"), CLOSURE)
def test_the_light_over_the_answered_length_adds_up_to_the_target(caller, scene, target):
    """An independent trapezoid over 400 steps of /v1/light; 0.2 % covers both sums at the lowest sun."""
    exposure = caller.answer("/v1/exposure", {**scene, "target_j_m2": target})
    assert exposure["reached"] is True
    assert exposure["target_j_m2"] == target
    length = exposure["length_s"]
    start, end = (dt.datetime.fromisoformat(exposure[name]) for name in ("start", "end"))
    assert start == dt.datetime.fromisoformat(scene["start"])
    assert (end - start).total_seconds() == pytest.approx(length, abs=2e-3)
    step_s = max(length / 400, 1.0)
    course = caller.answer(
        "/v1/light", {**scene, "end": (end + dt.timedelta(seconds=step_s)).isoformat(), "step_s": step_s}
    )
    time_s = step_s * np.arange(len(course["time"]))
    power = np.array(course["effective_w_m2"])
    until = np.append(time_s[time_s < length], length)
    dose = np.trapezoid(np.interp(until, time_s, power), until)
    assert dose == pytest.approx(target, rel=2e-3)


@pytest.mark.parametrize("scene", [scene for scene, _ in CLOSURE])
def test_exposure_has_the_fields_of_the_contract_in_order_of_length(caller, scene):
    answer = caller.answer("/v1/exposure", scene)
    assert set(answer) >= EXPOSURE_FIELDS
    assert answer["moves"] == []
    assert answer["summary"].endswith(".")
    if answer["length_s"] is not None:
        assert answer["length_low_s"] < answer["length_s"]
        assert answer["length_high_s"] is None or answer["length_high_s"] > answer["length_s"]


def test_a_wider_target_spread_widens_the_range_and_moves_nothing_else(caller):
    question = {**YARD, "start": NOONDAY["start"], "target_j_m2": 24000}
    narrow, wide = (caller.answer("/v1/exposure", {**question, "target_spread_stops": s}) for s in (0, 1))
    assert narrow["length_s"] == wide["length_s"]
    assert wide["length_low_s"] < narrow["length_low_s"]
    assert wide["length_high_s"] > narrow["length_high_s"]


def test_without_a_target_the_prior_of_the_coat_stands_in_and_says_so(caller):
    answer = caller.answer(
        "/v1/exposure", {**YARD, "start": NOONDAY["start"], "sensitizer": "oxalate-variant"}
    )
    coats = {c["id"]: c for c in caller.answer("/v1/materials", {})["sensitizers"]}
    assert answer["target_j_m2"] == coats["oxalate-variant"]["target_j_m2"]
    assert "prior" in answer["target_source"]
    assert "guess" in answer["summary"]


def test_start_defaults_to_now(caller):
    assert caller.answer("/v1/exposure", YARD)["start"] == "2026-06-21T10:00:00+01:00"


def test_too_little_light_before_dark_is_said_with_share_and_next_chance(caller):
    question = {**YARD, "start": "2026-12-21T16:30:00Z", "target_j_m2": 24000}
    answer = caller.answer("/v1/exposure", question)
    assert answer["reached"] is False
    assert answer["end"] is answer["length_s"] is answer["length_high_s"] is None
    assert 0.01 < answer["dose_share"] < 0.5
    assert answer["light_end"].startswith("2026-12-21T17:")
    again = caller.answer("/v1/exposure", {**question, "start": answer["next_start"]})
    assert again["reached"] is True
    assert again["length_s"] == pytest.approx(answer["next_length_s"], rel=1e-3)
    assert "next chance" in answer["summary"]


def test_in_the_dark_the_share_is_nothing_and_the_next_chance_is_tomorrow(caller):
    answer = caller.answer(
        "/v1/exposure", {**YARD, "start": "2026-06-21T23:30:00+01:00", "target_j_m2": 24000}
    )
    assert answer["reached"] is False
    assert answer["dose_share"] == 0
    assert answer["next_start"].startswith("2026-06-22T")
    assert answer["cautions"] == []
    assert answer["summary"].startswith("It is dark")


def test_in_polar_night_the_next_chance_is_months_ahead(caller):
    arctic = {
        "latitude_deg": 78.2,
        "longitude_deg": 15.6,
        "start": "2026-12-01T12:00:00Z",
        "target_j_m2": 24000,
    }
    answer = caller.answer("/v1/exposure", arctic)
    assert answer["reached"] is False
    assert "2027-02" <= answer["next_start"] < "2027-05"


def test_a_dose_beyond_any_day_has_no_next_chance(caller):
    answer = caller.answer("/v1/exposure", {**YARD, "start": NOONDAY["start"], "target_j_m2": 1e8})
    assert answer["reached"] is False
    assert answer["next_start"] is answer["next_length_s"] is None
    assert 0 < answer["dose_share"] < 1


def test_lengths_change_evenly_with_the_start_across_midnight_utc(caller):
    """In the far east the noon light lies across the change of the UTC day."""
    dateline = {"latitude_deg": -17.7, "longitude_deg": 178.0, "target_j_m2": 24000}
    moments = [
        dt.datetime(2026, 1, 10, 23, 50, tzinfo=dt.UTC) + dt.timedelta(minutes=k) for k in range(0, 21, 2)
    ]
    lengths = [
        caller.answer("/v1/exposure", {**dateline, "start": m.isoformat()})["length_s"] for m in moments
    ]
    changes = [b - a for a, b in itertools.pairwise(lengths)]
    assert max(abs(b - a) for a, b in itertools.pairwise(changes)) < 0.04  # minutes' chords of a curved light
    assert len(set(lengths)) == len(lengths)


def test_a_cloud_before_the_sun_lengthens_and_a_clear_sky_shortens(caller):
    answer = caller.answer(
        "/v1/exposure", {**YARD, "start": NOONDAY["start"], "target_j_m2": 24000, "sky": "broken"}
    )
    assert answer["if_sun_stays_s"] < answer["length_s"] < answer["if_cloud_covers_s"]


def test_cautions_name_the_eyes_the_uv_index_and_the_hot_glass(caller):
    summer = {**YARD, "start": NOONDAY["start"], "target_j_m2": 24000, "stack": "float-glass-4mm"}
    said = " ".join(caller.answer("/v1/exposure", summer)["cautions"])
    assert "Never look at the sun" in said
    assert "UV index up to" in said
    assert "hot" in said
    winter = caller.answer("/v1/exposure", {**summer, "start": "2026-12-21T12:00:00Z", "stack": "none"})[
        "cautions"
    ]
    assert not any("UV index up to" in caution or "hot" in caution for caution in winter)
