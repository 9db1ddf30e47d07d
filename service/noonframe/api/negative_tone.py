"""From a request for a tone correction to the room's own: the coat's curve and the printer's scale joined."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from uuid import UUID

from pydantic import TypeAdapter, ValidationError

from noonframe.api.bench_curve import fitted_curve
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.bench_names import named
from noonframe.api.inputs_bench import ReadingsBody, WedgeBody
from noonframe.api.negative_tone_bodies import (
    FilmReading,
    PrintReading,
    ScaleBody,
    ToneBody,
    ToneFields,
    UsualScale,
)
from noonframe.bench.curve import CharacteristicCurve
from noonframe.bench.formulas import coating_book
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.negative.film_printer import (
    InkScale,
    printed_scale,
    read_scale,
    scanned_density,
    usual_scale,
)
from noonframe.negative.tone import ToneAim, ToneCorrection, correct_tones
from noonframe.negative.tone_curve import FULL_SHARE, PaperCurve, sampled_curve, usual_curve
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import DEFAULT_SENSITIZER, find_sensitizer
from noonframe.types import FloatArray

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.documents import DocumentFields
    from noonframe.store.recipes import RecipeFields
    from noonframe.store.versioned import Saved

USUAL_D_MIN = 0.08
"""Of washed cotton paper (common practice, no source)."""

USUAL_D_MAX: Mapping[str, float] = {"citrate-classic": 1.35, "oxalate-variant": 1.7}
"""Of classic coats, 1.2 to 1.5 (from memory); of the oxalate variant as M. Ware gives it."""

_USUAL_COAT = "citrate-classic"
_NEAR = 100
_SCALE: TypeAdapter[ScaleBody] = TypeAdapter(ScaleBody)


@dataclass(frozen=True)
class Coat:
    """A coat's curve with what else a request or a recipe says of it; `films` are those of its stack."""

    paper: PaperCurve
    target_j_m2: float | None
    films: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Tone:
    """A tone correction with its coat."""

    correction: ToneCorrection
    coat: Coat


def names_saved(body: ToneFields) -> bool:
    """Whether the records must be asked."""
    scale = getattr(body, "scale", None)
    by_recipe = isinstance(scale, PrintReading) and scale.recipe is not None
    return body.recipe is not None or body.film_printer is not None or by_recipe


def understand_tone(desk: BenchDesk, body: ToneFields, prefix: str = "") -> Tone:
    """The correction that a request describes; errors name its fields, after `prefix`."""
    with named(prefix=prefix):
        if not names_saved(body):
            return _tone(desk, None, body)
        with desk.records.open().read() as db:
            return _tone(desk, db, body)


def scale_of(body: ScaleBody, paper: PaperCurve | None = None, prefix: str = "scale.") -> InkScale:
    """The scale that a film printer's readings make; one read from a print needs the curve of its coat."""
    if isinstance(body, UsualScale):
        with named(prefix=prefix):
            return usual_scale(body.full_density, body.spread)
    if isinstance(body, FilmReading):
        with named(prefix=prefix):
            return read_scale(
                body.densities, body.ink_shares, includes_base=body.includes_base, noise=body.noise
            )
    paper = _curve_of(body.curve, None, f"{prefix}curve.") if paper is None and body.curve else paper
    if paper is None:
        raise OutOfDomain(f"{prefix}recipe", None, "given, or else curve: that of the coat printed on")
    if (body.densities is None) == (body.codes is None):
        raise OutOfDomain(f"{prefix}densities", None, "given, or else codes, and not both")
    how: dict[str, Any] = {"exposure_stops": body.exposure_stops, "noise": body.noise}
    with named(prefix=prefix):
        if body.codes is None:
            if body.paper_code is not None:
                raise OutOfDomain("paper_code", body.paper_code, "left out unless codes are given")
            return printed_scale(body.densities or [], paper, body.ink_shares, **how)
        if body.paper_code is None:
            raise OutOfDomain("paper_code", None, "given with codes")
        densities = scanned_density(body.codes, body.paper_code, paper.d_min)
        try:
            return printed_scale(densities, paper, body.ink_shares, **how)
        except OutOfDomain as problem:
            stem, bracket, rest = problem.field.partition("[")
            if stem != "densities":
                raise
            code = body.codes[int(rest.rstrip("]"))] if bracket else None
            whose = f"one whose density, {problem.value:.3g}, is " if bracket else ""
            raise OutOfDomain(f"codes{bracket}{rest}", code, f"{whose}{problem.limit}") from None


