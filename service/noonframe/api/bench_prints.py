"""Prints made of requests and runs, and the evidence that their judgements are."""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid4

from noonframe.api.ask_spot import describe_spot, find_spot
from noonframe.api.bench_answers import PrintKeptAnswer
from noonframe.api.bench_bodies import PrintBody, PrintChange
from noonframe.api.bench_desk import BenchDesk, Known
from noonframe.api.bench_evidence import GIVEN_DOSE_SPREAD_STOPS, check_past
from noonframe.api.bench_fill import spot_from, spot_place
from noonframe.api.bench_names import named
from noonframe.api.bench_runs import RunLight
from noonframe.api.bench_shapes import print_fields, target_answer
from noonframe.api.inputs_spot import SpotFields
from noonframe.bench.evidence import Circumstances, Conditions, Evidence, EvidenceKind
from noonframe.bench.judgement import Judgement
from noonframe.bench.reading import judged_print
from noonframe.errors import Malformed, OutOfDomain

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.evidence_records import EvidenceRecord
    from noonframe.store.prints import PrintFields
    from noonframe.store.versioned import Saved

_DOSE = ("dose_j_m2", "dose_spread_stops")
CONDITIONS = ("coat_age_h", "relative_humidity_percent", "air_temperature_c")
JUDGED_ANEW, RETIRED = "the print was judged or told anew", "the print was retired"


def new_print(
    desk: BenchDesk, db: "Connection", body: PrintBody, run: RunLight | None, now_s: float
) -> "PrintFields":
    """A print as a request tells it, with what its run knows."""
    from noonframe.store.prints import PrintFields

    words: str | None = body.recipe
    version: int | None = body.recipe_version
    if run is not None:
        for name in ("dose_j_m2", "dose_spread_stops"):
            if getattr(body, name) is not None:
                raise OutOfDomain(
                    name, getattr(body, name), "left out when run_id is given: the run knows it"
                )
        if words is None:
            words = run.recipe
            version = run.recipe_version if version is None else version
    if words is None:
        raise OutOfDomain("recipe", None, "given, where no run with a recipe is")
    recipe = desk.recipe(db, words, version)
    if version is None and run is not None and run.recipe == str(recipe.id):
        version = run.recipe_version
    title = body.name or (None if run is None else run.name)
    if not title:
        raise OutOfDomain("name", None, "given: what was printed")
    made_at_s = now_s if run is None else run.start_s
    fields = PrintFields(
        name=title,
        recipe_id=recipe.id,
        recipe_version=recipe.version if version is None else version,
        made_at_s=made_at_s,
        spot=_spot(desk, db, body, run),
        exposure_id=None if run is None else run.run_id,
        dose_j_m2=None if run is None else run.dose_j_m2,
        dose_spread_stops=None if run is None else run.dose_spread_stops,
        light=None if run is None else _light(run),
    )
    made = changed_print(fields, body)
    check_past(made.made_at_s, now_s)
    if run is not None and made.judged is not None:
        _refuse_judged(db, made, run)
    return made


def _refuse_judged(db: "Connection", made: "PrintFields", run: RunLight) -> None:
    """Raise where the print of this run was judged before it was logged: it would count twice."""
    from noonframe.store import evidence_records

    for record in evidence_records.of_recipe(db, made.recipe_id, withdrawn=False):
        told = record.exposure_id == run.run_id and record.kind is EvidenceKind.PRINT
        if told and record.print_id is None:
            limit = f"left out: this run's print was judged as evidence {record.id}; withdraw that first"
            raise OutOfDomain("judgement", None, limit)


def changed_print(now: "PrintFields", body: PrintChange) -> "PrintFields":
    """A print with what a request changes; null empties."""
    told = body.model_fields_set & (PrintChange.model_fields.keys() - {*CONDITIONS})
    values: dict[str, Any] = {}
    for name in told - {"name", "made_at"}:
        value = getattr(body, name)
        old = getattr(now, name)
        values[name] = type(old)() if value is None and type(old) in (str, tuple) else value
    for name, field in (("name", "name"), ("made_at", "made_at_s")):
        if name in told:
            value = getattr(body, name)
            if value is None and not isinstance(body, PrintBody):
                raise OutOfDomain(name, None, "given: it cannot be empty")
            if value is not None:
                values[field] = value if isinstance(value, str) else value.timestamp()
    if values.get("judgement") is not None:
        values["judgement"] = Judgement.from_text(values["judgement"])
    if "tags" in values:
        values["tags"] = tuple(values["tags"])
    # a print judged in stops and then in words is judged in words
    for one, other in (("judgement", "judgement_stops"), ("judgement_stops", "judgement")):
        if values.get(one) is not None and other not in told:
            values[other] = None
    if "dose_j_m2" in values and values["dose_j_m2"] != now.dose_j_m2:
        values.setdefault("dose_spread_stops", None)
    return replace(now, **values, light=_changed_light(now, body, values))


def _changed_light(now: "PrintFields", body: PrintChange, values: Mapping[str, Any]) -> dict[str, Any] | None:
    """The light record with the conditions written down; a dose told by hand has no run's spread."""
    light = dict(now.light or {})
    if any(name in values and values[name] != getattr(now, name) for name in _DOSE):
        light.pop("spread", None)
    written = dict(light.pop("conditions", {}))
    written.update({name: getattr(body, name) for name in CONDITIONS if name in body.model_fields_set})
    written = {name: value for name, value in written.items() if value is not None}
    if written:
        light["conditions"] = written
    return light or None


