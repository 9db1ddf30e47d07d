"""Strips, wedges, curves and coating over HTTP: against other routes, closed forms and published recipes."""

import datetime as dt
import math

import numpy as np
import pytest
from weather_rig import CLEAR, NOON_S, rigged

from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
START = "2026-06-21T12:00:00+01:00"
SHEET = {"stack": "float-glass-4mm,polyester-film"}
STRIP = {**YARD, **SHEET, "start": START}

SAME_LENGTH_S = 0.5
"""A strip's course is straight between minutes, an exposure's between half minutes: high sun bends little."""


def moment(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()


def ok(response):
    assert response.status_code in (200, 201), response.text
    return response.json()


def refused(response, status=422):
    assert response.status_code == status, response.text
    return [error["field"] for error in response.json()["errors"]]


def test_a_strip_brackets_the_belief_by_two_spreads_in_half_stops(caller):
    plan = ok(caller.post("/v1/strip", {**STRIP, "target_j_m2": 24000, "target_spread_stops": 1.0}))
    totals = [strip["total_j_m2"] for strip in plan["strips"]]
    # two spreads of one stop to either side, in halves: nine strips from a quarter to four times the median
    assert len(totals) == 9
    assert totals[0] == pytest.approx(6000.0)
    assert totals[-1] == pytest.approx(96000.0) == plan["dose_j_m2"]
    # t_k = t_0 2**(k s) with s = 1/2: 4.00, 5.66, 8.00, 11.31, 16.00 from 4.00 (strip arithmetic)
    assert [4.0 * total / totals[0] for total in totals[:5]] == pytest.approx(
        [4, 5.66, 8, 11.31, 16], abs=0.005
    )
    assert [strip["strip"] for strip in plan["strips"]] == list(range(1, 10))
    assert plan["complete"]
    assert plan["handy"]


def test_every_cover_comes_when_an_exposure_to_that_dose_would_end(caller):
    plan = ok(caller.post("/v1/strip", {**STRIP, "first_j_m2": 5000, "step_stops": 0.5, "strip_count": 7}))
    for strip in plan["strips"]:
        query = {**YARD, **SHEET, "start": START, "target_j_m2": strip["total_j_m2"]}
        length_s = caller.answer("/v1/exposure", query)["length_s"]
        assert strip["after_s"] == pytest.approx(length_s, abs=SAME_LENGTH_S)
        assert moment(strip["cover_at"]) - moment(START) == pytest.approx(strip["after_s"], abs=0.002)
        assert moment(strip["cover_low"]) < moment(strip["cover_at"]) < moment(strip["cover_high"])


def test_covers_too_close_for_a_hand_are_said_to_be_and_a_longer_step_is_named(caller):
    hasty = {**STRIP, "first_j_m2": 600, "step_stops": 0.25, "strip_count": 9}
    plan = ok(caller.post("/v1/strip", hasty))
    assert not plan["handy"]
    assert plan["shortest_gap_s"] < plan["handy_gap_s"]
    assert any("too close" in line for line in plan["advice"])
    longer = {**hasty, "step_stops": plan["handier_step_stops"], "strip_count": 4}
    assert ok(caller.post("/v1/strip", longer))["handy"]


def test_a_strip_that_the_evening_cuts_short_says_so_and_when_to_try_again(caller):
    plan = ok(caller.post("/v1/strip", {**STRIP, "start": "2026-06-21T20:30:00+01:00"}))
    assert not plan["complete"]
    assert plan["end"] is None
    assert plan["strips"][-1]["cover_at"] is None
    assert moment(plan["next_start"]) > moment(plan["start"])
    assert "before the light goes" in plan["summary"]


def test_a_wedge_gets_the_least_dose_that_brackets_the_belief(caller):
    body = {**STRIP, "kind": "wedge", "target_j_m2": 20000, "target_spread_stops": 1.0}
    plan = ok(caller.post("/v1/strip", body))
    # the polyester base passes 10**-0.10 in the near ultraviolet (a maker of step tables); step 1 gets two
    # spreads more than the median
    assert plan["dose_j_m2"] == pytest.approx(20000 * 4 * 10**0.10)
    assert len(plan["steps"]) == 21
    ratios = [b["dose_j_m2"] / a["dose_j_m2"] for a, b in zip(plan["steps"], plan["steps"][1:], strict=False)]
    assert ratios == pytest.approx([10**-0.15] * 20)  # 0.15 density a step
    assert plan["steps"][0]["target_stops"] == pytest.approx(2.0, abs=1e-3)
    # 2 stops are 0.602 of density: four whole steps of 0.15 lie above the median, the fifth is step 5
    assert plan["expected_full_step"] == 5


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "wedge", "step_stops": 0.5}, "step_stops"),
        ({"wedge": {}}, "wedge"),
        ({"kind": "wedge", "wedge": {"densities": [0.0, 0.3, 0.2]}}, "wedge.densities.2"),
        ({"kind": "wedge", "wedge": {"step_count": 21, "densities": [0, 0.1, 0.2]}}, "wedge.step_count"),
        ({"step_stops": 0.01}, "step_stops"),
        ({"strip_count": 1}, "strip_count"),
        ({"strip_count": 32}, "strip_count"),
        ({"target_j_m2": 24000, "target_spread_stops": 0}, "target_spread_stops"),
        ({"first_j_m2": 0}, "first_j_m2"),
        ({"kind": "stripe"}, "kind"),
        ({"steps": 9}, "steps"),
        ({"target_source": "hearsay"}, "target_source"),
    ],
)
def test_a_strip_that_makes_no_sense_is_refused_by_name(caller, change, field):
    assert refused(caller.post("/v1/strip", {**STRIP, **change})) == [field]