def saved_scale(document: Mapping[str, Any]) -> ScaleBody:
    """The scale in a saved film printer; `Malformed` for one that came from elsewhere and is none."""
    try:
        return _SCALE.validate_python(document.get("scale"))
    except ValidationError as problem:
        fault = problem.errors(include_url=False)[0]
        where = ".".join(str(part) for part in ("scale", *fault["loc"]))
        raise Malformed("film_printer", where, f"a scale that can be read ({fault['msg']})") from None


def _tone(desk: BenchDesk, db: "Connection | None", body: ToneFields) -> Tone:
    coat = _coat(desk, db, body)
    ink = _ink(desk, db, body)
    aim = ToneAim(body.even, body.lightest_net_density, body.when_short)
    return Tone(correct_tones(coat.paper, ink, aim), coat)


def _coat(desk: BenchDesk, db: "Connection | None", body: ToneFields) -> Coat:
    curve = body.curve if isinstance(body, ToneBody) else None
    if body.recipe is None:
        if body.recipe_version is not None:
            raise OutOfDomain("recipe_version", body.recipe_version, "left out unless a recipe is given")
        if curve is not None and body.sensitizer is not None:
            raise OutOfDomain("sensitizer", body.sensitizer, "left out when curve is given")
        coat = _told_coat(desk, curve, body.sensitizer or DEFAULT_SENSITIZER, body.target_j_m2)
    else:
        if body.sensitizer is not None:
            raise OutOfDomain("sensitizer", body.sensitizer, "left out when recipe is given (it has its own)")
        assert db is not None
        recipe = desk.recipe(db, body.recipe, body.recipe_version)
        coat = _recipe_coat(desk, db, recipe, curve, body.target_j_m2)
    if body.d_min is None and body.d_max is None:
        return coat
    return replace(coat, paper=coat.paper.with_ends(body.d_min, body.d_max))


def _told_coat(
    desk: BenchDesk, curve: ReadingsBody | None, sensitizer: str, target_j_m2: float | None
) -> Coat:
    if curve is None:
        coat = find_sensitizer(sensitizer, desk.settings.spectra_dir)
        target = coat.target_j_m2 if target_j_m2 is None else target_j_m2
        return Coat(_usual(sensitizer), target, notes=(_not_read("this coat"),))
    return _read_coat(curve, target_j_m2)


def _recipe_coat(
    desk: BenchDesk,
    db: "Connection",
    recipe: "Saved[RecipeFields]",
    curve: ReadingsBody | None = None,
    target_j_m2: float | None = None,
) -> Coat:
    fields = recipe.fields
    stack = parse_stack(",".join(fields.stack) or "none", desk.settings.spectra_dir)
    films = tuple(material.id for material in stack.materials if material.kind == "film")
    if curve is not None:
        return replace(_read_coat(curve, target_j_m2), films=films)
    known = desk.known(db, recipe)
    target = known.target().target_j_m2 if target_j_m2 is None else target_j_m2
    for record in reversed(known.counting):
        told = _wedge_readings(record.told)
        if told is not None:
            when = f"a step wedge told for the recipe {fields.name}"
            return Coat(_anchored(fitted_curve(told, "curve."), target, when), target, films)
    missing = _not_read(fields.name)
    return Coat(_usual(fields.sensitizer), target, films, (missing,))


def _wedge_readings(told: Mapping[str, Any]) -> ReadingsBody | None:
    """Densities of a wedge's print, where its evidence was told with them."""
    densities, dose = told.get("densities"), told.get("dose_j_m2")
    if not isinstance(densities, list | tuple) or not isinstance(dose, int | float):
        return None
    wedge = told.get("wedge")
    return ReadingsBody(
        densities=list(densities),
        dose_j_m2=float(dose),
        wedge=None if wedge is None else WedgeBody.model_validate(dict(wedge)),
    )


