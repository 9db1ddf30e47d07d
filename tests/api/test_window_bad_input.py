"""Rooms that cannot be: every route names the field as it was sent, and none falls over."""

import json
import math

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

PLACE = {"latitude_deg": 41.15, "longitude_deg": -8.61}
START = {"start": "2026-06-21T10:00:00+01:00"}
TARGET = {"target_j_m2": 24000}
QUESTIONS = {
    "/v1/light": {**PLACE, **START, "end": "2026-06-21T11:00:00+01:00", "step_s": 600},
    "/v1/exposure": {**PLACE, **START, **TARGET},
    "/v1/say": {**PLACE, **START, **TARGET},
    "/v1/slots": {**PLACE, "date": "2026-06-21", **TARGET},
    "/v1/moves": {**PLACE, **START, **TARGET},
    "/v1/moves/picture": {**PLACE, **START, **TARGET},
    "/v1/patch": {**PLACE, "date": "2026-06-21"},
}
BODIES = [path for path in QUESTIONS if path != "/v1/say"]
TABLED = ["/v1/moves", "/v1/moves/picture", "/v1/patch"]
WINDOW = {"outward_azimuth_deg": 135, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.5, "reveal_depth_m": 0.2}
FRAME = {"distance_m": 0.6, "offset_m": 0.0, "width_m": 0.3, "height_m": 0.4}

BAD_WINDOW = [
    ("outward_azimuth_deg", -1),
    ("outward_azimuth_deg", 360.5),
    ("width_m", 0),
    ("width_m", -1.2),
    ("width_m", 1e9),
    ("sill_m", 1.5),  # as high as the head
    ("sill_m", 2.0),  # above it
    ("sill_m", -1e9),
    ("head_m", 0),
    ("head_m", -0.5),  # the whole window below the table
    ("head_m", 51),
    ("reveal_depth_m", -0.1),
    ("reveal_depth_m", 1e300),
    ("overhang_depth_m", -0.1),
    ("pane", "stained-glass"),
    ("pane", "x" * 101),
    ("pane", ""),
]
BAD_FRAME = [
    ("distance_m", 0.19),  # half of it is in the wall
    ("distance_m", 0),
    ("distance_m", -0.6),
    ("distance_m", 1e9),
    ("offset_m", 60),
    ("width_m", 0),
    ("width_m", -0.3),
    ("height_m", 0),
    ("height_m", -0.4),
    ("height_m", 1e9),
    ("width_m", 1e-200),  # an area of nothing at all
    ("height_m", 5e-324),
]
LOW_SILL = {"sill_m": -1.0}  # so that a head below the table is not also below its sill


def problem_of(response, field):
    assert response.status_code == 422, response.text[:500]
    assert response.headers["content-type"].startswith("application/problem+json")
    problem = response.json()
    found = {error["field"]: error for error in problem["errors"]}
    assert field in found, found
    assert found[field]["limit"]
    return found[field]


def flat(window=None, frame=None):
    return {f"window_{name}": v for name, v in {**WINDOW, **(window or {})}.items()} | {
        f"frame_{name}": v for name, v in {**FRAME, **(frame or {})}.items()
    }


def spot(window=None, frame=None):
    return {
        "kind": "window",
        "window": {**WINDOW, **(window or {})},
        "frame": {**FRAME, **(frame or {})},
    }


def below(name, value):
    return {**(LOW_SILL if name == "head_m" else {}), name: value}


@pytest.mark.parametrize("path", QUESTIONS)
def test_a_bad_room_is_refused_by_its_flat_name(caller, path):
    for name, value in BAD_WINDOW:
        answer = caller.get(path, {**QUESTIONS[path], **flat(below(name, value))})
        problem_of(answer, f"window_{name}")
    for name, value in BAD_FRAME:
        answer = caller.get(path, {**QUESTIONS[path], **flat(None, {name: value})})
        problem_of(answer, f"frame_{name}")


@pytest.mark.parametrize("path", BODIES)
def test_a_bad_room_is_refused_by_its_dotted_name(caller, path):
    for name, value in BAD_WINDOW:
        answer = caller.post(path, {**QUESTIONS[path], "spot": spot(below(name, value))})
        problem_of(answer, f"spot.window.{name}")
    for name, value in [*BAD_FRAME, ("tilt_deg", 91), ("tilt_deg", -1), ("aim_azimuth_deg", 361)]:
        answer = caller.post(path, {**QUESTIONS[path], "spot": spot(None, {name: value})})
        problem_of(answer, f"spot.frame.{name}")


