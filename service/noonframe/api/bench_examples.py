"""Example answers of the bench's routes, from the engine; no records are touched."""

from typing import Any
from uuid import UUID

from pydantic import BaseModel

from noonframe.api import examples
from noonframe.api.bench_answers import (
    CountsItem,
    EvidenceAnswer,
    EvidenceListAnswer,
    ImportAnswer,
    PrintKeptAnswer,
    PrintsAnswer,
    RecipesAnswer,
    SavedPlacesAnswer,
    SpotsAnswer,
)
from noonframe.api.bench_bodies import (
    EvidenceBody,
    PlaceChange,
    PlaceSaveBody,
    PrintBody,
    PrintChange,
    RecipeBody,
    RecipeChange,
    SpotChange,
    SpotSaveBody,
    WithdrawBody,
)
from noonframe.api.bench_coating import answer_coating, answer_formulas
from noonframe.api.bench_curve import answer_curve
from noonframe.api.bench_desk import Known, belief_of
from noonframe.api.bench_evidence import Reading, read_evidence
from noonframe.api.bench_prints import changed_print
from noonframe.api.bench_shapes import (
    evidence_items,
    place_answer,
    print_answer,
    print_fields,
    recipe_answer,
    spot_answer,
    target_answer,
)
from noonframe.api.bench_strip import answer_follow, answer_strip
from noonframe.api.inputs_bench import CoatingBody, CurveBody, StripBody, StripFollowBody
from noonframe.api.pictures.belief_plan import draw_belief
from noonframe.bench.belief import Prior
from noonframe.settings import Settings
from noonframe.stack.sensitizers import find_sensitizer

BENCH_MODELS: tuple[type[BaseModel], ...] = (
    StripBody,
    StripFollowBody,
    CurveBody,
    CoatingBody,
    RecipeBody,
    RecipeChange,
    EvidenceBody,
    WithdrawBody,
    PrintBody,
    PrintChange,
    SpotSaveBody,
    SpotChange,
    PlaceSaveBody,
    PlaceChange,
)
_RECIPE, _EVIDENCE, _PRINT, _SPOT, _PLACE = (UUID(int=number) for number in range(11, 16))
Shown = dict[tuple[str, str], dict[str, Any]]


def bench_examples(settings: Settings, now_s: float) -> Shown:
    """An answer to the example request of each operation, by media type."""
    return {**_tools(settings, now_s), **_recipes(settings, now_s), **_shelf(now_s)}


def _shown(answers: dict[tuple[str, str], BaseModel]) -> Shown:
    return {
        operation: {"application/json": answer.model_dump(mode="json")}
        for operation, answer in answers.items()
    }


def _tools(settings: Settings, now_s: float) -> Shown:
    from zoneinfo import ZoneInfo

    from noonframe.api.ask import understand
    from noonframe.api.inputs_runs import RunBody
    from noonframe.api.records import Records
    from noonframe.api.runs import RunDesk
    from noonframe.api.times import parse_time
    from noonframe.api.weather import WeatherDesk
    from noonframe.store.exposures import Exposure, ExposureEvent, ExposureStatus

    strip = answer_strip(StripBody.model_validate(examples.STRIP), settings, now_s, None)
    body = RunBody.model_validate({**examples.RUN, "target_j_m2": 96000})
    scene = body.model_dump(mode="json", exclude_unset=True, exclude={"name", "start"})
    run_id = UUID(int=1)
    row = Exposure(run_id, now_s, body.name, scene, 96000.0, ExposureStatus.RUNNING, 2, 1)
    started = ExposureEvent(run_id, 1, UUID(int=2), "started", now_s, now_s, {})
    desk = RunDesk(settings, Records(settings, lambda: now_s), WeatherDesk(None))
    run = desk.follow_rows(row, [started], now_s + 240.0)
    ask = understand(body, parse_time(run.at), settings)
    following = StripFollowBody.model_validate({**examples.STRIP_FOLLOW, "run_id": run_id})
    return _shown(
        {
            ("post", "/v1/strip"): strip,
            ("post", "/v1/strip/follow"): answer_follow(following, run, ask.scene, ZoneInfo("Europe/Lisbon")),
            ("post", "/v1/curve"): answer_curve(CurveBody.model_validate(examples.CURVE)),
            ("post", "/v1/coating"): answer_coating(CoatingBody.model_validate(examples.COATING)),
            ("get", "/v1/formulas"): answer_formulas(),
        }
    )


