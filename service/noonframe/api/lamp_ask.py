"""From a lamp in a request to the engine's lamp, and the scene under it; no physics here."""

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noonframe.api.ask import time_zone_of
from noonframe.api.ask_objects import stack_of
from noonframe.api.inputs import SceneFields, TargetFields
from noonframe.api.inputs_spot import SpotBody, SpotFields
from noonframe.api.lamp_bodies import (
    LampBody,
    LampFields,
    PanelBody,
    PointBody,
    PrintOutput,
    ReadingOutput,
    TubesBody,
)
from noonframe.api.lamp_outputs import LampBasis
from noonframe.dose.lamp_scene import LampScene, coldness_after
from noonframe.errors import Malformed, NoonframeError, OutOfDomain, UnknownName
from noonframe.lamp.geometry import Panel, PointSource, Source, Tubes
from noonframe.lamp.kinds import LampKind, find_lamp_kind
from noonframe.lamp.lamp import (
    METER_SPREAD_STOPS,
    PRINT_SPREAD_STOPS,
    Lamp,
    Output,
    from_power,
    from_print,
    from_reading,
)
from noonframe.lamp.warmup import WarmUp
from noonframe.settings import Settings
from noonframe.stack.curves import BLUE_BAND_NM, UVA_BAND_NM
from noonframe.stack.effective import band_weights
from noonframe.stack.materials import BARE, parse_stack
from noonframe.stack.sensitizers import DEFAULT_SENSITIZER, find_sensitizer

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.api.bench_desk import BenchDesk

LIGHT_MODEL = "lamp line shapes 1"
_PLACE = ("latitude_deg", "longitude_deg", "elevation_m", "place", "saved_place", "saved_spot")
_SKY = (
    *("sky", "cloud_optical_depth", "ozone_du", "aerosol_optical_depth"),
    *("ground_albedo", "near_ground_albedo"),
)
_NOT_UNDER_A_LAMP = (*_PLACE, *_SKY, *SpotFields.model_fields)
_MW_CM2_IN_W_M2 = 10.0


@dataclass(frozen=True)
class LampWhere:
    """No place: only the clock that times are told by."""

    zone: dt.tzinfo
    zone_name: str | None


@dataclass(frozen=True)
class LampAsk:
    """A request under a lamp, understood."""

    where: LampWhere
    scene: LampScene
    lit_before_s: float

    @cached_property
    def basis(self) -> LampBasis:
        """What an answer rests on."""
        scene, lamp = self.scene, self.scene.lamp
        uva, blue = (
            float(lamp.spectral_w_m2_nm @ band_weights(*band)) for band in (UVA_BAND_NM, BLUE_BAND_NM)
        )
        sheet = lamp.output.sheet
        return LampBasis(
            lamp=lamp.says,
            kind=lamp.kind.id,
            way=lamp.output.way,
            uva_w_m2=round(uva, 4),
            violet_w_m2=round(blue, 4),
            effective_w_m2=round(scene.effective_w_m2, 4),
            age_share=round(lamp.age_share, 4),
            start_share=lamp.warm_up.start_share,
            time_constant_s=lamp.warm_up.time_constant_s,
            lit_before_s=self.lit_before_s,
            spread_stops=round(scene.light_spread_stops, 3),
            corner_stops=None if sheet is None else round(sheet.corner_stops, 3),
            time_zone=self.where.zone_name,
            stack=list(scene.stack.ids),
            sensitizer=scene.sensitizer.id,
            light_model=LIGHT_MODEL,
            notes=_notes(lamp),
        )


def _notes(lamp: Lamp) -> list[str]:
    notes = []
    if lamp.output.way == "power":
        notes.append("power and distance tell the light roughly: a reading or a test strip is better")
    if lamp.kind.how_known == "modelled":
        notes.append("the spectrum is a modelled line shape")
    return notes