@pytest.mark.parametrize("path", QUESTIONS)
@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e400", "", "wide", "1,2", "null"])
def test_what_is_no_number_is_no_length(caller, path, value):
    for name in [*flat(), "window_overhang_depth_m"]:
        problem_of(caller.get(path, {**QUESTIONS[path], **flat(), name: value}), name)


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("value", [None, True, "1.2", [1.2], {"m": 1.2}, 10**400], ids=str)
def test_a_length_in_a_body_must_be_a_number(caller, path, value):
    for part, names in (("window", WINDOW), ("frame", FRAME)):
        for name in names:
            body = {**QUESTIONS[path], "spot": spot(**{part: {name: value}})}
            problem_of(caller.post(path, json.dumps(body).encode()), f"spot.{part}.{name}")


@pytest.mark.parametrize("path", BODIES)
def test_nan_in_a_body_is_no_json(caller, path):
    body = json.dumps({**QUESTIONS[path], "spot": spot({"width_m": math.nan})}).encode()
    assert b"NaN" in body
    assert caller.post(path, body).status_code == 422


@pytest.mark.parametrize("path", BODIES)
def test_a_ragged_skyline_opposite_is_refused_where_it_breaks(caller, path):
    cases = {
        "1.azimuth_deg": [[90, 10], [80, 10]],
        "2.azimuth_deg": [[90, 10], [100, 10], [100, 20]],
        "0.azimuth_deg": [[360, 10]],
        "0.elevation_deg": [[90, 91]],
    }
    for place, skyline in cases.items():
        answer = caller.post(path, {**QUESTIONS[path], "spot": spot({"skyline": skyline})})
        problem_of(answer, f"spot.window.skyline.{place}")
    problem_of(caller.post(path, {**QUESTIONS[path], "spot": spot({"skyline": []})}), "spot.window.skyline")


@pytest.mark.parametrize("path", QUESTIONS)
def test_a_ragged_skyline_in_a_query_is_refused(caller, path):
    for skyline in ("90:10,80:10", "90:10,90:10", "360:10", "90:91", "90", "90:", "90:10;", ""):
        problem_of(caller.get(path, {**QUESTIONS[path], "skyline": skyline}), "skyline")
    problem_of(caller.get(path, {**QUESTIONS[path], **flat(), "skyline": "90:10"}), "skyline")


@pytest.mark.parametrize("path", QUESTIONS)
@pytest.mark.parametrize(
    "missing",
    [
        "window_outward_azimuth_deg",
        "window_width_m",
        "window_sill_m",
        "window_head_m",
        "frame_distance_m",
    ],
)
def test_a_window_half_given_is_asked_for_the_rest(caller, path, missing):
    fields = {name: value for name, value in flat().items() if name != missing}
    problem_of(caller.get(path, {**QUESTIONS[path], **fields}), missing)


@pytest.mark.parametrize("path", QUESTIONS)
@pytest.mark.parametrize("name", [*flat(), "window_pane", "window_overhang_depth_m"])
def test_one_field_of_a_window_alone_is_not_taken_for_open_ground(caller, path, name):
    answer = caller.get(path, {**QUESTIONS[path], name: {**flat(), "window_pane": "none"}.get(name, 0)})
    assert answer.status_code == 422
    assert {error["field"] for error in answer.json()["errors"]} <= set(flat())


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("part", ["window", "frame"])
def test_a_spot_half_given_is_asked_for_the_rest(caller, path, part):
    whole = spot()
    problem_of(
        caller.post(path, {**QUESTIONS[path], "spot": {k: v for k, v in whole.items() if k != part}}),
        f"spot.{part}",
    )
    for name in (
        ("outward_azimuth_deg", "width_m", "sill_m", "head_m") if part == "window" else ("distance_m",)
    ):
        short = {**whole, part: {k: v for k, v in whole[part].items() if k != name}}
        problem_of(caller.post(path, {**QUESTIONS[path], "spot": short}), f"spot.{part}.{name}")
    problem_of(
        caller.post(path, {**QUESTIONS[path], "spot": spot(**{part: {"depth": 1}})}), f"spot.{part}.depth"
    )


@pytest.mark.parametrize("path", BODIES)
def test_a_spot_and_flat_fields_exclude_each_other(caller, path):
    for name, value in {**flat(), "tilt_deg": 10, "skyline": "90:10"}.items():
        problem_of(caller.post(path, {**QUESTIONS[path], name: value, "spot": spot()}), name)
    problem_of(
        caller.post(path, {**QUESTIONS[path], **flat(), "spot": {"kind": "open"}}),
        "window_outward_azimuth_deg",
    )


