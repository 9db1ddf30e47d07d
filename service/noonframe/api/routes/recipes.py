"""/v1/recipes: what a target belongs to, what is believed of it, and what that rests on."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any
from uuid import UUID, uuid4

from fastapi import APIRouter, Depends, Request, Response

from noonframe.api.bench_answers import (
    EvidenceAnswer,
    EvidenceListAnswer,
    RecipeAnswer,
    RecipesAnswer,
    TargetAnswer,
)
from noonframe.api.bench_bodies import (
    EvidenceBody,
    PriorBody,
    RecipeBody,
    RecipeChange,
    TargetQuery,
    VersionQuery,
    WithdrawBody,
)
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.bench_evidence import check_past, conditions_of, read_evidence
from noonframe.api.bench_fill import bench_of
from noonframe.api.bench_names import named
from noonframe.api.bench_runs import RunLight, run_light
from noonframe.api.bench_shapes import evidence_item, evidence_items, recipe_answer, target_answer
from noonframe.api.bench_shelf import Visit, merged
from noonframe.api.examples import EVIDENCE, RECIPE, RECIPE_CHANGE, WITHDRAW
from noonframe.api.idempotent import JSON, once
from noonframe.api.pictures.belief_plan import draw_belief
from noonframe.api.reading import body_of, json_body, no_query, query_parameters, read_query
from noonframe.api.routes.common import now_of
from noonframe.api.routes.runs import desk_of
from noonframe.api.shelf_routes import Kind, Said, add_shelf
from noonframe.errors import OutOfDomain, UnknownName

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.recipes import PriorOverride, RecipeFields
    from noonframe.store.versioned import Saved, Shelf

router = APIRouter(tags=["recipes"])
SVG = "image/svg+xml"
_PICTURE: dict[int | str, dict[str, Any]] = {
    200: {"content": {SVG: {"schema": {"type": "string"}}}, "description": "A drawing of the belief"}
}


def _shelf() -> "Shelf[RecipeFields]":
    from noonframe.store.recipes import RECIPES

    return RECIPES


def _make(visit: Visit, body: RecipeBody) -> "Callable[[Connection], RecipeFields]":
    from noonframe.store.recipes import RecipeFields

    def make(_db: "Connection") -> RecipeFields:
        return _altered(visit.desk, RecipeFields(body.name, body.sensitizer), body)

    return make


def _alter(visit: Visit, body: RecipeChange) -> "Callable[[Connection, Saved[RecipeFields]], RecipeFields]":
    return lambda _db, now: _altered(visit.desk, now.fields, body)


def _altered(desk: BenchDesk, now: "RecipeFields", body: RecipeChange) -> "RecipeFields":
    fields = merged(now, body, ("name", "sensitizer"), _own_prior(body))
    desk.check_coat(fields.sensitizer, fields.stack)
    return fields


RECIPE_KIND = Kind(
    what="recipe",
    path="/v1/recipes",
    shelf=_shelf,
    body=RecipeBody,
    change=RecipeChange,
    body_example=RECIPE,
    change_example=RECIPE_CHANGE,
    answer=RecipeAnswer,
    many=RecipesAnswer,
    gather=lambda recipes: RecipesAnswer(recipes=recipes),
    make=_make,
    alter=_alter,
    shape=recipe_answer,
    says={
        "create": Said("Save a recipe by name; with an `Idempotency-Key` a repetition saves nothing new."),
        "get": Said("A recipe, as it is now or as it was in a version; the `ETag` is for changing it."),
        "versions": Said(name="get_versions"),
        "change": Said(
            "Save a new version; `If-Match` with the version it was made from keeps two people apart.\n\n"
            "Another paper, coat or process is another recipe: what was learned of this one stays with it, "
            "except that\nevidence of another sensitizer does not count."
        ),
    },
)
add_shelf(router, RECIPE_KIND)


@router.get(
    "/v1/recipes/{recipe_id}/target",
    operation_id="recipe_target",
    response_model=TargetAnswer,
    openapi_extra=query_parameters(TargetQuery, {}),
)
def get_target(request: Request, recipe_id: UUID) -> Response:
    """What is believed of the dose a recipe needs, and from what."""
    from noonframe.store.recipes import RECIPES

    query, desk = read_query(TargetQuery, request), bench_of(request)
    with desk.records.open().read() as db:
        known = desk.known(db, RECIPES.get(db, recipe_id, query.version))
    told = query.model_fields_set & {"coat_age_h", "relative_humidity_percent", "air_temperature_c"}
    answer = target_answer(known, conditions_of(query) if told else None, curves=query.curves)
    return Response(answer.model_dump_json(), media_type=JSON)


@router.get(
    "/v1/recipes/{recipe_id}/target/picture",
    operation_id="recipe_target_picture",
    response_class=Response,
    responses=_PICTURE,
    openapi_extra=query_parameters(VersionQuery, {}),
)
def get_picture(request: Request, recipe_id: UUID) -> Response:
    """The belief against its evidence, as a drawing."""
    from noonframe.store.recipes import RECIPES

    query, desk = read_query(VersionQuery, request), bench_of(request)
    with desk.records.open().read() as db:
        known = desk.known(db, RECIPES.get(db, recipe_id, query.version))
    return Response(draw_belief(known.recipe.fields.name, known.belief, known.notes), media_type=SVG)


@router.get("/v1/recipes/{recipe_id}/evidence", operation_id="recipe_evidence")
def list_evidence(request: Request, recipe_id: UUID) -> EvidenceListAnswer:
    """What every strip, wedge and print told, withdrawn or not."""
    from noonframe.store.recipes import RECIPES

    no_query(request)
    desk = bench_of(request)
    with desk.records.open().read() as db:
        return EvidenceListAnswer(evidence=evidence_items(desk.known(db, RECIPES.get(db, recipe_id))))


@router.post(
    "/v1/recipes/{recipe_id}/evidence",
    operation_id="tell_recipe",
    status_code=201,
    response_model=EvidenceAnswer,
    openapi_extra=json_body(EvidenceBody, EVIDENCE),
)
def post_evidence(
    request: Request, recipe_id: UUID, body: Annotated[EvidenceBody, Depends(body_of(EvidenceBody))]
) -> Response:
    """Tell what a strip, a wedge or a print showed; the target moves."""
    from noonframe.store import evidence_records
    from noonframe.store.recipes import RECIPES

    desk, now_s = bench_of(request), now_of(request)
    moments = [] if body.covered_at is None else [each.timestamp() for each in body.covered_at]

    def prepare() -> "Callable[[Connection], EvidenceAnswer]":
        run = None
        if body.run_id is not None:
            run = run_light(desk_of(request), body.run_id, now_s, moments)
        return lambda db: tell(db, run)

    def tell(db: "Connection", run: RunLight | None) -> EvidenceAnswer:
        newest = RECIPES.get(db, recipe_id, lock=True)
        version = body.recipe_version
        if version is None and run is not None and run.recipe == str(recipe_id):
            version = run.recipe_version
        if run is not None:
            _refuse_told(db, recipe_id, run.run_id, body.kind)
        recipe = _version(db, recipe_id, version, newest.version)
        reading = read_evidence(body, recipe.fields.sensitizer, run)
        made_at_s = now_s if run is None else run.start_s
        if body.made_at is not None:
            made_at_s = body.made_at.timestamp()
            check_past(made_at_s, now_s)
        record = evidence_records.append(
            db,
            evidence_id=uuid4(),
            recipe_id=recipe_id,
            recipe_version=recipe.version,
            made_at_s=made_at_s,
            recorded_s=now_s,
            evidence=reading.evidence,
            told=reading.told,
            exposure_id=body.run_id,
        )
        return _evidence_answer(desk, db, newest, record.id)

    content = body.model_dump(mode="json", exclude_unset=True)
    return once(request, desk.records, content, prepare, status_code=201)


@router.post(
    "/v1/recipes/{recipe_id}/evidence/{evidence_id}/withdraw",
    operation_id="withdraw_evidence",
    response_model=EvidenceAnswer,
    openapi_extra=json_body(WithdrawBody, WITHDRAW),
)
def post_withdrawal(
    request: Request,
    recipe_id: UUID,
    evidence_id: UUID,
    body: Annotated[WithdrawBody, Depends(body_of(WithdrawBody))],
) -> Response:
    """Let evidence count no longer, and say why; it stays on file, and cannot be counted again."""
    from noonframe.store import evidence_records
    from noonframe.store.recipes import RECIPES

    desk, now_s = bench_of(request), now_of(request)

    def work(db: "Connection") -> EvidenceAnswer:
        newest = RECIPES.get(db, recipe_id, lock=True)
        if evidence_records.get(db, evidence_id).recipe_id != recipe_id:
            raise UnknownName("evidence_id", str(evidence_id), "the id of evidence of this recipe")
        evidence_records.withdraw(db, evidence_id, reason=body.reason, now_s=now_s)
        return _evidence_answer(desk, db, newest, evidence_id)

    return once(request, desk.records, body.model_dump(mode="json"), lambda: work, status_code=200)


def _evidence_answer(
    desk: BenchDesk, db: "Connection", recipe: "Saved[RecipeFields]", evidence_id: UUID
) -> EvidenceAnswer:
    known = desk.known(db, recipe)
    chances = dict(zip((e.id for e in known.counting), known.belief.posterior.blunders, strict=True))
    record = next(each for each in known.records if each.id == evidence_id)
    return EvidenceAnswer(
        evidence=evidence_item(record, chances.get(evidence_id)), target=target_answer(known)
    )


def _refuse_told(db: "Connection", recipe_id: UUID, run_id: UUID, kind: str) -> None:
    """Raise where the strip, wedge or logged print of a run was told before: it would count twice.

    Prints in the log may share a run, as several sheets in one frame do.
    """
    from noonframe.store import evidence_records

    for record in evidence_records.of_recipe(db, recipe_id, withdrawn=False):
        if record.exposure_id == run_id and record.kind.value == kind:
            limit = f"one whose {kind} is not told yet; withdraw the evidence {record.id} to tell it anew"
            raise OutOfDomain("run_id", str(run_id), limit)


def _version(db: "Connection", recipe_id: UUID, version: int | None, newest: int) -> "Saved[RecipeFields]":
    from noonframe.store.recipes import RECIPES

    if version is not None and version > newest:
        raise OutOfDomain("recipe_version", version, f"between 1 and {newest}")
    return RECIPES.get(db, recipe_id, version)


def _own_prior(body: RecipeChange) -> "dict[str, Any]":
    if "prior" not in body.model_fields_set:
        return {}
    return {"prior": None if body.prior is None else _prior(body.prior)}


def _prior(body: PriorBody) -> "PriorOverride":
    from noonframe.store.recipes import PriorOverride

    with named(prefix="prior."):
        return PriorOverride(body.median_j_m2, body.spread_stops, body.source)