def _recipes(settings: Settings, now_s: float) -> Shown:
    from noonframe.store.evidence_records import EvidenceRecord
    from noonframe.store.prints import PrintFields
    from noonframe.store.recipes import RecipeFields
    from noonframe.store.versioned import Saved

    told: dict[str, Any] = {**examples.RECIPE}
    told["stack"] = tuple(told["stack"])
    recipe = Saved(_RECIPE, 1, now_s, now_s, False, RecipeFields(**told))
    coat = find_sensitizer(recipe.fields.sensitizer, settings.spectra_dir)
    body = EvidenceBody.model_validate(examples.EVIDENCE)
    reading: Reading = read_evidence(body, coat.id, None)
    record = EvidenceRecord(_EVIDENCE, _RECIPE, 1, now_s, now_s, reading.evidence, reading.told)
    belief = belief_of(Prior.of_sensitizer(coat), (reading.evidence,))
    known = Known(recipe, belief, (record,), (record,), 0)
    target, items = target_answer(known), evidence_items(known)
    saved = recipe_answer(recipe)
    fields = changed_print(
        PrintFields("kelp fronds", _RECIPE, 1, now_s), PrintBody.model_validate(examples.PRINT)
    )
    logged = Saved(_PRINT, 1, now_s, now_s, False, fields)
    kept = PrintKeptAnswer(
        **print_fields(logged),
        evidence_id=str(_EVIDENCE),
        target=target,
        summary=f"kelp fronds, judged right: the target of {recipe.fields.name} is, {belief.sentence}.",
    )
    told_answer = EvidenceAnswer(evidence=items[0], target=target)
    this, one = "/v1/recipes/{recipe_id}", "/v1/prints/{print_id}"
    nothing = CountsItem(added=0, extended=0, unchanged=0)
    added = CountsItem(added=1, extended=0, unchanged=0)
    shown = _shown(
        {
            ("post", "/v1/recipes"): saved,
            ("get", "/v1/recipes"): RecipesAnswer(recipes=[saved]),
            ("get", this): saved,
            ("get", f"{this}/versions"): RecipesAnswer(recipes=[saved]),
            ("patch", this): saved,
            ("post", f"{this}/retire"): saved.model_copy(update={"version": 2, "retired": True}),
            ("post", f"{this}/restore"): saved.model_copy(update={"version": 3}),
            ("get", f"{this}/target"): target,
            ("get", f"{this}/evidence"): EvidenceListAnswer(evidence=items),
            ("post", f"{this}/evidence"): told_answer,
            ("post", this + "/evidence/{evidence_id}/withdraw"): told_answer,
            ("post", "/v1/prints"): kept,
            ("get", "/v1/prints"): PrintsAnswer(prints=[print_answer(logged)], total=1),
            ("get", one): print_answer(logged),
            ("get", f"{one}/versions"): PrintsAnswer(prints=[print_answer(logged)], total=1),
            ("patch", one): kept,
            ("post", f"{one}/retire"): kept.model_copy(update={"version": 2, "retired": True}),
            ("post", f"{one}/restore"): kept.model_copy(update={"version": 3}),
            ("post", "/v1/import"): ImportAnswer(
                recipes=added,
                spots=nothing,
                places=nothing,
                exposures=nothing,
                prints=added,
                evidence=added,
                film_printers=nothing,
                lamps=nothing,
                sessions=nothing,
                summary="3 records added, 0 carried on, 0 were here already.",
            ),
        }
    )
    shown["get", f"{this}/target/picture"] = {
        "image/svg+xml": draw_belief(recipe.fields.name, belief, known.notes)
    }
    return shown


def _shelf(now_s: float) -> Shown:
    from noonframe.store.places_saved import PlaceFields
    from noonframe.store.spots import SpotFields
    from noonframe.store.versioned import Saved

    told: dict[str, Any] = {**examples.SAVED_SPOT}
    spot = spot_answer(Saved(_SPOT, 1, now_s, now_s, False, SpotFields(**told)))
    place_told: dict[str, Any] = {**examples.SAVED_PLACE}
    place = place_answer(Saved(_PLACE, 1, now_s, now_s, False, PlaceFields(**place_told)))
    answers: dict[tuple[str, str], BaseModel] = {}
    for path, one, saved, many in (
        ("/v1/spots", "/v1/spots/{spot_id}", spot, SpotsAnswer(spots=[spot])),
        ("/v1/saved-places", "/v1/saved-places/{place_id}", place, SavedPlacesAnswer(places=[place])),
    ):
        answers["post", path] = saved
        answers["get", path] = many
        answers["get", one] = saved
        answers["get", f"{one}/versions"] = many
        answers["patch", one] = saved
        answers["post", f"{one}/retire"] = saved.model_copy(update={"version": 2, "retired": True})
        answers["post", f"{one}/restore"] = saved.model_copy(update={"version": 3})
    return _shown(answers)