# a generalised logistic with known parameters: D_min, net density, centre, steepness, asymmetry
KNOWN = (0.10, 1.30, 4.0, 4.0, 1.0)


def logistic(log_dose):
    d_min, net, centre, steepness, asymmetry = KNOWN
    return d_min + net * (1.0 + np.exp(-steepness * (log_dose - centre))) ** -asymmetry


def test_a_simulated_wedge_gives_back_the_curve_it_was_made_of(caller):
    dose = 200e3
    log_dose = np.log10(dose) - 0.10 - 0.15 * np.arange(21)
    body = {"dose_j_m2": dose, "densities": logistic(log_dose).tolist(), "points": True}
    found = ok(caller.post("/v1/curve", body))["curve"]
    d_min, net, _, steepness, _ = KNOWN
    # exposure scale from 0.04 above D_min to 90 % of the net density (ISO 6846, from memory), in closed form
    scale = (math.log(net / 0.04 - 1.0) - math.log(1.0 / 0.9 - 1.0)) / steepness
    assert found["d_min"] == pytest.approx(d_min, abs=0.01)
    assert found["d_max"] == pytest.approx(d_min + net, abs=0.01)
    assert found["exposure_scale"] == pytest.approx(scale, abs=0.02)
    assert found["negative_density_range"] == found["exposure_scale"]
    assert found["gamma"] == pytest.approx(net * steepness / 4.0, rel=0.02)  # the logistic's steepest slope
    assert len(found["dose_j_m2"]) == len(found["density"]) == 61


def test_a_coat_that_takes_twice_the_light_is_one_stop_slower(caller):
    doses = (np.geomspace(500.0, 500e3, 15)).tolist()
    slow = {"doses_j_m2": [2.0 * dose for dose in doses]}
    densities = logistic(np.log10(doses)).tolist()
    answer = ok(
        caller.post(
            "/v1/curve",
            {**slow, "densities": densities, "against": {"doses_j_m2": doses, "densities": densities}},
        )
    )
    assert answer["difference"]["slower_stops"] == pytest.approx(1.0, abs=0.01)
    assert answer["difference"]["exposure_scale_stops"] == pytest.approx(0.0, abs=0.02)
    assert "1.00 stops slower" in answer["summary"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"densities": [0.1, 0.2, 0.3]}, "densities"),
        ({"densities": [None] * 15 + [0.1] * 6}, "doses_j_m2"),
        ({"dose_j_m2": None}, "dose_j_m2"),
        ({"densities": [0.1] * 10 + [1.4] + [0.1] * 10}, "densities.9"),
        ({"densities": [7.0] * 21}, "densities.0"),
        ({"against": {"densities": [0.1] * 21}}, "against.dose_j_m2"),
    ],
)
def test_readings_that_make_no_curve_are_refused_by_name(caller, change, field):
    densities = logistic(np.log10(96e3) - 0.1 - 0.15 * np.arange(21)).tolist()
    fields = refused(caller.post("/v1/curve", {"dose_j_m2": 96000, "densities": densities, **change}))
    assert fields[0] == field


def test_blank_readings_keep_the_numbers_of_the_rest(caller):
    densities = logistic(np.log10(96e3) - 0.1 - 0.15 * np.arange(21)).tolist()
    densities[0] = None
    densities[12] = densities[11] + 0.5
    fields = refused(caller.post("/v1/curve", {"dose_j_m2": 96000, "densities": densities}))
    assert fields[0] in {"densities.11", "densities.10"}  # a step with more dose lies below one with less


SHEETS = [{"width_mm": 203.2, "height_mm": 254.0, "count": 10}]


