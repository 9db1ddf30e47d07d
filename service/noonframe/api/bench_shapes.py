"""Saved things, evidence and beliefs as they are told."""

from collections import Counter
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from noonframe.api.ask_spot import describe_spot, find_spot
from noonframe.api.bench_answers import (
    CurvesItem,
    EvidenceItem,
    PlaceAnswer,
    PrintAnswer,
    PriorItem,
    RecipeAnswer,
    SpanItem,
    SpotAnswer,
    TargetAnswer,
    TermItem,
)
from noonframe.api.bench_desk import Known
from noonframe.api.bench_fill import spot_from
from noonframe.api.bench_strip import ladder_item
from noonframe.api.inputs_spot import SpotFields
from noonframe.api.times import format_time
from noonframe.bench.belief import Prior
from noonframe.bench.evidence import Conditions, EvidenceKind
from noonframe.bench.ladder import MOST_STRIPS, STEP_STOPS, DoseLadder, bracketing_ladder
from noonframe.bench.wording import dose_words, spread_words
from noonframe.errors import NoonframeError

if TYPE_CHECKING:
    from noonframe.store.evidence_records import EvidenceRecord
    from noonframe.store.places_saved import PlaceFields
    from noonframe.store.prints import PrintFields
    from noonframe.store.recipes import RecipeFields
    from noonframe.store.spots import SpotFields as SavedSpotFields
    from noonframe.store.versioned import Saved

_UTC = ZoneInfo("UTC")
OWN_PRIOR = "the printer's own figure"


def moment(unix_s: float) -> str:
    """A moment of the records, in UTC."""
    return format_time(unix_s, _UTC)


def _head(saved: "Saved[Any]") -> dict[str, Any]:
    return {
        "id": str(saved.id),
        "name": saved.fields.name,
        "version": saved.version,
        "created": moment(saved.created_s),
        "saved": moment(saved.saved_s),
        "retired": saved.retired,
    }


def recipe_answer(saved: "Saved[RecipeFields]") -> RecipeAnswer:
    """A version of a recipe."""
    fields, prior = saved.fields, saved.fields.prior
    return RecipeAnswer(
        **_head(saved),
        sensitizer=fields.sensitizer,
        stack=list(fields.stack),
        paper=fields.paper,
        coat_notes=fields.coat_notes,
        negative_notes=fields.negative_notes,
        notes=fields.notes,
        prior=None if prior is None else _prior(prior.prior()),
    )


def spot_answer(saved: "Saved[SavedSpotFields]") -> SpotAnswer:
    """A version of a saved spot."""
    fields = saved.fields
    try:
        says = describe_spot(find_spot(SpotFields(), spot_from(fields.spot)))
    except NoonframeError:  # brought in from elsewhere; it must not take the list with it
        says = "a spot that cannot be read"
    return SpotAnswer(
        **_head(saved),
        spot=dict(fields.spot),
        says=says,
        place=fields.place,
        latitude_deg=fields.latitude_deg,
        longitude_deg=fields.longitude_deg,
        elevation_m=fields.elevation_m,
        time_zone=fields.time_zone,
    )


def place_answer(saved: "Saved[PlaceFields]") -> PlaceAnswer:
    """A version of a saved place."""
    fields = saved.fields
    return PlaceAnswer(
        **_head(saved),
        latitude_deg=fields.latitude_deg,
        longitude_deg=fields.longitude_deg,
        elevation_m=fields.elevation_m,
        time_zone=fields.time_zone,
    )


def print_answer(saved: "Saved[PrintFields]") -> PrintAnswer:
    """A version of a print."""
    return PrintAnswer(**print_fields(saved))


def print_fields(saved: "Saved[PrintFields]") -> dict[str, Any]:
    """What is told of a version of a print."""
    fields = saved.fields
    light = None if fields.light is None else dict(fields.light)
    written = None if light is None else light.pop("conditions", None)
    told = written if isinstance(written, Mapping) else {}
    names = ("coat_age_h", "relative_humidity_percent", "air_temperature_c")
    return _head(saved) | {
        "recipe_id": str(fields.recipe_id),
        "recipe_version": fields.recipe_version,
        "made": moment(fields.made_at_s),
        "run_id": None if fields.exposure_id is None else str(fields.exposure_id),
        "spot": None if fields.spot is None else dict(fields.spot),
        "dose_j_m2": fields.dose_j_m2,
        "dose_spread_stops": fields.dose_spread_stops,
        "light": light or None,
        **{name: told.get(name) for name in names},
        "wash_notes": fields.wash_notes,
        "rinse_notes": fields.rinse_notes,
        "judgement": None if fields.judgement is None else fields.judgement.value,
        "judgement_stops": fields.judgement_stops,
        "photo": fields.photo,
        "film": fields.film,
        "notes": fields.notes,
        "tags": list(fields.tags),
    }


