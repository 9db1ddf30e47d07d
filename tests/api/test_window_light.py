"""A frame inside a window, asked over HTTP: light, exposure and slots."""

import json

import pytest

PLACE = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
SHEET = {"stack": "float-glass-4mm,polyester-film", "sensitizer": "citrate-classic"}
MORNING = {"start": "2026-06-21T06:00:00+01:00", "end": "2026-06-21T16:00:00+01:00", "step_s": 900}
WINDOW = {
    "outward_azimuth_deg": 135,
    "width_m": 1.2,
    "sill_m": 0.1,
    "head_m": 1.5,
    "reveal_depth_m": 0.2,
    "overhang_depth_m": 0.1,
    "pane": "float-glass-4mm",
}
FRAME = {"distance_m": 0.6, "offset_m": 0.1, "width_m": 0.3, "height_m": 0.4}
SPOT = {"kind": "window", "window": WINDOW, "frame": FRAME}
FLAT = {f"window_{name}": value for name, value in WINDOW.items()} | {
    f"frame_{name}": value for name, value in FRAME.items()
}
QUESTIONS = {
    "/v1/light": {**PLACE, **SHEET, **MORNING},
    "/v1/exposure": {**PLACE, **SHEET, "start": "2026-06-21T10:00:00+01:00", "target_j_m2": 24000},
    "/v1/slots": {**PLACE, **SHEET, "date": "2026-06-21", "target_j_m2": 24000},
    "/v1/moves": {**PLACE, **SHEET, "start": "2026-06-21T10:00:00+01:00", "target_j_m2": 24000},
    "/v1/patch": {**PLACE, **SHEET, "date": "2026-06-21"},
}


def at_spot(caller, path, spot=SPOT, **fields):
    response = caller.post(path, {**QUESTIONS[path], **fields, "spot": spot})
    assert response.status_code == 200, response.text
    return response.json()


def turned(**frame):
    return {**SPOT, "frame": {**FRAME, **frame}}


def opened(**window):
    return {**SPOT, "window": {**WINDOW, "pane": "none", "overhang_depth_m": 0, **window}}


def test_light_inside_a_window_has_the_fields_of_the_contract(caller):
    light = at_spot(caller, "/v1/light")
    outdoors = caller.answer("/v1/light", QUESTIONS["/v1/light"])
    assert set(light) == set(outdoors) | {"beam_share", "sky_view"}
    assert len(light["beam_share"]) == len(light["time"]) == 41
    assert all(0.0 <= share <= 1.0 for share in light["beam_share"])
    assert min(light["beam_share"]) == 0.0 < max(light["beam_share"])
    assert 0.0 < light["sky_view"] < 0.5  # a wall hides more than half of the dome
    for name in ("time", "solar_zenith_deg", "solar_azimuth_deg", "uv_index"):
        assert light[name] == outdoors[name]  # the sun, and the index of the open ground outside
    assert "window" in light["basis"]["spot"]
    json.dumps(light, allow_nan=False)


@pytest.mark.parametrize("path", QUESTIONS)
def test_flat_fields_and_a_spot_give_the_same_answer(caller, path):
    assert caller.answer(path, {**QUESTIONS[path], **FLAT}) == at_spot(caller, path)


@pytest.mark.parametrize("path", QUESTIONS)
def test_what_is_left_out_has_its_stated_default(caller, path):
    spare = {"outward_azimuth_deg": 135, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.5}
    full = {**spare, "reveal_depth_m": 0, "overhang_depth_m": 0, "pane": "none"}
    short = at_spot(caller, path, {**SPOT, "window": spare, "frame": {"distance_m": 0.6}})
    frame = {"distance_m": 0.6, "offset_m": 0, "width_m": 0.3, "height_m": 0.4, "tilt_deg": 0}
    assert short == at_spot(caller, path, {**SPOT, "window": full, "frame": frame})
    flat = {f"window_{name}": value for name, value in spare.items()} | {"frame_distance_m": 0.6}
    assert caller.answer(path, {**QUESTIONS[path], **flat}) == short


def test_an_easel_can_be_given_flat_or_as_a_spot(caller):
    aimed = {**QUESTIONS["/v1/light"], **FLAT, "tilt_deg": 50}
    straight = at_spot(caller, "/v1/light", turned(tilt_deg=50))
    assert caller.answer("/v1/light", aimed) == straight
    askew = at_spot(caller, "/v1/light", turned(tilt_deg=50, aim_azimuth_deg=100))
    assert caller.answer("/v1/light", {**aimed, "aim_azimuth_deg": 100}) == askew
    assert askew["effective_w_m2"] != straight["effective_w_m2"]
    assert at_spot(caller, "/v1/light", turned(tilt_deg=50, aim_azimuth_deg=135)) == straight


