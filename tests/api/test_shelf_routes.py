"""A kind of saved document, described in a few lines, behaves on the wire as recipes and spots do."""

from typing import Annotated, Literal

import pytest
from fastapi import APIRouter
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel, Field

from noonframe.api.app import create_app
from noonframe.api.bench_answers import SavedItem
from noonframe.api.document_routes import change_of, document_examples, document_kind
from noonframe.api.inputs import Saved as SavedName
from noonframe.api.inputs_spot import STRICT
from noonframe.api.shelf_routes import add_shelf
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings

NOON_S = 1_782_043_200.0


class Flat(BaseModel):
    model_config = STRICT

    shape: Literal["flat"]
    width_mm: float = Field(ge=1, le=5000)


class Round(BaseModel):
    model_config = STRICT

    shape: Literal["round"]
    across_mm: float = Field(ge=1, le=5000)


class TrayBody(BaseModel):
    """A tray to wash in."""

    model_config = STRICT

    name: SavedName
    depth_mm: float = Field(ge=10, le=500, description="inside")
    form: Annotated[Flat | Round, Field(discriminator="shape")]
    marks: Annotated[list[Annotated[str, Field(max_length=5)]], Field(max_length=3)] = []
    note: str | None = None
    level_mm: float = Field(20.0, gt=0)


class TrayAnswer(SavedItem):
    """A tray."""

    depth_mm: float
    form: dict[str, object]
    marks: list[str]
    note: str | None
    level_mm: float
    litres: float


class TraysAnswer(BaseModel):
    """Trays, newest first."""

    trays: list[TrayAnswer]


TRAY = {"name": "large tray", "depth_mm": 80, "form": {"shape": "flat", "width_mm": 600}}


def check_level(_visit, tray):
    if tray.level_mm > tray.depth_mm:
        raise OutOfDomain("level_mm", tray.level_mm, "at most depth_mm")


def lamps():  # any shelf of documents will do
    from noonframe.store.lamps import LAMPS

    return LAMPS


KIND = document_kind(
    "tray",
    "/v1/trays",
    lamps,
    body=TrayBody,
    body_example=TRAY,
    change_example={"depth_mm": 90},
    answer=TrayAnswer,
    many=TraysAnswer,
    check=check_level,
    told=lambda document: {"litres": document["level_mm"] / 10.0},
)


@pytest.fixture
def trays(tmp_path, caller):
    app = create_app(Settings(state_dir=tmp_path), clock=lambda: NOON_S)
    router = APIRouter(tags=["trays"])
    add_shelf(router, KIND)
    app.include_router(router)
    yield type(caller)(app)
    app.state.records.close()


@pytest.fixture(scope="module")
def described():
    """What the OpenAPI document says of these routes alone."""
    router = APIRouter(tags=["trays"])
    add_shelf(router, KIND)
    return get_openapi(title="trays", version="1", routes=router.routes)["paths"]


def saved(trays, **given):
    response = trays.post("/v1/trays", TRAY | given)
    assert response.status_code == 201, response.text
    return response


def change(trays, identity, body, version=1, **headers):
    return trays.request(
        "PATCH", f"/v1/trays/{identity}", json=body, headers={"If-Match": f'"{version}"', **headers}
    )


def fields_of(response, status=422):
    assert response.status_code == status, response.text
    return {error["field"] for error in response.json()["errors"]}


def test_a_document_is_saved_shown_and_listed(trays):
    response = saved(trays)
    made = response.json()
    assert response.headers["ETag"] == '"1"'
    assert made == {
        **{"id": made["id"], "name": "large tray", "version": 1, "retired": False},
        **{"created": "2026-06-21T12:00:00+00:00", "saved": "2026-06-21T12:00:00+00:00"},
        **{"depth_mm": 80.0, "form": {"shape": "flat", "width_mm": 600.0}, "marks": [], "note": None},
        **{"level_mm": 20.0, "litres": 2.0},
    }
    assert trays.answer(f"/v1/trays/{made['id']}", {}) == made
    assert trays.answer("/v1/trays", {}) == {"trays": [made]}
    assert trays.answer("/v1/trays", {"name": "LARGE tray"}) == {"trays": [made]}
    assert trays.answer("/v1/trays", {"name": "small tray"}) == {"trays": []}


def test_a_change_keeps_what_it_does_not_name_and_null_goes_back_to_the_usual(trays):
    made = saved(trays, note="chipped", level_mm=30, marks=["a"]).json()
    new = change(trays, made["id"], {"depth_mm": 100, "note": None, "level_mm": None}).json()
    assert new == {**made, "version": 2, "depth_mm": 100.0, "note": None, "level_mm": 20.0, "litres": 2.0}
    assert trays.answer(f"/v1/trays/{made['id']}/versions", {}) == {"trays": [made, new]}
    assert trays.answer(f"/v1/trays/{made['id']}", {"version": 1}) == made


