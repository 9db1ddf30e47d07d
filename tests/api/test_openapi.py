"""The OpenAPI document is complete, and what it shows works."""

from typing import Any

import pytest
from pydantic import BaseModel

from noonframe.api.inputs import ExposureQuery, LightQuery, PlacesQuery, SlotsQuery
from noonframe.api.problems import MEDIA_TYPE
from noonframe.api.reading import LONGEST_QUERY_BYTES

QUERIES: dict[str, type[BaseModel]] = {
    "/v1/light": LightQuery,
    "/v1/exposure": ExposureQuery,
    "/v1/say": ExposureQuery,
    "/v1/slots": SlotsQuery,
    "/v1/places": PlacesQuery,
}
KEEPING = (
    *("/v1/runs", "/v1/strip/follow", "/v1/recipes", "/v1/prints", "/v1/spots", "/v1/saved-places"),
    *("/v1/export", "/v1/import", "/v1/feeds", "/v1/calendars", "/v1/sessions/{session}/calendar.ics"),
    *("/v1/say/running", "/v1/say/time-left"),
    *("/v1/keys", "/v1/studios", "/v1/audit", "/v1/access", "/v1/tickets"),
    "/v1/negative",  # takes and gives files
    *("/v1/film-printers", "/v1/lamps"),
    "/v1/sessions",
)


@pytest.fixture(scope="module")
def document(caller):
    response = caller.get("/openapi.json")
    assert response.status_code == 200
    return response.json()


def operations(document):
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def references(node: Any):
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for value in node.values():
            yield from references(value)
    elif isinstance(node, list):
        for value in node:
            yield from references(value)


def test_it_is_openapi_3_1_and_every_reference_leads_somewhere(document):
    assert document["openapi"].startswith("3.1.")
    for reference in references(document):
        assert reference.startswith("#/components/schemas/")
        assert reference.rpartition("/")[2] in document["components"]["schemas"]


def test_every_route_of_the_contract_is_there(document):
    found = {(path, method) for path, method, _ in operations(document)}
    assert found >= {
        (path, method) for path in ("/v1/light", "/v1/exposure", "/v1/slots") for method in ("get", "post")
    } | {(path, "get") for path in ("/v1/say", "/v1/materials", "/v1/places", "/healthz", "/readyz")}
    names = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(names) == len(set(names))


def test_every_route_tells_its_errors_as_problem_details(document):
    for path, _, operation in operations(document):
        for status in ("413", "415", "422", "500"):
            content = operation["responses"][status]["content"]
            assert list(content) == [MEDIA_TYPE], path
            assert content[MEDIA_TYPE]["schema"] == {"$ref": "#/components/schemas/Problem"}
    assert "HTTPValidationError" not in document["components"]["schemas"]
    assert document["components"]["schemas"]["Problem"]["properties"]["errors"]


@pytest.mark.parametrize("path", QUERIES)
def test_every_field_of_a_query_is_documented_and_no_other(document, path):
    model = QUERIES[path]
    parameters = {entry["name"]: entry for entry in document["paths"][path]["get"]["parameters"]}
    assert set(parameters) == set(model.model_fields)
    for name, field in model.model_fields.items():
        assert parameters[name]["in"] == "query"
        assert parameters[name]["required"] is field.is_required()
    if path != "/v1/places":
        assert parameters["latitude_deg"]["schema"]["exclusiveMaximum"] == 90
        assert parameters["longitude_deg"]["schema"]["maximum"] == 180


def test_the_limits_of_the_installation_are_stated(caller_with):
    document = (
        caller_with(max_light_steps=1234, max_span_days=77, max_body_bytes=4321).get("/openapi.json").json()
    )
    for number in (1234, 77, 4321, LONGEST_QUERY_BYTES, 31):
        assert str(number) in document["info"]["description"]
    step = {p["name"]: p for p in document["paths"]["/v1/light"]["get"]["parameters"]}["step_s"]
    assert (step["schema"]["minimum"], step["schema"]["maximum"]) == (1, 86400)


def test_every_documented_request_works_and_answers_as_shown(caller, document):
    for path, method, operation in operations(document):
        if path.startswith(KEEPING):
            continue  # they keep records, and have tests of their own
        shown = operation["responses"]["200"]["content"]
        if method == "get":
            fields = {
                entry["name"]: entry["example"]
                for entry in operation.get("parameters", ())
                if "example" in entry
            }
            response = caller.get(path, fields)
        else:
            response = caller.post(path, operation["requestBody"]["content"]["application/json"]["example"])
        assert response.status_code == 200, (path, method, response.text)
        for media_type, content in shown.items():
            assert "example" in content, (path, method, media_type)
        if path in ("/v1/materials", "/v1/lamp-kinds", "/v1/outlook"):
            continue  # their examples hold the first of each kind only
        if "text/calendar" in shown:
            assert response.text.startswith("BEGIN:VCALENDAR\r\n")
            continue
        if "image/svg+xml" in shown:
            assert response.text.startswith("<svg")
            assert shown["image/svg+xml"]["example"].startswith("<svg")
            continue
        if "application/pdf" in shown:
            assert response.content.startswith(b"%PDF-")
            continue
        example = shown["application/json"]["example"]
        given = (
            caller.get(path, fields, headers={"Accept": "application/json"}).json()
            if "text/plain" in shown
            else response.json()
        )
        assert without_now(given) == without_now(example), (path, method)


def without_now(answer: dict[str, Any]) -> dict[str, Any]:
    """Summaries name the day only when it is not today, so they depend on the clock."""
    return {name: value for name, value in answer.items() if name != "summary"}


def test_the_body_examples_include_a_spot_that_works(caller, document):
    for path in ("/v1/light", "/v1/exposure", "/v1/slots"):
        body = document["paths"][path]["post"]["requestBody"]["content"]["application/json"]["example"]
        assert "spot" in body
        assert caller.post(path, body).status_code == 200


def test_no_page_that_loads_scripts_from_elsewhere_is_served(caller):
    for path in ("/docs", "/redoc", "/docs/oauth2-redirect"):
        assert caller.get(path).status_code == 404
