"""/v1/film-printers: scales of film printers, saved by name in all their versions, on both databases."""

import pytest
from databases import database_url

from noonframe.api.negative_tone_examples import FILM_PRINTER

__all__ = ["database_url"]

PATH = "/v1/film-printers"
NOON_S = 1_782_043_200.0
CURVE = {
    "densities": [1.42, 1.41, 1.36, 1.18, 0.89, 0.58, 0.34, 0.2, 0.13],
    "wedge": {"step_count": 9, "step_density": 0.3},
    "dose_j_m2": 96000,
}
PRINT = {"by": "print", "densities": [1.4, 1.38, 1.3, 1.1, 0.8, 0.5, 0.3, 0.2, 0.14, 0.12], "curve": CURVE}


@pytest.fixture
def ask(database_url, caller_with):
    caller = caller_with(NOON_S, database_url=database_url)

    def answer(method, path, body=None, status=200, **headers):
        sent = {"headers": {name.replace("_", "-"): value for name, value in headers.items()}}
        if body is not None:
            sent["json"] = body
        response = caller.request(method, path, **sent)
        assert response.status_code == status, response.text
        return response.json()

    yield answer
    caller.app.state.records.close()


def test_a_film_printer_is_saved_shown_changed_retired_and_restored(ask):
    saved = ask("POST", PATH, FILM_PRINTER, 201)
    assert saved["film_density_range"] == pytest.approx(2.34 - 0.11, abs=1e-3)
    assert "21 steps read from the film" in saved["says"]
    one = f"{PATH}/{saved['id']}"
    assert ask("GET", one) == saved
    fuller = {"scale": {"by": "usual", "full_density": 2.0}}
    changed = ask("PATCH", one, fuller, If_Match='"1"')
    assert (changed["version"], changed["film_density_range"]) == (2, 2.0)
    assert ask("GET", f"{one}?version=1")["film_density_range"] == saved["film_density_range"]
    assert [each["version"] for each in ask("GET", f"{one}/versions")["film_printers"]] == [1, 2]
    ask("POST", f"{one}/retire", status=200, If_Match='"2"')
    assert ask("GET", PATH)["film_printers"] == []
    ask("POST", f"{one}/restore", status=200, If_Match='"3"')
    assert [each["name"] for each in ask("GET", PATH)["film_printers"]] == [FILM_PRINTER["name"]]


def test_a_scale_read_from_a_print_is_worked_out_by_the_curve_given(ask):
    saved = ask("POST", PATH, {"name": "from a print", "scale": PRINT}, 201)
    assert 0.8 < saved["film_density_range"] < 2.0
    assert "read from a print" in saved["says"]


def test_a_curve_told_with_a_wedge_of_measured_steps_is_kept_as_it_was_told(ask):
    curve = {"densities": CURVE["densities"], "dose_j_m2": 96000}
    curve["wedge"] = {"densities": [0.0, 0.3, 0.61, 0.9, 1.2, 1.5, 1.8, 2.1, 2.4]}
    saved = ask("POST", PATH, {"name": "from a print", "scale": {**PRINT, "curve": curve}}, 201)
    assert saved["scale"]["curve"] == curve
    one = f"{PATH}/{saved['id']}"
    changed = ask("PATCH", one, {"notes": "new ink"}, If_Match='"1"')
    assert changed["film_density_range"] == saved["film_density_range"] is not None


def test_codes_of_a_scan_do_as_well(ask):
    codes = [52, 53, 56, 62, 80, 120, 160, 190, 205, 210]
    scale = {"by": "print", "codes": codes, "paper_code": 225, "curve": CURVE}
    saved = ask("POST", PATH, {"name": "scanned", "scale": scale}, 201)
    assert 0.5 < saved["film_density_range"] < 2.5


def test_a_code_that_is_too_dark_is_told_as_the_code_that_it_is(ask):
    scale = {"by": "print", "codes": [30, 36, 80, 160, 200, 205], "paper_code": 225, "curve": CURVE}
    error = ask("POST", PATH, {"name": "scanned", "scale": scale}, 422)["errors"][0]
    assert (error["field"], error["value"]) == ("scale.codes.0", 30)
    assert error["limit"].startswith("one whose density, 1.79, is at most")