def settle(db: "Connection", saved: "Saved[PrintFields]", now_s: float) -> "EvidenceRecord | None":
    """Make the evidence on file that of the print's judgement: what differs is withdrawn, and told anew.

    Returns the evidence that the judgement is, None where there is no judgement or no dose.
    """
    from noonframe.store import evidence_records

    fields = saved.fields
    wanted = None if saved.retired else _evidence(fields)
    standing = [each for each in evidence_records.of_print(db, saved.id) if each.withdrawn_s is None]
    found = None
    for record in standing:
        same = (
            wanted is not None
            and record.evidence == wanted
            and (record.recipe_id, record.recipe_version, record.made_at_s)
            == (fields.recipe_id, fields.recipe_version, fields.made_at_s)
        )
        if same and found is None:
            found = record
            continue
        reason = RETIRED if saved.retired else JUDGED_ANEW
        evidence_records.withdraw(db, record.id, reason=reason, now_s=now_s)
    if wanted is not None and found is None:
        found = evidence_records.append(
            db,
            evidence_id=uuid4(),
            recipe_id=fields.recipe_id,
            recipe_version=fields.recipe_version,
            made_at_s=fields.made_at_s,
            recorded_s=now_s,
            evidence=wanted,
            told=_told(fields),
            exposure_id=fields.exposure_id,
            print_id=saved.id,
        )
    return found


def kept_answer(
    desk: BenchDesk, db: "Connection", saved: "Saved[PrintFields]", now_s: float
) -> PrintKeptAnswer:
    """A print just saved, its evidence brought up to date, and the target with it."""
    from noonframe.store.recipes import RECIPES

    record = settle(db, saved, now_s)
    known = desk.known(db, RECIPES.get(db, saved.fields.recipe_id))
    return PrintKeptAnswer(
        **print_fields(saved),
        evidence_id=None if record is None else str(record.id),
        target=target_answer(known),
        summary=_summary(saved, record, known),
    )


def _summary(saved: "Saved[PrintFields]", record: "EvidenceRecord | None", known: Known) -> str:
    fields = saved.fields
    said = "judged" if fields.judged is None else f"judged {fields.judged.value}"
    target = f"the target of {known.recipe.fields.name} is, {known.belief.sentence}"
    if record is not None:
        return f"{fields.name}, {said}: {target}."
    if saved.retired:
        return f"{fields.name} is retired and its judgement counts no more: {target}."
    if fields.judged is not None:
        return f"{fields.name}, {said}; no dose is known, so the target stays as it is."
    return f"{fields.name} is in the log; judge it, and the target gets sharper."


def _evidence(fields: "PrintFields") -> Evidence | None:
    """The evidence that a print's judgement is; None without a judgement or a dose."""
    judgement = fields.judgement if fields.judgement is not None else fields.judgement_stops
    if judgement is None or fields.dose_j_m2 is None:
        return None
    with named():
        return judged_print(fields.dose_j_m2, judgement, _circumstances(fields))


def _circumstances(fields: "PrintFields") -> Circumstances:
    light = fields.light or {}
    try:
        conditions = Conditions(**light.get("conditions", {}))
        known = light.get("spread")
        if known is not None:
            return Circumstances(
                known["light_spread_stops"], conditions, known["occasion"], known["shared_spread_stops"]
            )
    except (KeyError, TypeError):
        raise Malformed("light", "an object", "a light record as this service keeps it") from None
    spread = fields.dose_spread_stops
    return Circumstances(GIVEN_DOSE_SPREAD_STOPS if spread is None else spread, conditions)


def _told(fields: "PrintFields") -> dict[str, Any]:
    told: dict[str, Any] = {"print": fields.name, "dose_j_m2": fields.dose_j_m2}
    if fields.judgement is not None:
        told["judgement"] = fields.judgement.value
    else:
        told["judgement_stops"] = fields.judgement_stops
    return told


def _light(run: RunLight) -> dict[str, Any]:
    spread = {
        "light_spread_stops": run.light_spread_stops,
        "shared_spread_stops": run.shared_spread_stops,
        "occasion": run.occasion,
    }
    return {**run.record, "spread": spread}


def _spot(desk: BenchDesk, db: "Connection", body: PrintBody, run: RunLight | None) -> dict[str, Any] | None:
    if body.saved_spot is None:
        return None if run is None else run.spot
    if run is not None:
        raise OutOfDomain("saved_spot", body.saved_spot, "left out when run_id is given: the run knows it")
    saved = desk.spot(db, body.saved_spot)
    return {
        "says": describe_spot(find_spot(SpotFields(), spot_from(saved.fields.spot))),
        "saved_spot": saved.fields.name,
        "spot": dict(saved.fields.spot),
        **spot_place(db, saved.fields),
    }


def recipe_id_of(desk: BenchDesk, db: "Connection", words: str | None) -> UUID | None:
    """The id of a recipe named in a search."""
    return None if words is None else desk.recipe(db, words).id
