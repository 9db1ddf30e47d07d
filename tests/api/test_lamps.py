"""Lamps over HTTP: saved, named in place of the sun, followed, logged and learned from."""

import datetime as dt

import pytest

NOW = dt.datetime(2026, 6, 21, 9, 0, tzinfo=dt.UTC).timestamp()
START = "2026-06-21T12:00:00+01:00"
FRAME = "float-glass-4mm,polyester-film"
READING = {"by": "reading", "irradiance_mw_cm2": 6.0}
TUBES = {"shape": "tubes", "length_m": 0.44, "count": 8, "pitch_m": 0.05, "reflector_gain": 1.5}
POWER = {"by": "power", "power_w": 120, "distance_m": 0.08, "source": TUBES}
LAMP = {"kind": "uv-a-tube-368", "output": READING}
ASKED = {"lamp": LAMP, "start": START, "stack": FRAME, "target_j_m2": 24000}


@pytest.fixture
def bench(caller_with, tmp_path):
    """A service with records, whose clock can be put forward."""

    class Clock:
        now_s = NOW

    caller = caller_with(state_dir=tmp_path)
    caller.app.state.clock = lambda: Clock.now_s
    caller.app.state.records.clock = lambda: Clock.now_s
    caller.clock = Clock
    return caller


def good(response, status=200):
    assert response.status_code == status, response.text
    return response.json()


def faults(response):
    assert response.status_code == 422, response.text
    return {each["field"]: each["limit"] for each in response.json()["errors"]}


def test_an_exposure_under_a_lamp_tells_all_that_an_exposure_tells(caller):
    answer = good(caller.post("/v1/exposure", ASKED))
    basis = answer["basis"]
    assert answer["reached"]
    assert answer["start"] == START
    assert answer["end"].endswith("+01:00")
    assert answer["length_low_s"] < answer["length_s"] < answer["length_high_s"]
    assert answer["if_sun_stays_s"] is answer["if_cloud_covers_s"] is answer["light_end"] is None
    assert basis["uva_w_m2"] == pytest.approx(60.0)
    # the dose is the light times the time, but for what the warm-up takes: 0.35 of 120 s
    assert answer["length_s"] == pytest.approx(24000 / basis["effective_w_m2"] + 42.0, abs=0.2)
    said = " ".join(answer["cautions"])
    assert "IEC 62471" in said
    assert "mercury" in said
    assert "sun" not in said.lower()
    assert "cloud" not in answer["summary"]


def test_a_saved_lamp_is_named_in_a_query(bench):
    saved = good(bench.post("/v1/lamps", {"name": "quayside box", **LAMP}), 201)
    whole = good(bench.post("/v1/exposure", ASKED))
    for words in ("quayside box", "Quayside  Box", saved["id"]):
        named = bench.answer("/v1/exposure", {**ASKED, "lamp": words})
        assert named["length_s"] == whole["length_s"]
        assert named["basis"]["lamp"].startswith("quayside box")
    spoken = bench.get("/v1/say", {**ASKED, "lamp": "quayside box"})
    assert "under the lamp" in spoken.text