def target_answer(
    known: Known, conditions: Conditions | None = None, *, curves: bool = False
) -> TargetAnswer:
    """What is believed of a recipe's target, under given conditions or the usual ones."""
    belief = known.belief
    found = belief.distribution if conditions is None else belief.under(conditions)
    kinds = Counter(item.kind for item in belief.evidence)
    summary = belief.sentence
    if conditions is not None and belief.posterior.terms:
        said = f"{dose_words(found.median_j_m2)} ± {spread_words(found.spread_stops)}"
        summary = f"{summary}; under these conditions {said}"
    return TargetAnswer(
        recipe_id=str(known.recipe.id),
        recipe=known.recipe.fields.name,
        version=known.recipe.version,
        target_j_m2=round(found.median_j_m2, 3),
        low_j_m2=round(found.low_j_m2, 3),
        high_j_m2=round(found.high_j_m2, 3),
        target_spread_stops=round(found.spread_stops, 4),
        learned=bool(belief.evidence),
        strips=kinds[EvidenceKind.STRIP],
        wedges=kinds[EvidenceKind.WEDGE],
        prints=kinds[EvidenceKind.PRINT],
        withdrawn=sum(each.withdrawn_s is not None for each in known.records),
        prior=_prior(belief.prior),
        terms=[
            TermItem(
                condition=term.recorded.covariate.name,
                unit=term.recorded.covariate.unit,
                step=term.recorded.covariate.step,
                slope_stops=round(term.slope_stops, 4),
                slope_spread_stops=round(term.slope_spread_stops, 4),
                mean=round(term.recorded.mean, 3),
                recorded=term.recorded.count,
            )
            for term in belief.posterior.terms
        ],
        notes=known.notes,
        strip=ladder_item(next_ladder(found.median_j_m2, found.spread_stops)),
        curves=_curves(known) if curves else None,
        summary=summary,
    )


def next_ladder(median_j_m2: float, spread_stops: float) -> DoseLadder:
    """The strip that brackets a belief: half a stop apart, or a longer step where that takes too many."""
    wanted = 4.0 * spread_stops / STEP_STOPS + 1.0
    count = MOST_STRIPS if wanted > MOST_STRIPS else None
    return bracketing_ladder(median_j_m2, spread_stops, count=count)


def _prior(prior: Prior) -> PriorItem:
    return PriorItem(
        median_j_m2=prior.median_j_m2, spread_stops=prior.spread_stops, source=prior.source or OWN_PRIOR
    )


def _curves(known: Known) -> CurvesItem:
    curves = known.belief.curves()
    return CurvesItem(
        dose_j_m2=curves.dose_j_m2.round(4).tolist(),
        prior_density=curves.prior_density.round(6).tolist(),
        posterior_density=curves.posterior_density.round(6).tolist(),
        spans=[
            SpanItem(
                evidence_id=str(record.id),
                kind=span.kind.value,
                low_j_m2=span.low_j_m2,
                high_j_m2=span.high_j_m2,
                spread_stops=round(span.spread_stops, 4),
                blunder_probability=round(span.blunder_probability, 4),
            )
            for record, span in zip(known.counting, curves.spans, strict=True)
        ],
    )


def evidence_items(known: Known) -> list[EvidenceItem]:
    """All evidence of a recipe."""
    chances = dict(zip((each.id for each in known.counting), known.belief.posterior.blunders, strict=True))
    return [evidence_item(record, chances.get(record.id)) for record in known.records]


def evidence_item(record: "EvidenceRecord", blunder_probability: float | None) -> EvidenceItem:
    """What one exposure told; counted where a chance of a blunder is given."""
    evidence = record.evidence
    first, conditions = evidence.readings[0], evidence.conditions
    return EvidenceItem(
        id=str(record.id),
        kind=evidence.kind.value,
        recipe_version=record.recipe_version,
        made=moment(record.made_at_s),
        recorded=moment(record.recorded_s),
        told=dict(record.told),
        run_id=None if record.exposure_id is None else str(record.exposure_id),
        print_id=None if record.print_id is None else str(record.print_id),
        low_j_m2=first.low_j_m2,
        high_j_m2=first.high_j_m2,
        reading_spread_stops=first.spread_stops,
        light_spread_stops=evidence.light_spread_stops,
        coat_age_h=conditions.coat_age_h,
        relative_humidity_percent=conditions.relative_humidity_percent,
        air_temperature_c=conditions.air_temperature_c,
        counts=blunder_probability is not None,
        blunder_probability=None if blunder_probability is None else round(blunder_probability, 4),
        withdrawn=None if record.withdrawn_s is None else moment(record.withdrawn_s),
        withdrawn_reason=record.withdrawn_reason,
    )