def test_a_small_sheet_is_in_the_patch_wholly_or_not_at_all(caller):
    small = at_spot(caller, "/v1/light", turned(width_m=0.001, height_m=0.001))
    assert set(small["beam_share"]) == {0.0, 1.0}
    fractions = small["uva_diffuse_fraction"]
    for share, fraction in zip(small["beam_share"], fractions, strict=True):
        assert fraction == 1.0 if share == 0.0 else fraction < 0.8


def test_the_light_is_the_mean_over_the_sheet(caller):
    """Four quarters of a sheet, each asked by itself, against the whole.

    Both sides sample: 25 points see a patch's edge to a few hundredths of the beam at most, and the mean over
    the morning much closer.
    """
    whole = at_spot(caller, "/v1/light", turned(width_m=0.4, height_m=0.4, offset_m=0.0))
    quarters = [
        at_spot(
            caller,
            "/v1/light",
            turned(width_m=0.2, height_m=0.2, offset_m=offset, distance_m=distance),
        )
        for offset in (-0.1, 0.1)
        for distance in (0.5, 0.7)
    ]
    # An area is exact, so its quarters add up to it (six digits are told).
    for k, share in enumerate(whole["beam_share"]):
        assert sum(q["beam_share"][k] for q in quarters) / 4 == pytest.approx(share, abs=2e-6)
    assert sum(q["sky_view"] for q in quarters) / 4 == pytest.approx(whole["sky_view"], rel=0.01)
    for name in ("uva_w_m2", "blue_w_m2", "effective_w_m2"):
        mean = sum(sum(q[name]) for q in quarters) / 4
        assert mean == pytest.approx(sum(whole[name]), rel=0.02)


def test_the_light_is_behind_the_pane_and_before_the_stack(caller):
    bare = at_spot(caller, "/v1/light", opened())
    paned = at_spot(caller, "/v1/light", opened(pane="float-glass-4mm"))
    other = at_spot(caller, "/v1/light", opened(), stack="none")
    assert bare["uva_w_m2"] == other["uva_w_m2"]
    assert sum(bare["effective_w_m2"]) < 0.95 * sum(other["effective_w_m2"])
    assert bare["beam_share"] == paned["beam_share"]
    assert bare["sky_view"] == paned["sky_view"]
    passed = [p / b for p, b in zip(paned["uva_w_m2"], bare["uva_w_m2"], strict=True) if b > 0.01]
    # 4 mm float glass passes 0.75-0.90 of the UVA at right angles, less at a slant (common practice, no
    # source).
    assert all(0.3 < share < 0.9 for share in passed)
    assert len(passed) > 30
    blue = sum(paned["blue_w_m2"]) / sum(bare["blue_w_m2"])
    assert sum(paned["uva_w_m2"]) / sum(bare["uva_w_m2"]) < blue < 0.93


def test_the_beam_at_the_sheet_is_the_share_in_the_patch_times_the_open_beam(caller):
    """Through an open window the beam is that of open ground; the circumsolar glow counts as diffuse."""
    inside = at_spot(caller, "/v1/light", opened() | {"frame": {**FRAME, "distance_m": 0.3}})
    outside = caller.answer("/v1/light", QUESTIONS["/v1/light"])
    seen = 0
    for k, share in enumerate(inside["beam_share"]):
        if share not in (0.0, 1.0):
            continue  # at the patch's edge 25 points stand for an area
        open_beam = outside["uva_w_m2"][k] * (1.0 - (outside["uva_diffuse_fraction"][k] or 0.0))
        beam = inside["uva_w_m2"][k] * (1.0 - (inside["uva_diffuse_fraction"][k] or 0.0))
        assert beam == pytest.approx(share * open_beam, abs=2e-3)
        seen += share
    assert seen >= 4


def test_sky_through_the_window_is_its_view_times_the_isotropic_sky(caller):
    """With no sun on the sheet, overcast light is the sky of open ground times the view."""
    inside = at_spot(caller, "/v1/light", opened(), sky="overcast")
    outside = caller.answer("/v1/light", {**QUESTIONS["/v1/light"], "sky": "overcast"})
    for here, there in zip(inside["uva_w_m2"], outside["uva_w_m2"], strict=True):
        assert here == pytest.approx(inside["sky_view"] * there, rel=2e-3, abs=2e-6)


