"""What the OpenAPI document says of the bench's routes, tried against the service."""

import datetime as dt
from typing import Any

import pytest

from noonframe.api.app import create_app
from noonframe.api.problems import MEDIA_TYPE
from noonframe.settings import Settings

NOON = dt.datetime(2026, 6, 21, 11, 0, tzinfo=dt.UTC).timestamp()
KEEPING = ("/v1/recipes", "/v1/prints", "/v1/spots", "/v1/saved-places")
ORDER = ("post", "get", "patch")


@pytest.fixture(scope="module")
def document(caller):
    return caller.request("GET", "/openapi.json").json()


def operations(document: dict[str, Any]):
    for path, methods in document["paths"].items():
        if path.startswith((*KEEPING, "/v1/strip", "/v1/curve", "/v1/coating", "/v1/formulas")):
            yield from ((path, method, operation) for method, operation in methods.items())


def good(operation: dict[str, Any]) -> dict[str, Any]:
    responses = operation["responses"]
    found: dict[str, Any] = responses["200" if "200" in responses else "201"]
    return found


def test_every_answer_of_the_bench_has_an_example(document):
    for path, method, operation in operations(document):
        content = good(operation)["content"]
        if path == "/v1/prints/table":
            assert list(content) == ["text/csv"]
            continue
        for media_type, shown in content.items():
            assert "example" in shown, (path, method, media_type)


def test_every_change_declares_its_header_and_its_two_refusals(document):
    changes = [
        (path, method, operation)
        for path, method, operation in operations(document)
        if method == "patch" or path.endswith(("/retire", "/restore"))
    ]
    assert len(changes) == 12  # of recipes, prints, spots and places: change, retire, restore
    for path, method, operation in changes:
        headers = [entry for entry in operation["parameters"] if entry["in"] == "header"]
        assert [(entry["name"], entry["required"]) for entry in headers] == [("If-Match", True)], (
            path,
            method,
        )
        for status in ("412", "428"):
            content = operation["responses"][status]["content"][MEDIA_TYPE]
            assert content["schema"] == {"$ref": "#/components/schemas/Problem"}
            assert content["example"]["status"] == int(status)
            assert content["example"]["errors"][0]["field"] == "If-Match"


def test_the_documented_bodies_work_in_turn_and_answers_have_the_fields_shown(document, tmp_path, caller):
    app = create_app(Settings(state_dir=tmp_path), clock=lambda: NOON)
    client = type(caller)(app)
    ids: dict[str, str] = {}
    try:
        for prefix, name in zip(KEEPING, ("recipe_id", "print_id", "spot_id", "place_id"), strict=True):
            listed = [entry for entry in operations(document) if entry[0].startswith(prefix)]
            listed.sort(key=lambda entry: (entry[0].count("/"), ORDER.index(entry[1])))
            changing = [e for e in listed if e[1] == "patch" or e[0].endswith(("/retire", "/restore"))]
            changing.sort(key=lambda entry: ("patch", "post").index(entry[1]) + entry[0].endswith("/restore"))
            for path, method, operation in [e for e in listed if e not in changing] + changing:
                headers = {}
                if (path, method, operation) in changing:
                    newest = client.request("GET", f"{prefix}/{ids[name]}")
                    headers["If-Match"] = newest.headers["ETag"]
                body = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
                sent = {"json": body["example"]} if body else {}
                response = client.request(method.upper(), path.format(**ids), headers=headers, **sent)
                assert response.status_code in (200, 201), (path, method, response.text)
                assert str(response.status_code) in operation["responses"]
                if response.headers["content-type"] != "application/json":
                    continue
                answer = response.json()
                if method == "post" and path == prefix:
                    ids[name] = answer["id"]
                if method == "post" and path.endswith("/evidence"):
                    ids["evidence_id"] = answer["evidence"]["id"]
                shown = good(operation)["content"]["application/json"]["example"]
                assert answer.keys() == shown.keys(), (path, method)
    finally:
        app.state.records.close()
    assert set(ids) == {"recipe_id", "print_id", "spot_id", "place_id", "evidence_id"}
