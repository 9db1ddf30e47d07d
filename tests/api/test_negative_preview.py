"""/v1/negative/tone and /v1/negative/preview, and film pages whose tones are corrected."""

import io
import json
import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from noonframe.api.negative_tone_examples import FILM_PRINTER, PREVIEW, STEPS, TONE
from noonframe.api.routes.negative import ANSWER_HEADER
from noonframe.datafiles import data_folder

NOON_S = 1_782_043_200.0
JSON = {"Accept": "application/json"}
MAKE, SHOW, TABLE = "/v1/negative", "/v1/negative/preview", "/v1/negative/tone"
LISTED = {"by": "film", "densities": STEPS}


def ramp_bytes(width=210, height=40):
    row = np.rint(np.linspace(0, 255, width)).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(np.repeat(row[None, :], height, axis=0)).save(out, "PNG")
    return out.getvalue()


RAMP = ramp_bytes()


@pytest.fixture(scope="module")
def service(caller_with, tmp_path_factory):
    url = f"sqlite:///{tmp_path_factory.mktemp('tone') / 'bench.db'}"
    caller = caller_with(NOON_S, database_url=url)
    for path, body in (
        ("/v1/recipes", {"name": "kelp on cotton", "stack": ["float-glass-4mm", "polyester-film"]}),
        ("/v1/recipes", {"name": "bare", "sensitizer": "oxalate-variant"}),
        ("/v1/film-printers", FILM_PRINTER),
        ("/v1/film-printers", {"name": "thin ink", "scale": {"by": "usual", "full_density": 0.9}}),
    ):
        assert caller.request("POST", path, json=body).status_code == 201
    yield caller
    caller.app.state.records.close()


@pytest.fixture
def send(service):
    def ask(path, settings=None, pictures=(RAMP,), **how):
        files = [("picture", (f"ramp-{n}.png", data, "image/png")) for n, data in enumerate(pictures)]
        if settings is not None:
            files.append(("settings", (None, json.dumps(settings), "application/json")))
        return service.request("POST", path, files=files, **how)

    return ask


def fault(response, status=422):
    assert response.status_code == status, response.text
    return response.json()["errors"][0]


def table(service, query="", **body):
    if body:
        response = service.request("POST", TABLE, json=body)
    else:
        response = service.request("GET", f"{TABLE}?{query}")
    assert response.status_code == 200, response.text
    return response.json()


def test_without_anything_said_the_table_rests_on_what_is_usual_and_says_so(service):
    told = table(service)
    assert [node["picture_percent"] for node in told["table"]] == pytest.approx(
        np.linspace(0, 100, 21), abs=0.01
    )
    assert told["table"][0]["ink_percent"] == 0
    assert sum("usual" in note or "guess" in note for note in told["notes"]) == 2
    printed = [node["print_density"] for node in told["table"]]
    np.testing.assert_allclose(np.diff(printed), np.mean(np.diff(printed)), atol=0.002)


def test_a_curve_and_a_scale_told_in_the_request_are_used(service):
    told = table(service, **TONE)
    assert told["paper"]["d_max"] == pytest.approx(1.42, abs=0.06)
    assert "21 steps read" in told["ink"]["says"]
    assert told["paper"]["target_j_m2"] is None
    aimed = table(service, **TONE, target_j_m2=60000)
    assert aimed["paper"]["target_j_m2"] == 60000


def test_a_recipe_and_a_film_printer_are_found_by_name(service):
    told = table(service, "recipe=kelp%20on%20cotton&film_printer=inkjet%20upstairs&even=lightness")
    assert told["even"] == "lightness"
    assert told["ink"]["says"].startswith("inkjet upstairs: 21 steps")
    # the recipe's stack has the film's base, so the exposure counts it there
    assert told["exposure"]["negative_includes_base"] is False
    assert told["exposure"]["negative_density"] == 0
    bare = table(service, "recipe=bare&film_printer=inkjet%20upstairs")
    assert bare["exposure"]["negative_includes_base"] is True
    assert bare["exposure"]["negative_density"] == pytest.approx(0.11)
    assert bare["needed_density_range"] > told["needed_density_range"]