@pytest.mark.parametrize("path", TABLED)
def test_a_table_with_its_edges_reversed_is_refused(caller, path):
    good = {**QUESTIONS[path], **flat()}
    problem_of(
        caller.get(path, {**good, "table_nearest_m": 1.0, "table_farthest_m": 0.5}), "table_farthest_m"
    )
    problem_of(
        caller.get(path, {**good, "table_leftmost_m": 0.5, "table_rightmost_m": -0.5}), "table_rightmost_m"
    )
    problem_of(caller.get(path, {**good, "table_farthest_m": 0.1}), "table_farthest_m")


@pytest.mark.parametrize("path", TABLED)
@pytest.mark.parametrize("value", ["-21", "21", "nan", "x", ""])
def test_a_table_out_of_all_reach_is_refused(caller, path, value):
    for name in ("table_nearest_m", "table_farthest_m", "table_leftmost_m", "table_rightmost_m"):
        problem_of(caller.get(path, {**QUESTIONS[path], **flat(), name: value}), name)


@pytest.mark.parametrize("path", TABLED)
def test_a_table_too_near_the_wall_for_the_frame_is_refused(caller, path):
    narrow = {"table_nearest_m": 0, "table_farthest_m": 0.1}
    told = problem_of(caller.get(path, {**QUESTIONS[path], **flat(), **narrow}), "table_farthest_m")
    assert "0.2" in told["limit"]  # half of a frame 0.4 m deep


@pytest.mark.parametrize("path", ["/v1/moves", "/v1/moves/picture"])
def test_a_frame_that_begins_beside_the_table_is_refused_only_if_it_must_begin_there(caller, path):
    beside = {**QUESTIONS[path], **flat(), "table_farthest_m": 0.5}
    assert caller.get(path, beside).status_code == 200
    problem_of(caller.get(path, {**beside, "start_fixed": "true"}), "start_fixed")


@pytest.mark.parametrize("path", ["/v1/moves", "/v1/moves/picture"])
def test_a_table_in_the_open_is_refused(caller, path):
    for name in ("table_nearest_m", "table_farthest_m", "table_leftmost_m", "table_rightmost_m"):
        problem_of(caller.get(path, {**QUESTIONS[path], name: 0.5}), name)


def test_open_ground_has_no_patch(caller):
    problem_of(caller.get("/v1/patch", QUESTIONS["/v1/patch"]), "window_outward_azimuth_deg")
    body = {**QUESTIONS["/v1/patch"], "spot": {"kind": "open"}}
    problem_of(caller.post("/v1/patch", body), "spot.kind")


@pytest.mark.parametrize("path", ["/v1/moves", "/v1/moves/picture"])
@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("max_moves", ["-1", "9", "1.5", "nan", "x", ""]),
        ("move_cost_s", ["-1", "1801", "nan", "inf", "x"]),
        ("evenness_stops", ["0", "-1", "4.1", "nan", "none", ""]),
        ("start_fixed", ["maybe", "2", ""]),
        ("aims", ["", "sideways", "Flat"]),
        ("most_places", ["0", "121", "1.5", "x"]),
        ("object_height_mm", ["-1", "501", "nan"]),
        ("dose_map", ["perhaps", ""]),
    ],
)
def test_what_a_plan_may_be_asked_has_limits(caller, path, field, values):
    for value in values:
        problem_of(caller.get(path, {**QUESTIONS[path], **flat(), field: value}), field)


def test_a_patch_on_a_day_that_the_clocks_left_out_is_refused(caller):
    samoa = {"latitude_deg": -13.83, "longitude_deg": -171.76, "date": "2011-12-30", **flat()}
    problem_of(caller.get("/v1/patch", samoa), "date")


EDGES = [
    spot(None, {"distance_m": 0.2}),  # flush with the wall
    spot({"sill_m": -5, "head_m": 0.001}),
    spot({"width_m": 0.001, "head_m": 0.101}),
    spot({"width_m": 50, "head_m": 50}, {"distance_m": 50, "height_m": 50, "width_m": 50, "offset_m": -50}),
    spot({"reveal_depth_m": 50, "overhang_depth_m": 50}),
    spot(None, {"tilt_deg": 90, "distance_m": 0.001}),
    spot(None, {"tilt_deg": 90, "distance_m": 0.5, "aim_azimuth_deg": 315}),  # its back to the window
    spot({"skyline": [[0, 90]]}),
    spot({"outward_azimuth_deg": 360}, {"offset_m": 50}),
]