def understand_lamp(
    fields: SceneFields, start: dt.datetime | None, settings: Settings, spot: SpotBody | None = None
) -> LampAsk:
    """The scene under the lamp of a request; `fields.lamp` is no name any more.

    Raises `OutOfDomain` for anything said of a place, a sky or a spot, and where the clock is not known.
    """
    body = fields.lamp
    if not isinstance(body, LampBody):
        raise OutOfDomain("lamp", body, "a lamp that is saved; this service keeps no records here")
    for name in _NOT_UNDER_A_LAMP:
        if name in fields.model_fields_set and getattr(fields, name) is not None:
            raise OutOfDomain(name, getattr(fields, name), "left out under a lamp: it is about the sun")
    if spot is not None:
        raise OutOfDomain("spot", "an object", "left out under a lamp: it is about the sun")
    scene = LampScene(
        lamp=(lamp := lamp_of(body, settings.spectra_dir)),
        stack=stack_of(fields, settings.spectra_dir),
        sensitizer=find_sensitizer(fields.sensitizer, settings.spectra_dir),
        coldness=coldness_after(lamp, fields.lamp_lit_s or 0.0),
        reciprocity_exponent=fields.reciprocity_exponent if isinstance(fields, TargetFields) else 1.0,
    )
    return LampAsk(lamp_where(fields.time_zone, start), scene, fields.lamp_lit_s or 0.0)


def lamp_where(time_zone: str | None, start: dt.datetime | None) -> LampWhere:
    """The clock of a request: a zone by name, else the offset that its start was given with."""
    if time_zone is not None:
        return LampWhere(time_zone_of(time_zone), time_zone)
    if start is None or start.tzinfo is None:
        raise OutOfDomain("time_zone", None, "given, or start with its offset: a lamp has no place")
    return LampWhere(start.tzinfo, None)


def lamp_of(body: LampFields, spectra_dir: Path | None) -> Lamp:
    """The engine's lamp; errors name the fields as a request has them."""
    kind = find_lamp_kind(body.kind, spectra_dir)
    usual = kind.warm_up
    with _named():
        warm_up = WarmUp(
            usual.start_share if body.start_share is None else body.start_share,
            usual.time_constant_s if body.time_constant_s is None else body.time_constant_s,
        )
        loss = kind.loss_per_1000_h if body.loss_per_1000_h is None else body.loss_per_1000_h
        output = _output(kind, body, warm_up, spectra_dir)
        return Lamp(kind, output, warm_up, body.hours, loss, getattr(body, "name", None) or "")


def _output(kind: LampKind, body: LampFields, warm_up: WarmUp, spectra_dir: Path | None) -> Output:
    told = body.output
    if isinstance(told, ReadingOutput):
        return from_reading(
            kind,
            _one_of(told, "irradiance_w_m2", "irradiance_mw_cm2", _MW_CM2_IN_W_M2),
            **_band(told),
            spread_stops=METER_SPREAD_STOPS if told.spread_stops is None else told.spread_stops,
        )
    if isinstance(told, PrintOutput):
        if told.recipe is not None:
            raise OutOfDomain("lamp.output.recipe", told.recipe, "the name of a recipe that is saved")
        coat = find_sensitizer(told.sensitizer or DEFAULT_SENSITIZER, spectra_dir)
        return from_print(
            kind,
            told.length_s,
            target_j_m2=coat.target_j_m2 if told.target_j_m2 is None else told.target_j_m2,
            stack=parse_stack(told.stack or BARE, spectra_dir),
            sensitizer=coat,
            warm_up=warm_up,
            coldness=warm_up.burning(1.0, told.lit_before_s),
            spread_stops=PRINT_SPREAD_STOPS if told.spread_stops is None else told.spread_stops,
        )
    if (told.power_w is None) == (told.radiant_w is None):
        raise OutOfDomain("power_w", told.power_w, "given, or else radiant_w, and not both")
    if told.efficiency is not None and told.power_w is None:
        raise OutOfDomain("efficiency", told.efficiency, "left out unless power_w is given")
    return from_power(
        kind,
        _source(told.source),
        told.distance_m,
        electrical_w=told.power_w,
        radiant_w=told.radiant_w,
        efficiency=told.efficiency,
        sheet_width_m=told.sheet_width_m,
        sheet_depth_m=told.sheet_depth_m,
        spread_stops=told.spread_stops,
    )


