"""Requests that name a saved recipe, spot or place, filled in with what is saved under that name."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from fastapi import Request
from pydantic import TypeAdapter, ValidationError

from noonframe.api.bench_desk import BenchDesk
from noonframe.api.inputs import ExposureBody, SceneFields, TargetFields
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.lamp_bodies import LampBody, names_records
from noonframe.errors import Malformed, OutOfDomain

if TYPE_CHECKING:
    from sqlalchemy import Connection

_Fields = TypeVar("_Fields", bound=SceneFields)
_Exposure = TypeVar("_Exposure", bound=ExposureBody)
_SPOT: TypeAdapter[SpotBody] = TypeAdapter(SpotBody)
_PLACE = ("place", "latitude_deg", "longitude_deg", "elevation_m", "time_zone")


def bench_of(request: Request) -> BenchDesk:
    """The app's desk for what is saved."""
    desk: BenchDesk = request.app.state.bench
    return desk


def names_saved(fields: SceneFields) -> bool:
    """Whether a request names anything that is saved, so that the records must be asked."""
    return (
        fields.recipe is not None
        or fields.saved_spot is not None
        or fields.saved_place is not None
        or fields.recipe_version is not None
        or (fields.lamp is not None and names_records(fields.lamp))
    )


def filled(
    request: Request, fields: _Fields, spot: SpotBody | None = None
) -> tuple[_Fields, SpotBody | None]:
    """The request as if it had said it all itself, and its spot; asks the records only when it names any.

    A filled request keeps the names, with the id and version that they stood for.  What a name stands for
    may not be said beside it; only a target given goes before the learned one.
    """
    if not names_saved(fields):
        return fields, spot
    desk = bench_of(request)
    values: dict[str, Any] = {}
    with desk.records.open().read() as db:
        if fields.saved_place is not None:
            _refuse(fields, "saved_place", *_PLACE, "saved_spot")
            values.update(_place(desk, db, fields.saved_place))
        if fields.saved_spot is not None:
            _refuse(fields, "saved_spot", *_PLACE)
            if spot is not None:
                raise OutOfDomain("spot", "an object", "left out when saved_spot is given")
            saved = desk.spot(db, fields.saved_spot)
            spot = spot_from(saved.fields.spot)
            values.update(spot_place(db, saved.fields), saved_spot=saved.fields.name)
        if fields.lamp is not None:
            values["lamp"] = _lamp(desk, db, fields.lamp)
        if fields.recipe is not None:
            _refuse(fields, "recipe", "stack", "sensitizer")
            values.update(_recipe(desk, db, fields, fields.recipe))
        elif fields.recipe_version is not None:
            raise OutOfDomain("recipe_version", fields.recipe_version, "left out unless a recipe is given")
    return fields.model_copy(update=values), spot


def with_spot(request: Request, body: _Exposure) -> _Exposure:
    """As `filled`, with the spot in the request where it belongs."""
    body, spot = filled(request, body, body.spot)
    return body if spot is body.spot else body.model_copy(update={"spot": spot})


def spot_from(saved: Mapping[str, Any]) -> SpotBody:
    """A saved spot as requests have it; `Malformed` for one that came from elsewhere and is none."""
    import json

    try:
        spot: SpotBody = _SPOT.validate_json(json.dumps(dict(saved)))
    except ValidationError as problem:
        fault = problem.errors(include_url=False)[0]
        where = ".".join(str(part) for part in fault["loc"])
        raise Malformed("saved_spot", where, f"a spot that can be read ({fault['msg']})") from None
    return spot


def spot_place(db: "Connection", fields: Any) -> dict[str, Any]:
    """The place of a saved spot as request fields: a saved place of that name goes before a city's."""
    from noonframe.store.places_saved import PLACES

    given = {name: getattr(fields, name) for name in _PLACE}
    own = {name: value for name, value in given.items() if value is not None}
    saved = None if fields.place is None else PLACES.find(db, fields.place)
    if saved is None:
        return own
    del own["place"]
    return {**_coordinates(saved.fields), **own}


def _place(desk: BenchDesk, db: "Connection", words: str) -> dict[str, Any]:
    saved = desk.place(db, words)
    return {**_coordinates(saved.fields), "saved_place": saved.fields.name}


def _coordinates(fields: Any) -> dict[str, Any]:
    return {name: getattr(fields, name) for name in _PLACE[1:]}


def _recipe(desk: BenchDesk, db: "Connection", fields: SceneFields, words: str) -> dict[str, Any]:
    saved = desk.recipe(db, words, fields.recipe_version)
    values: dict[str, Any] = {
        "recipe": str(saved.id),
        "recipe_version": saved.version,
        "stack": ",".join(saved.fields.stack) or "none",
        "sensitizer": saved.fields.sensitizer,
    }
    if isinstance(fields, TargetFields) and fields.target_j_m2 is None:
        for name in ("target_spread_stops", "target_source"):
            if getattr(fields, name) is not None:
                raise OutOfDomain(name, getattr(fields, name), "left out unless target_j_m2 is given")
        target = desk.known(db, saved).target()
        values["target_j_m2"] = round(target.target_j_m2, 3)
        values["target_spread_stops"] = round(target.spread_stops, 4)
        values["target_source"] = target.source
    return values


def _lamp(desk: BenchDesk, db: "Connection", lamp: str | LampBody) -> LampBody:
    from noonframe.api.lamp_ask import saved_lamp, with_recipe

    return with_recipe(desk, db, saved_lamp(desk, db, lamp) if isinstance(lamp, str) else lamp)


def _refuse(fields: SceneFields, name: str, *others: str) -> None:
    for other in others:
        if other in fields.model_fields_set and getattr(fields, other) is not None:
            raise OutOfDomain(
                other, getattr(fields, other), f"left out when {name} is given (it has its own)"
            )