@pytest.mark.parametrize("path", BODIES)
@pytest.mark.parametrize("edge", range(len(EDGES)))
def test_the_edges_of_what_a_room_can_be_are_answered(caller, path, edge):
    body = {**QUESTIONS[path], "spot": EDGES[edge]}
    if path.startswith("/v1/moves"):
        body["object_height_mm"] = 5
    response = caller.post(path, body)
    if edge in (3, 8) and path in TABLED:  # farther than any table
        assert response.status_code == 422
        return
    assert response.status_code == 200, response.text
    if not path.endswith("picture"):
        json.loads(response.text, parse_constant=pytest.fail)


# Any room at all

SIZE = st.one_of(
    st.floats(-2.0, 4.0),
    st.sampled_from([0.0, -0.0, 1e-12, 1e-4, 0.2, 50.0, -50.0, 1e300, 5e-324]),
)
ANGLE = st.one_of(st.floats(-10.0, 400.0), st.sampled_from([0.0, 90.0, 180.0, 360.0]))
SKYLINE = st.lists(st.tuples(ANGLE, st.floats(-10.0, 95.0)), max_size=5)
WINDOWS = st.fixed_dictionaries(
    {"outward_azimuth_deg": ANGLE, "width_m": SIZE, "sill_m": SIZE, "head_m": SIZE},
    optional={
        "reveal_depth_m": SIZE,
        "overhang_depth_m": SIZE,
        "pane": st.sampled_from(["none", "float-glass-4mm", "glass", ""]),
        "skyline": SKYLINE,
    },
)
FRAMES = st.fixed_dictionaries(
    {"distance_m": SIZE},
    optional={
        "offset_m": SIZE,
        "width_m": SIZE,
        "height_m": SIZE,
        "tilt_deg": st.floats(-5.0, 95.0),
        "aim_azimuth_deg": ANGLE,
    },
)
PLAUSIBLE_WINDOWS = st.builds(
    lambda azimuth, width, sill, height, reveal, pane: {
        "outward_azimuth_deg": azimuth,
        "width_m": width,
        "sill_m": sill,
        "head_m": max(sill, 0.0) + height,
        "reveal_depth_m": reveal,
        "pane": pane,
    },
    st.floats(0.0, 360.0),
    st.floats(0.01, 5.0),
    st.floats(-1.0, 2.0),
    st.floats(0.01, 3.0),
    st.floats(0.0, 1.0),
    st.sampled_from(["none", "float-glass-4mm"]),
)
PLAUSIBLE_FRAMES = st.builds(
    lambda distance, offset, width, height, tilt: {
        "distance_m": distance + height,
        "offset_m": offset,
        "width_m": width,
        "height_m": height,
        "tilt_deg": tilt,
    },
    st.floats(0.0, 5.0),
    st.floats(-3.0, 3.0),
    st.floats(0.001, 2.0),
    st.floats(0.001, 2.0),
    st.floats(0.0, 90.0),
)
TABLES = st.fixed_dictionaries(
    {},
    optional={
        "table_nearest_m": st.floats(0.0, 3.0),
        "table_farthest_m": st.floats(0.0, 3.0),
        "table_leftmost_m": st.floats(-3.0, 3.0),
        "table_rightmost_m": st.floats(-3.0, 3.0),
    },
)
ROOMS = st.tuples(st.one_of(WINDOWS, PLAUSIBLE_WINDOWS), st.one_of(FRAMES, PLAUSIBLE_FRAMES))


@pytest.mark.parametrize("path", BODIES)
@seed(20260621)
@settings(
    max_examples=60,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(room=ROOMS, table=TABLES, hour=st.integers(0, 23))
def test_any_room_is_answered_or_refused(caller, path, room, table, hour):
    """And soon, or the run would hang: there is no room in which a search goes on without end."""
    body = {**QUESTIONS[path], "spot": {"kind": "window", "window": room[0], "frame": room[1]}}
    if "start" in body and "end" not in body:
        body["start"] = f"2026-06-21T{hour:02d}:00:00+01:00"
    if path in TABLED:
        body |= table
    response = caller.post(path, body)
    assert response.status_code in (200, 422), response.text
    if response.status_code == 422:
        assert all(error["field"].startswith(("spot", "table_")) for error in response.json()["errors"])
    elif not path.endswith("picture"):
        json.loads(response.text, parse_constant=pytest.fail)