def _read_coat(curve: ReadingsBody, target_j_m2: float | None) -> Coat:
    paper = _curve_of(curve, target_j_m2, "curve.")
    if target_j_m2 is not None:
        return Coat(paper, target_j_m2)
    note = (
        f"the target is taken where the curve given has {100.0 * FULL_SHARE:.0f} % of its net density; "
        "with target_j_m2, or a wedge told for a recipe, it is the learned one"
    )
    return Coat(paper, None, notes=(note,))


def _curve_of(readings: ReadingsBody, target_j_m2: float | None, prefix: str) -> PaperCurve:
    curve = fitted_curve(readings, prefix)
    anchor = curve.dose_j_m2(FULL_SHARE * curve.net_density) if target_j_m2 is None else target_j_m2
    return _anchored(curve, anchor, "readings of a step wedge")


def _anchored(curve: CharacteristicCurve, target_j_m2: float, says: str) -> PaperCurve:
    """A fitted curve over log10 of dose / target."""

    def density(exposure: FloatArray) -> FloatArray:
        return curve.density(target_j_m2 * 10.0**exposure)

    return sampled_curve(density, curve.d_min, curve.d_max, says)


def _usual(sensitizer: str) -> PaperCurve:
    known = coating_book().tone_scale(sensitizer)
    scale = known or coating_book().tone_scale(_USUAL_COAT)
    assert scale is not None
    whose = sensitizer if known is not None else f"{_USUAL_COAT}, as none is known of {sensitizer}"
    d_max = USUAL_D_MAX.get(sensitizer, USUAL_D_MAX[_USUAL_COAT])
    says = f"the usual curve of {whose}: {scale.stops:g} stops, give or take {scale.spread_stops:.1f}"
    return usual_curve(scale.stops, USUAL_D_MIN, d_max, says)


def _not_read(coat: str) -> str:
    return f"the curve is only a usual one: densities read of a step wedge printed on {coat} mend that"


def _ink(desk: BenchDesk, db: "Connection | None", body: ToneFields) -> InkScale:
    told = body.scale if isinstance(body, ToneBody) else None
    if body.film_printer is None:
        return _scale(desk, db, told or UsualScale(by="usual"), "scale.")
    if told is not None:
        raise OutOfDomain("scale", None, "left out when film_printer is given (it has its own)")
    assert db is not None
    saved = _saved_printer(db, body.film_printer)
    ink = _scale(desk, db, saved_scale(saved.fields.body), "film_printer.scale.")
    return replace(ink, says=f"{saved.fields.name}: {ink.says}")


def _saved_printer(db: "Connection", words: str) -> "Saved[DocumentFields]":
    from noonframe.store.film_printers import FILM_PRINTERS

    with named({"name": "film_printer"}):
        found = FILM_PRINTERS.find(db, words)
    if found is not None:
        return found
    try:
        return FILM_PRINTERS.get(db, UUID(words))
    except (ValueError, UnknownName):
        pass
    names = [each.fields.name for each in FILM_PRINTERS.newest(db, limit=_NEAR)]
    near = difflib.get_close_matches(words[:80], names, n=3, cutoff=0.5)
    known = "the name or the id of a film printer that is saved"
    raise UnknownName("film_printer", words, known, near)


def _scale(desk: BenchDesk, db: "Connection | None", body: ScaleBody, prefix: str) -> InkScale:
    if not isinstance(body, PrintReading) or body.recipe is None:
        return scale_of(body, prefix=prefix)
    if body.curve is not None:
        raise OutOfDomain(f"{prefix}curve", None, "left out when recipe is given")
    assert db is not None
    try:
        coat = _recipe_coat(desk, db, desk.recipe(db, body.recipe))
    except UnknownName as problem:
        raise UnknownName(f"{prefix}recipe", problem.value, problem.limit, problem.near) from None
    ink = scale_of(body, coat.paper, prefix)
    if coat.notes:
        ink = replace(ink, notes=(*ink.notes, f"read through a guessed curve: {coat.notes[0]}"))
    return ink