def test_ten_sheets_take_fifteen_millilitres_and_the_margin(caller):
    answer = ok(caller.post("/v1/coating", {"sheets": SHEETS, "bottle_ml": {"iron": 50, "ferricyanide": 50}}))
    # about 1.5 mL to 8 by 10 inches by rod (from memory)
    assert answer["coat_ml"] == pytest.approx(15.0, abs=0.1)
    assert answer["total_ml"] == pytest.approx(answer["coat_ml"] * 1.15, abs=0.01)
    iron, ferricyanide = answer["stocks"]
    assert iron["volume_ml"] == ferricyanide["volume_ml"] == pytest.approx(answer["total_ml"] / 2, abs=0.001)
    # 25 g and 10 g to 100 mL (M. Ware, published workshop notes)
    assert [powder["weight_g"] for stock in answer["stocks"] for powder in stock["powders"]] == [25.0, 10.0]
    assert answer["bottle_sheets"] == math.floor(100 / (answer["total_ml"] / 10))
    assert all(step["earliest_start"] is None for step in answer["washing"])


def test_washing_is_told_with_its_times_and_the_rinse_with_its_dose(caller):
    body = {"sheets": SHEETS, "wash_start": START, "oxidising_rinse": True, "acid_bath": True, "bath_l": 2}
    answer = ok(caller.post("/v1/coating", body))
    washing = answer["washing"]
    assert [step["id"] for step in washing][:3] == ["acid-bath", "wash", "oxidising-rinse"]
    assert washing[0]["earliest_start"] == washing[0]["latest_start"] == START
    assert washing[1]["earliest_start"] == washing[0]["earliest_end"]
    # a few millilitres of 3 % peroxide to the litre (from memory): 5 mL
    assert answer["rinse_peroxide_ml"] == 10.0


def test_every_caution_and_check_has_its_source_and_the_gravest_comes_first(caller):
    answer = ok(caller.post("/v1/coating", {"sheets": SHEETS, "formula": "oxalate-variant"}))
    assert answer["cautions"][0]["about"] == "ammonium dichromate"
    assert answer["caution"].startswith("Contains a chromium(VI) salt")
    assert {"disposal", "hands and eyes", "children and animals", "kitchen things"} <= {
        caution["about"] for caution in answer["cautions"]
    }
    for line in (*answer["cautions"], *answer["checklist"], *answer["washing"], *answer["coating"]):
        assert line["source"]


def test_strong_peroxide_is_refused_for_a_rinse(caller):
    body = {"sheets": SHEETS, "oxidising_rinse": True, "peroxide_strength_percent": 12}
    response = caller.post("/v1/coating", body)
    assert refused(response) == ["peroxide_strength_percent"]
    assert "serious damage to eyes" in response.json()["errors"][0]["limit"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"formula": "citrate"}, "formula"),
        ({"coverage": "sponge"}, "coverage"),
        ({"coverage": "brush", "coverage_ml_m2": 40}, "coverage"),
        ({"bottle_ml": {"iron": 50}}, "bottle_ml.ferricyanide"),
        ({"bottle_ml": {"iron": 50, "ferricyanide": 50, "water": 1}}, "bottle_ml.water"),
        ({"sheets": []}, "sheets"),
        ({"sheets": [{"width_mm": 1, "height_mm": 100}]}, "sheets.0.width_mm"),
        ({"margin_share": 2}, "margin_share"),
    ],
)
def test_coating_that_makes_no_sense_is_refused_by_name(caller, change, field):
    assert refused(caller.post("/v1/coating", {"sheets": SHEETS, **change})) == [field]


def test_the_formulas_are_those_that_coating_takes(caller):
    answer = caller.answer("/v1/formulas", {})
    for formula in answer["formulas"]:
        body = {"sheets": SHEETS, "formula": formula["id"], "coverage": answer["coverages"][0]["id"]}
        assert ok(caller.post("/v1/coating", body))["label"] == formula["label"]
        assert formula["source"]


def test_a_strip_under_a_forecast_says_so_and_takes_longer_under_its_cloud(tmp_path):
    cloudy = ScriptedSky((Spell(NOON_S, 0.25, cloud_low=1.0, cloud_mid=0.9),), elevation_m=80.0)
    plans = []
    for folder, sky in (("clear", CLEAR), ("cloudy", cloudy)):
        with rigged(tmp_path / folder, sky) as rig:
            plans.append(rig.ask("open-meteo").post("/v1/strip"))
    clear, covered = plans
    assert clear["basis"]["weather"]["freshness"] == "fresh"
    assert covered["strips"][0]["after_s"] > 1.5 * clear["strips"][0]["after_s"]
    assert covered["basis"]["sky"]["evidence"] == "forecast: shortwave irradiance"