@pytest.mark.parametrize("recipe", ["kelp on cotton", "bare"])
def test_an_exposure_takes_what_the_film_is_said_to_carry(service, recipe):
    told = table(service, f"recipe={recipe.replace(' ', '%20')}&film_printer=inkjet%20upstairs")
    carried = {name: value for name, value in told["exposure"].items() if name != "says"}
    asked = {"latitude_deg": 41.15, "longitude_deg": -8.61, "start": "2026-06-21T12:00:00+01:00"}
    plain = service.request("POST", "/v1/exposure", json={**asked, "recipe": recipe})
    behind = service.request("POST", "/v1/exposure", json={**asked, "recipe": recipe, **carried})
    assert (plain.status_code, behind.status_code) == (200, 200), behind.text
    factor = behind.json()["length_s"] / plain.json()["length_s"]
    # a decade of density is ten times the time, in light that hardly changes
    assert factor == pytest.approx(10 ** carried["negative_density"], rel=0.03)


def test_densities_told_of_a_wedge_become_the_recipes_curve_at_its_own_target(service):
    recipe = service.post("/v1/recipes", {"name": "read"}).json()["id"]
    evidence = {"kind": "wedge", "dose_j_m2": 96000, "last_full": 3, **TONE["curve"]}
    told = service.post(f"/v1/recipes/{recipe}/evidence", evidence)
    assert told.status_code == 201, told.text
    target = told.json()["target"]["target_j_m2"]
    by_recipe = table(service, "recipe=read")
    assert by_recipe["paper"]["says"] == "a step wedge told for the recipe read"
    assert by_recipe["paper"]["target_j_m2"] == pytest.approx(target, rel=1e-3)
    by_readings = table(service, curve=TONE["curve"], target_j_m2=by_recipe["paper"]["target_j_m2"])
    assert by_recipe["table"] == by_readings["table"]
    withdrawn = f"/v1/recipes/{recipe}/evidence/{told.json()['evidence']['id']}/withdraw"
    assert service.post(withdrawn, {"reason": "another coat"}).status_code == 200
    assert table(service, "recipe=read")["paper"]["says"].startswith("the usual curve")


def test_densities_that_make_no_curve_are_refused_when_they_are_told(service):
    recipe = service.post("/v1/recipes", {"name": "misread"}).json()["id"]
    evidence = {"kind": "wedge", "dose_j_m2": 96000, "last_full": 3, **TONE["curve"]}
    bad = {**evidence, "densities": [1.42, 1.41, 1.36, 1.6, 0.89, 0.58, 0.34, 0.2, 0.13]}
    refused = service.post(f"/v1/recipes/{recipe}/evidence", bad)
    assert fault(refused)["field"].startswith("densities")


def test_measured_ends_of_the_paper_go_before_the_usual_ones(service):
    told = table(service, d_min=0.2, d_max=1.1)
    assert (told["paper"]["d_min"], told["paper"]["d_max"]) == (0.2, 1.1)
    assert told["lightest"] == pytest.approx(0.24)