def _one_of(told: ReadingOutput, name: str, other: str, factor: float) -> float:
    first, second = getattr(told, name), getattr(told, other)
    if (first is None) == (second is None):
        raise OutOfDomain(name, first, f"given, or else {other}, and not both")
    return float(first if first is not None else second * factor)


def _band(told: ReadingOutput) -> dict[str, Any]:
    if told.meter_centre_nm is not None:
        for name in ("meter_low_nm", "meter_high_nm"):
            if getattr(told, name) is not None:
                raise OutOfDomain(name, getattr(told, name), "left out where meter_centre_nm is given")
        return {"centre_nm": told.meter_centre_nm}
    low_nm = UVA_BAND_NM[0] if told.meter_low_nm is None else told.meter_low_nm
    high_nm = UVA_BAND_NM[1] if told.meter_high_nm is None else told.meter_high_nm
    if not low_nm < high_nm:
        raise OutOfDomain("meter_high_nm", high_nm, f"above meter_low_nm, {low_nm:g}")
    return {"low_nm": low_nm, "high_nm": high_nm}


def _source(body: PointBody | TubesBody | PanelBody) -> Source:
    if isinstance(body, PointBody):
        return PointSource(body.beam_angle_deg)
    if isinstance(body, TubesBody):
        return Tubes(body.length_m, body.count, body.pitch_m, body.reflector_gain)
    return Panel(body.width_m, body.depth_m)


_IN_SOURCE = ("beam_angle_deg", "length_m", "count", "pitch_m", "reflector_gain", "width_m", "depth_m")
_IN_LAMP = ("start_share", "time_constant_s", "hours", "loss_per_1000_h")


@contextmanager
def _named() -> Iterator[None]:
    """Errors under the names that the request has: the engine knows not where in it they stand."""
    try:
        yield
    except (OutOfDomain, Malformed) as problem:
        raise type(problem)(_field(problem), problem.value, problem.limit) from None
    except UnknownName as problem:
        raise UnknownName(_field(problem), problem.value, problem.limit, problem.near) from None


def _field(problem: NoonframeError) -> str:
    if problem.field.startswith("lamp"):
        return problem.field
    if problem.field in _IN_SOURCE:
        return f"lamp.output.source.{problem.field}"
    return f"lamp.{problem.field}" if problem.field in _IN_LAMP else f"lamp.output.{problem.field}"


def saved_lamp(desk: "BenchDesk", db: "Connection", words: str) -> LampBody:
    """A lamp by name or id as requests have it; errors name the field `lamp`."""
    saved = desk.lamp(db, words)
    told = {name: value for name, value in saved.fields.body.items() if value is not None}
    return LampBody.model_validate({**told, "name": saved.fields.name})


def with_recipe(desk: "BenchDesk", db: "Connection", body: LampBody) -> LampBody:
    """The lamp with its print's recipe told whole: stack, sensitizer and the target by now."""
    told = body.output
    if not isinstance(told, PrintOutput) or told.recipe is None:
        return body
    for name in ("target_j_m2", "stack", "sensitizer"):
        if getattr(told, name) is not None:
            raise OutOfDomain(f"lamp.output.{name}", getattr(told, name), "left out when a recipe is given")
    try:
        recipe = desk.recipe(db, told.recipe)
    except UnknownName as problem:
        raise UnknownName("lamp.output.recipe", problem.value, problem.limit, problem.near) from None
    values = {
        "recipe": None,
        "target_j_m2": round(desk.known(db, recipe).target().target_j_m2, 3),
        "stack": ",".join(recipe.fields.stack) or BARE,
        "sensitizer": recipe.fields.sensitizer,
    }
    return body.model_copy(update={"output": told.model_copy(update=values)})