def test_one_read_by_a_recipes_curve_is_worked_out_when_it_is_used(ask):
    scale = {key: value for key, value in PRINT.items() if key != "curve"} | {"recipe": "kelp"}
    saved = ask("POST", PATH, {"name": "by recipe", "scale": scale}, 201)
    assert saved["film_density_range"] is None
    assert "kelp" in saved["says"]
    gone = ask("GET", "/v1/negative/tone?film_printer=by%20recipe", status=422)
    assert gone["errors"][0]["field"] == "film_printer.scale.recipe"
    ask("POST", "/v1/recipes", {"name": "kelp"}, 201)
    made = ask("GET", "/v1/negative/tone?film_printer=by%20recipe")
    assert made["ink"]["film_density_range"] > 0.5
    assert any("guessed curve" in note for note in made["ink"]["notes"])


@pytest.mark.parametrize(
    ("scale", "field"),
    [
        ({"by": "film", "densities": [0.1, 0.5, 0.3, 1.0, 2.0]}, "scale.densities.2"),
        ({"by": "film", "densities": [0.1, 0.11, 0.12, 0.13, 0.14]}, "scale.densities.4"),
        (
            {"by": "film", "densities": [0.1, 0.5, 0.9, 1.0, 2.0], "ink_shares": [0, 0.5, 0.4, 0.8, 1]},
            "scale.ink_shares.2",
        ),
        ({"by": "film", "densities": [0.1, 0.5, 2.0]}, "scale.film.densities"),
        ({"by": "film", "densities": [0.1, 0.5, 0.9, 1.0, 2.0], "shade": 1}, "scale.film.shade"),
        ({"by": "usual", "full_density": 0.1}, "scale.usual.full_density"),
        ({"by": "guess"}, "scale"),
        ({}, "scale"),
        ({"by": "print", "densities": PRINT["densities"]}, "scale.recipe"),
        ({"by": "print", "curve": CURVE}, "scale.densities"),
        ({**PRINT, "codes": [9, 9, 9, 9, 9]}, "scale.densities"),
        ({**PRINT, "paper_code": 220}, "scale.paper_code"),
        ({"by": "print", "codes": [30, 40, 80, 160, 200], "curve": CURVE}, "scale.paper_code"),
        ({**PRINT, "densities": [2.0, 1.3, 1.0, 0.6, 0.3]}, "scale.densities.0"),
        ({**PRINT, "densities": [1.3, 1.0, 1.2, 0.6, 0.3]}, "scale.densities.2"),
        ({**PRINT, "recipe": "kelp"}, "scale.curve"),
        ({**PRINT, "curve": {**CURVE, "densities": [1.4] * 9}}, "scale.curve.densities"),
    ],
)
def test_scales_that_no_film_has_are_refused_by_field(ask, scale, field):
    refused = ask("POST", PATH, {"name": "odd", "scale": scale}, 422)
    assert refused["errors"][0]["field"] == field
    assert ask("GET", PATH)["film_printers"] == []


def test_a_change_to_a_scale_that_no_film_has_changes_nothing(ask):
    one = f"{PATH}/{ask('POST', PATH, FILM_PRINTER, 201)['id']}"
    bad = {"scale": {"by": "film", "densities": [0.1, 0.5, 0.3, 1.0, 2.0]}}
    assert ask("PATCH", one, bad, 422, If_Match='"1"')["errors"][0]["field"] == "scale.densities.2"
    assert ask("GET", one)["version"] == 1


def test_unknown_ones_and_names_taken_are_told(ask):
    nobody = f"{PATH}/00000000-0000-0000-0000-00000000abcd"
    assert ask("GET", nobody, status=404)["errors"][0]["field"] == "film_printer_id"
    ask("POST", PATH, FILM_PRINTER, 201)
    assert ask("POST", PATH, FILM_PRINTER, 409)["errors"][0]["field"] == "name"