def test_ink_that_is_too_thin_is_told_with_the_greys_that_it_costs(service):
    told = table(service, "film_printer=thin%20ink")
    assert told["clipped_from_share"] == pytest.approx(0.88, abs=0.02)
    assert any("0.30 of density short" in note for note in told["notes"])
    assert "88 % of the code range" in told["summary"]
    squeezed = table(service, "film_printer=thin%20ink&when_short=squeeze")
    assert squeezed["clipped_from_share"] is None
    assert squeezed["lightest"] == told["lightest"]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"recipe": "nobody"}, "recipe"),
        ({"film_printer": "nobody"}, "film_printer"),
        ({"recipe": "kelp on cotton", "recipe_version": 9}, "recipe_version"),
        ({"recipe_version": 1}, "recipe_version"),
        ({"recipe": "kelp on cotton", "sensitizer": "citrate-classic"}, "sensitizer"),
        ({"sensitizer": "moonlight"}, "sensitizer"),
        ({"sensitizer": "citrate-classic", "curve": TONE["curve"]}, "sensitizer"),
        ({"film_printer": "thin ink", "scale": LISTED}, "scale"),
        ({"d_max": 0.1}, "d_max"),
        ({"d_min": 1.5, "d_max": 1.0}, "d_max"),
        ({"target_j_m2": 0}, "target_j_m2"),
        ({"curve": TONE["curve"], "target_j_m2": 50}, "target_j_m2"),
        ({"curve": {"densities": [1.0, 0.5, 0.1], "dose_j_m2": 9000}}, "curve.densities"),
        ({"lightest_net_density": 0}, "lightest_net_density"),
        ({"even": "loudness"}, "even"),
        ({"when_short": "shout"}, "when_short"),
        ({"shade": 3}, "shade"),
        ({"scale": {"by": "film", "densities": [0.1, 0.6, 0.4, 1.0, 2.0]}}, "scale.densities.2"),
        (
            {"scale": {"by": "print", "densities": [1.3, 1.0, 0.6, 0.4, 0.2], "recipe": "nobody"}},
            "scale.recipe",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_field(service, body, field):
    assert fault(service.request("POST", TABLE, json=body))["field"] == field


@pytest.mark.parametrize("path", [TABLE, f"{TABLE}/picture"])
@pytest.mark.parametrize("method", ["get", "post"])
def test_the_documented_requests_work_and_answer_as_shown(service, path, method):
    operation = service.get("/openapi.json").json()["paths"][path][method]
    if method == "get":
        asked = {one["name"]: one["example"] for one in operation["parameters"] if "example" in one}
        response = service.get(path, asked)
    else:
        body = operation["requestBody"]["content"]["application/json"]["example"]
        response = service.post(path, body)
    ((kind, shown),) = operation["responses"]["200"]["content"].items()
    assert (response.json() if kind == "application/json" else response.text) == shown["example"]


def test_a_name_that_comes_near_is_offered(service):
    told = service.request("GET", f"{TABLE}?film_printer=inkjet%20upstair").json()
    assert "did you mean inkjet upstairs" in told["detail"]


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_the_correction_is_drawn(service, method):
    how = {} if method == "GET" else {"json": TONE}
    response = service.request(method, f"{TABLE}/picture", **how)
    assert response.headers["content-type"].startswith("image/svg+xml")
    assert response.text.startswith("<svg")
    assert "Dashed: without the correction" in response.text


def test_a_preview_is_a_png_with_its_numbers_in_a_header(send):
    response = send(SHOW)
    assert response.status_code == 200, response.text
    picture = Image.open(io.BytesIO(response.content))
    assert (picture.format, picture.size) == ("PNG", (4 * (210 + 12) + 12, 40 + 54))
    told = json.loads(response.headers[ANSWER_HEADER])
    assert [one["stops"] for one in told["exposures"]] == [-0.5, 0, 0.5]
    assert told["not_modelled"]


def test_a_preview_in_numbers_shows_a_ramp_that_is_even_once_corrected(send):
    ramps = {}
    for corrected in (True, False):
        told = send(SHOW, {"corrected": corrected, "stops": [0]}, headers=JSON).json()
        ramp = np.array(told["exposures"][0]["ramp"])
        ramps[corrected] = np.abs(ramp - np.linspace(ramp[0], ramp[-1], 21)).max()
    assert ramps[True] < 0.01
    assert ramps[False] > 0.2


def test_the_share_of_the_picture_that_is_clipped_is_counted(send):
    told = send(SHOW, {"tone": {"film_printer": "thin ink"}}, headers=JSON).json()
    # of a ramp, as much as of the code range
    assert told["clipped_share"] == pytest.approx(1.0 - told["tone"]["clipped_from_share"], abs=0.01)
    assert "12 % of its dots" in told["summary"]


@pytest.mark.parametrize(
    ("settings", "field"),
    [
        ({"stops": []}, "stops"),
        ({"stops": [9]}, "stops.0"),
        ({"longest_px": 99}, "longest_px"),
        ({"longest_px": 5000}, "longest_px"),
        ({"bits": 12}, "bits"),
        ({"paper_colour": "white"}, "paper_colour"),
        ({"paper_colour": "#000000"}, "paper_colour"),
        ({"tone": {"recipe": "nobody"}}, "tone.recipe"),
        ({"tone": {"d_max": 0.1}}, "tone.d_max"),
        ({"negative": {"picture": 2}}, "negative.picture"),
        ({"negative": {"copies": 2}}, "negative.copies"),
        ({"negative": {"contrast": 99}}, "negative.contrast"),
        ({"shade": 1}, "shade"),
    ],
)
def test_previews_that_cannot_be_are_refused_by_field(send, settings, field):
    assert fault(send(SHOW, settings))["field"] == field


def test_previews_are_of_one_picture_that_is_a_picture(send):
    assert fault(send(SHOW, pictures=(RAMP, RAMP)))["field"] == "picture"
    assert fault(send(SHOW, pictures=(b"kelp",)))["field"].startswith("picture")
    assert fault(send(SHOW, pictures=(RAMP[:60],)))["field"].startswith("picture")


def test_a_preview_leaves_nothing_in_temporary_folders(send, tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    assert send(SHOW).status_code == 200
    assert os.listdir(tmp_path) == []


def test_a_film_page_with_a_tone_correction_holds_the_corrected_codes(send, service):
    page = {"page": "a6", "dpi": 72, "format": "png", "mirror": False, "cutting_marks": False}
    told = table(service, "film_printer=inkjet%20upstairs")
    films = {}
    for name, tone in (("plain", None), ("toned", {"film_printer": "inkjet upstairs"})):
        response = send(MAKE, page | ({} if tone is None else {"tone": tone}))
        assert response.status_code == 200, response.text
        films[name] = np.asarray(Image.open(io.BytesIO(response.content))).astype(int)
    plain, toned = films["plain"], films["toned"]
    for node in told["table"][1:-1]:
        positive = round(65535 * node["picture_percent"] / 100)
        found = toned[np.abs(plain - (65535 - positive)) < 300]
        assert found.size
        assert np.abs(found - node["film_code"]).max() < 1200


def test_a_film_page_says_what_its_tones_are_made_for_and_what_is_clipped(send):
    told = send(MAKE, {"page": "a6", "dpi": 72, "tone": {"film_printer": "thin ink"}}, headers=JSON).json()
    assert told["tone"]["bits"] == 8
    assert not any("without a tone correction" in note for note in told["notes"])
    assert any("12 % of its dots" in warning for warning in told["negatives"][0]["warnings"])
    plain = send(MAKE, {"page": "a6", "dpi": 72}, headers=JSON).json()
    assert plain["tone"] is None
    assert any("without a tone correction" in note for note in plain["notes"])


def test_a_film_page_for_a_recipe_that_there_is_not_is_refused(send):
    assert (
        fault(send(MAKE, {"page": "a6", "dpi": 72, "tone": {"recipe": "nobody"}}))["field"] == "tone.recipe"
    )


def test_the_demos_tide_table_becomes_a_preview(send):
    photo = Path(data_folder() / "pictures" / "tide-table.jpg").read_bytes()
    response = send(SHOW, PREVIEW, pictures=(photo,))
    assert response.status_code == 200, response.text
    pixels = np.asarray(Image.open(io.BytesIO(response.content)).convert("RGB")).astype(int)
    middle = pixels[:, pixels.shape[1] // 2 : -20]
    assert middle[..., 2].mean() > middle[..., 0].mean() + 40  # blue