def test_a_change_that_says_nothing_new_is_no_version(trays):
    made = saved(trays).json()
    assert change(trays, made["id"], {"depth_mm": 80, "note": None}).json() == made
    assert change(trays, made["id"], {}).json() == made


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"depth_mm": 9}, "depth_mm"),
        ({"depth_mm": "90"}, "depth_mm"),
        ({"depth_mm": None}, "depth_mm"),
        ({"name": None}, "name"),
        ({"level_mm": 81}, "level_mm"),
        ({"depth_mm": 15}, "level_mm"),  # too shallow for the level it has already
        ({"marks": ["a", "abcdef"]}, "marks.1"),
        ({"marks": ["a"] * 4}, "marks"),
        ({"form": {"shape": "flat", "across_mm": 3}}, "form.flat.width_mm"),
        ({"form": {"shape": "oval"}}, "form"),
        ({"colour": "grey"}, "colour"),
    ],
)
def test_a_change_is_held_to_the_limits_of_the_whole(trays, body, field):
    made = saved(trays).json()
    assert field in fields_of(change(trays, made["id"], body))
    assert trays.answer(f"/v1/trays/{made['id']}/versions", {}) == {"trays": [made]}


@pytest.mark.parametrize(
    ("given", "field"),
    [({"level_mm": 90}, "level_mm"), ({"depth_mm": 1}, "depth_mm"), ({"x": 1}, "x"), ({"name": " "}, "name")],
)
def test_a_new_document_is_held_to_them_too(trays, given, field):
    assert field in fields_of(trays.post("/v1/trays", TRAY | given))
    assert trays.answer("/v1/trays", {}) == {"trays": []}


def test_a_change_names_the_version_it_was_made_from(trays):
    identity = saved(trays).json()["id"]
    unnamed = trays.request("PATCH", f"/v1/trays/{identity}", json={"depth_mm": 90})
    assert fields_of(unnamed, 428) == {"If-Match"}
    assert change(trays, identity, {"depth_mm": 90}).headers["ETag"] == '"2"'
    assert fields_of(change(trays, identity, {"depth_mm": 95}), 412) == {"If-Match"}


def test_a_retired_document_frees_its_name_and_comes_back(trays):
    identity = saved(trays).json()["id"]

    def turn(word, version):
        headers = {"If-Match": f'"{version}"'}
        return trays.request("POST", f"/v1/trays/{identity}/{word}", headers=headers)

    assert fields_of(trays.post("/v1/trays", TRAY), 409) == {"name"}
    assert turn("retire", 1).json()["retired"]
    assert trays.answer("/v1/trays", {}) == {"trays": []}
    other = saved(trays).json()["id"]
    assert fields_of(turn("restore", 2), 409) == {"name"}
    assert change(trays, other, {"name": "small tray"}).status_code == 200
    assert turn("restore", 2).json()["version"] == 3


def test_a_repetition_under_its_key_saves_nothing_new(trays):
    key = {"headers": {"Idempotency-Key": "one"}}
    first, again = (trays.post("/v1/trays", TRAY, **key) for _ in range(2))
    assert first.json() == again.json()
    assert again.headers["Idempotent-Replay"] == "true"
    assert again.headers["ETag"] == '"1"'
    assert len(trays.answer("/v1/trays", {})["trays"]) == 1


def test_an_unknown_one_is_not_found(trays):
    nobody = "00000000-0000-0000-0000-000000000001"
    assert trays.get(f"/v1/trays/{nobody}").status_code == 404
    assert fields_of(trays.get("/v1/trays/large")) == {"tray_id"}
    assert fields_of(trays.get("/v1/trays", {"before": nobody})) == {"before"}


def test_the_document_describes_the_routes_from_the_kind(described):
    paths = {path: set(methods) for path, methods in described.items()}
    one = "/v1/trays/{tray_id}"
    assert paths == {
        "/v1/trays": {"post", "get"},
        one: {"get", "patch"},
        f"{one}/versions": {"get"},
        f"{one}/retire": {"post"},
        f"{one}/restore": {"post"},
    }
    ids = {operation["operationId"] for path in paths for operation in described[path].values()}
    assert ids == {
        *("save_tray", "trays", "tray", "tray_versions", "change_tray", "retire_tray", "restore_tray")
    }
    (identity, match) = sorted(
        described[one]["patch"]["parameters"], key=lambda entry: entry["in"], reverse=True
    )
    assert (identity["name"], identity["schema"]["format"]) == ("tray_id", "uuid")
    assert match["name"] == "If-Match"
    body = described[one]["patch"]["requestBody"]["content"]["application/json"]
    assert body == {"schema": {"$ref": "#/components/schemas/TrayChange"}, "example": {"depth_mm": 90}}


def test_the_examples_of_a_kind_are_the_answers_that_it_gives(trays, described):
    shown = document_examples(KIND, NOON_S)
    made = saved(trays).json()
    example = shown["post", "/v1/trays"]["application/json"]
    assert {**made, "id": None} == {**example, "id": None}
    assert shown["get", "/v1/trays"]["application/json"] == {"trays": [example]}
    assert set(shown) == {(method, path) for path, methods in described.items() for method in methods}


def test_the_model_of_a_change_has_the_fields_and_limits_of_the_body_and_needs_none():
    model = change_of(TrayBody)
    assert model.__name__ == "TrayChange"
    assert model.model_validate({}).model_fields_set == set()
    schema, whole = model.model_json_schema()["properties"], TrayBody.model_json_schema()["properties"]
    assert schema.keys() == whole.keys()
    limits = {key: whole["depth_mm"][key] for key in ("minimum", "maximum", "type")}
    assert schema["depth_mm"]["anyOf"] == [limits, {"type": "null"}]
    assert schema["depth_mm"]["description"] == "inside"
    assert all(field["default"] is None for field in schema.values())