def test_what_stands_opposite_takes_sun_and_sky(caller):
    free = at_spot(caller, "/v1/light", opened())
    roofs = at_spot(caller, "/v1/light", opened(skyline=[[0, 40]]))
    walled = at_spot(caller, "/v1/light", opened(skyline=[[0, 90]]))
    assert 0.0 < roofs["sky_view"] < 0.5 * free["sky_view"]
    for k, zenith in enumerate(free["solar_zenith_deg"]):
        clear = 90.0 - zenith > 40.0
        assert roofs["beam_share"][k] == (free["beam_share"][k] if clear else 0.0)
    assert walled["sky_view"] == 0.0
    assert set(walled["effective_w_m2"]) == {0.0}
    assert walled["uva_diffuse_fraction"] == [None] * len(walled["time"])


def test_at_night_a_window_gives_nothing(caller):
    span = {"start": "2026-06-21T00:00:00+01:00", "end": "2026-06-21T03:00:00+01:00"}
    dark = at_spot(caller, "/v1/light", **span)
    assert set(dark["uva_w_m2"]) == set(dark["beam_share"]) == {0.0}
    assert set(dark["uva_diffuse_fraction"]) == {None}


@pytest.mark.parametrize("spot", [SPOT, turned(tilt_deg=40, distance_m=0.4), opened()], ids=str)
def test_light_over_the_length_of_an_exposure_adds_up_to_its_target(caller, spot):
    exposure = at_spot(caller, "/v1/exposure", spot)
    assert exposure["reached"]
    span = {"start": exposure["start"], "end": exposure["end"], "step_s": 10}
    light = at_spot(caller, "/v1/light", spot, **span)["effective_w_m2"]
    left = exposure["length_s"] - 10 * (len(light) - 1)
    dose = 10 * (sum(light) - (light[0] + light[-1]) / 2) + left * light[-1]
    # 1 %: a patch's edge crosses the sheet's points one by one, at moments that steps of 10 s only bracket.
    assert dose == pytest.approx(24000, rel=0.01)


def test_exposure_inside_a_window_takes_longer_and_names_no_uv_index(caller):
    inside = at_spot(caller, "/v1/exposure")
    outside = caller.answer("/v1/exposure", QUESTIONS["/v1/exposure"])
    assert inside["length_s"] > outside["length_s"]
    assert inside["length_low_s"] < inside["length_s"] < inside["length_high_s"]
    assert inside["if_cloud_covers_s"] > inside["length_s"]
    assert not any("UV index" in caution for caution in inside["cautions"])
    assert any("Never look at the sun" in caution for caution in inside["cautions"])


def test_slots_at_a_south_east_window_are_in_the_morning(caller):
    slots = at_spot(caller, "/v1/slots", opened())["slots"]
    best = slots[0]
    assert "09:00" < best["best_start"][11:16] < "12:00"
    again = at_spot(caller, "/v1/exposure", opened(), start=best["best_start"])
    assert again["length_s"] == pytest.approx(best["length_s"], rel=0.01)


@pytest.mark.parametrize(
    ("sky", "inside_min", "outside_min"),
    [
        # In sun about 20 minutes just inside an open window where open ground takes 5-15 (common practice, no
        # source): here the table of the usual window, 0.6 m from the wall, late on a midsummer morning.
        ({}, (15, 25), (5, 15)),
        # About an hour indoors on a rainy overcast day (common practice, no source): it takes a large window
        # and an ordinary cloud layer, optical depth 12; deeper rain cloud takes hours.
        ({"cloud_optical_depth": 12}, (50, 80), (15, 40)),
    ],
    ids=["sun", "cloud"],
)
def test_lengths_at_a_window_are_those_of_common_practice(caller, sky, inside_min, outside_min):
    large = {"width_m": 2.4, "sill_m": 0, "head_m": 2.0, "reveal_depth_m": 0.1}
    spot = opened(**large) | {"frame": {**FRAME, "distance_m": 0.25}} if sky else opened()
    asked = {**sky, "start": "2026-06-21T11:00:00+01:00"}
    inside = at_spot(caller, "/v1/exposure", spot, **asked)["length_s"] / 60
    outside = caller.answer("/v1/exposure", {**QUESTIONS["/v1/exposure"], **asked})["length_s"] / 60
    assert inside_min[0] < inside < inside_min[1]
    assert outside_min[0] < outside < outside_min[1]