def test_a_lamp_is_saved_changed_listed_and_put_away(bench):
    saved = good(bench.post("/v1/lamps", {"name": "box", **LAMP}), 201)
    path = f"/v1/lamps/{saved['id']}"
    changed = good(bench.request("PATCH", path, json={"hours": 1000}, headers={"If-Match": '"1"'}))
    assert (changed["version"], changed["hours"], changed["output"]["irradiance_mw_cm2"]) == (2, 1000.0, 6.0)
    older = bench.answer("/v1/exposure", {**ASKED, "lamp": "box"})
    assert older["basis"]["age_share"] == pytest.approx(0.8)
    assert [each["name"] for each in bench.answer("/v1/lamps", {})["lamps"]] == ["box"]
    good(bench.post(f"{path}/retire", {}, headers={"If-Match": '"2"'}))
    assert "lamp" in faults(bench.get("/v1/exposure", {**ASKED, "lamp": "box"}))


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"place": "Porto"}, "place"),
        ({"latitude_deg": 41.0, "longitude_deg": -8.0}, "latitude_deg"),
        ({"sky": "clear"}, "sky"),
        ({"cloud_optical_depth": 3}, "cloud_optical_depth"),
        ({"ozone_du": 300}, "ozone_du"),
        ({"tilt_deg": 30}, "tilt_deg"),
        ({"spot": {"kind": "open"}}, "spot"),
        ({"start": None}, "time_zone"),
        ({"time_zone": "Nowhere/City"}, "time_zone"),
        ({"lamp_lit_s": -1}, "lamp_lit_s"),
        ({"lamp": 7}, "lamp"),
        ({"lamp": ""}, "lamp"),
        ({"lamp": {}}, "lamp.kind"),
        ({"lamp": {**LAMP, "watts": 3}}, "lamp.watts"),
        ({"lamp": {**LAMP, "kind": "led-366"}}, "lamp.kind"),
        ({"lamp": {**LAMP, "hours": -1}}, "lamp.hours"),
        ({"lamp": {**LAMP, "start_share": 0}}, "lamp.start_share"),
        ({"lamp": {**LAMP, "output": {"by": "guess"}}}, "lamp.output"),
        ({"lamp": {**LAMP, "output": {"by": "reading"}}}, "lamp.output.irradiance_w_m2"),
        (
            {"lamp": {**LAMP, "output": {**READING, "irradiance_w_m2": 60}}},
            "lamp.output.irradiance_w_m2",
        ),
        (
            {"lamp": {**LAMP, "output": {**READING, "meter_low_nm": 400, "meter_high_nm": 380}}},
            "lamp.output.meter_high_nm",
        ),
        (
            {"lamp": {**LAMP, "output": {**READING, "meter_low_nm": 420, "meter_high_nm": 470}}},
            "lamp.output.meter_high_nm",
        ),
        ({"lamp": {**LAMP, "output": {**READING, "meter_centre_nm": 450}}}, "lamp.output.meter_centre_nm"),
        ({"lamp": {**LAMP, "output": {"by": "print", "length_s": 0}}}, "lamp.output.length_s"),
        ({"lamp": {**LAMP, "output": {"by": "print", "length_s": 9, "stack": "x"}}}, "lamp.output.stack"),
        ({"lamp": {**LAMP, "output": {**POWER, "radiant_w": 4}}}, "lamp.output.power_w"),
        (
            {"lamp": {**LAMP, "output": {**POWER, "source": {**TUBES, "pitch_m": 0}}}},
            "lamp.output.source.pitch_m",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_its_name(caller, change, field):
    body = {name: value for name, value in {**ASKED, **change}.items() if value is not None}
    assert field in faults(caller.post("/v1/exposure", body))


def test_not_a_number_is_no_lamp(caller):
    text = (
        b'{"lamp": {"kind": "led-365", "output": {"by": "reading", "irradiance_w_m2": NaN}}, "start": "%s"}'
    )
    response = caller.post("/v1/exposure", text % START.encode())
    assert response.status_code == 422


@pytest.mark.parametrize("path", ["/v1/slots", "/v1/moves", "/v1/patch", "/v1/outlook"])
def test_what_is_about_the_sun_knows_no_lamp(caller, path):
    body = {"lamp": LAMP, "place": "quayside-yard"}
    assert "lamp" in faults(caller.post(path, body))


def test_an_unsaved_lamp_is_told(bench):
    good(bench.post("/v1/lamps", {"name": "quayside box", **LAMP}), 201)
    response = bench.get("/v1/exposure", {**ASKED, "lamp": "quayside bok"})
    assert "quayside box" in response.json()["detail"]


def test_a_lamp_that_no_request_could_use_is_not_saved(bench):
    body = {
        "name": "odd",
        "kind": "led-405",
        "output": {"by": "reading", "irradiance_w_m2": 40, "meter_high_nm": 390},
    }
    assert "lamp.output.meter_high_nm" in faults(bench.post("/v1/lamps", body))


def test_a_lamp_known_from_a_print_of_a_recipe_gives_that_prints_length(bench):
    good(bench.post("/v1/recipes", {"name": "kelp", "stack": FRAME.split(",")}), 201)
    output = {"by": "print", "length_s": 720, "recipe": "kelp"}
    good(bench.post("/v1/lamps", {"name": "box", "kind": "uv-a-tube-352", "output": output}), 201)
    answer = bench.answer("/v1/exposure", {"lamp": "box", "start": START, "recipe": "kelp"})
    assert answer["length_s"] == pytest.approx(720.0, abs=0.01)
    both = {**output, "target_j_m2": 24000}
    body = {"start": START, "lamp": {"kind": "uv-a-tube-352", "output": both}}
    assert "lamp.output.target_j_m2" in faults(bench.post("/v1/exposure", body))
    unknown = {"kind": "uv-a-tube-352", "output": {**output, "recipe": "nettle"}}
    assert "lamp.output.recipe" in faults(bench.post("/v1/exposure", {"start": START, "lamp": unknown}))


def test_power_and_distance_tell_how_even_the_sheet_is(caller):
    answer = good(caller.post("/v1/exposure", {**ASKED, "lamp": {**LAMP, "output": POWER}}))
    assert answer["evenness"]["lowest_stops"] == pytest.approx(answer["basis"]["corner_stops"], abs=0.3)
    assert answer["evenness"]["lowest_stops"] < 0.0
    assert answer["basis"]["spread_stops"] > 0.4


def test_a_lamp_lit_before_needs_no_warm_up(caller):
    cold, warm = (good(caller.post("/v1/exposure", {**ASKED, "lamp_lit_s": lit})) for lit in (0, 3600))
    assert cold["length_s"] - warm["length_s"] == pytest.approx(42.0, abs=0.3)


def test_a_lamp_too_weak_says_so_and_promises_no_other_day(caller):
    weak = {**LAMP, "output": {"by": "reading", "irradiance_w_m2": 0.05}}
    answer = good(caller.post("/v1/exposure", {**ASKED, "lamp": weak}))
    assert not answer["reached"]
    assert answer["end"] is answer["next_start"] is None
    assert "whole day of this lamp" in answer["summary"]


def test_light_under_a_lamp_is_its_spectrum_as_it_warms(caller):
    body = {"lamp": LAMP, "start": START, "end": "2026-06-21T12:20:00+01:00", "step_s": 60}
    answer = good(caller.post("/v1/light", body))
    assert answer["output_share"][0] == 0.65
    assert answer["output_share"][-1] == pytest.approx(1.0, abs=1e-4)
    for name in ("uva_w_m2", "blue_w_m2", "effective_w_m2"):
        assert answer[name] == sorted(answer[name])
    assert 5.0 * sum(answer["spectral_w_m2_nm"]) == pytest.approx(
        answer["basis"]["uva_w_m2"] + answer["basis"]["violet_w_m2"], rel=1e-3
    )


def test_a_strip_under_a_lamp_ends_with_its_last_dose(caller):
    body = {key: value for key, value in ASKED.items() if key != "target_j_m2"}
    answer = good(caller.post("/v1/strip", body))
    last = answer["strips"][-1]
    whole = good(caller.post("/v1/exposure", {**body, "target_j_m2": last["total_j_m2"]}))
    assert last["after_s"] == pytest.approx(whole["length_s"], abs=0.01)
    assert answer["complete"]
    assert answer["next_start"] is None
    wedge = good(caller.post("/v1/strip", {**body, "kind": "wedge"}))
    assert wedge["expected_full_step"] is not None
    assert "step_stops" in faults(caller.post("/v1/strip", {**body, "kind": "wedge", "step_stops": 1}))


def test_a_run_under_a_lamp_is_paused_finished_logged_and_learned_from(bench):
    good(bench.post("/v1/recipes", {"name": "kelp", "stack": FRAME.split(",")}), 201)
    good(bench.post("/v1/lamps", {"name": "box", **LAMP}), 201)
    asked = {"lamp": "box", "recipe": "kelp", "start": "2026-06-21T10:00:00+01:00", "target_j_m2": 24000}
    run = good(bench.post("/v1/runs", {**asked, "name": "kelp fronds"}), 201)
    path = f"/v1/runs/{run['id']}"
    bench.clock.now_s += 300
    running = bench.answer(path, {})
    assert running["end"] == run["end"]
    assert running["sky"]["says"] == "under a lamp"
    next_strip = good(
        bench.post("/v1/strip/follow", {"run_id": run["id"], "first_j_m2": 9000, "strip_count": 5})
    )
    assert next_strip["next_strip"] == 1
    good(bench.post(f"{path}/events", {"kind": "covered"}), 201)
    assert "kind" in faults(bench.post(f"{path}/events", {"kind": "sky", "sky": "clear"}))
    bench.clock.now_s += 1800
    paused = bench.answer(path, {})
    assert paused["dose_j_m2"] == running["dose_j_m2"]
    told = good(bench.post(f"{path}/events", {"kind": "uncovered"}), 201)
    assert told["run"]["effective_w_m2"] < running["effective_w_m2"]  # cold again
    bench.clock.now_s += 600
    ended = good(bench.post(f"{path}/events", {"kind": "finished"}), 201)["run"]
    # the same by another desk, which knows only the records
    bench.app.state.runs._followed.clear()
    assert bench.answer(path, {})["dose_j_m2"] == ended["dose_j_m2"]
    assert bench.answer("/v1/runs", {})["runs"][0]["created"].endswith("+01:00")
    made = good(bench.post("/v1/prints", {"run_id": run["id"], "judgement": "right"}), 201)
    assert made["light"]["basis"]["kind"] == "uv-a-tube-368"
    assert made["spot"]["says"].startswith("under a lamp")
    assert made["light"]["spread"]["occasion"].startswith("lamp box")
    assert made["target"]["learned"]


def test_a_run_under_a_lamp_needs_a_clock(bench):
    good(bench.post("/v1/lamps", {"name": "box", **LAMP}), 201)
    assert "time_zone" in faults(bench.post("/v1/runs", {"lamp": "box"}))
    run = good(bench.post("/v1/runs", {"lamp": "box", "time_zone": "Europe/Lisbon"}), 201)
    assert run["start"].endswith("+01:00")


def test_the_kinds_say_where_they_come_from(caller):
    kinds = caller.answer("/v1/lamp-kinds", {})["kinds"]
    assert {"uv-a-tube-352", "uv-a-tube-368", "led-365", "led-385", "led-395", "led-405"} <= {
        kind["id"] for kind in kinds
    }
    assert all("no source" in kind["provenance"] for kind in kinds)
    assert 5.0 * sum(kinds[0]["relative_per_nm"]) == pytest.approx(1.0, abs=1e-5)
