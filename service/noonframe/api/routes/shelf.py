"""/v1/spots and /v1/saved-places: where prints are exposed, saved by name."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter

from noonframe.api.ask import find_where
from noonframe.api.ask_spot import find_spot, pane_of
from noonframe.api.bench_answers import PlaceAnswer, SavedPlacesAnswer, SpotAnswer, SpotsAnswer
from noonframe.api.bench_bodies import PlaceChange, PlaceSaveBody, SpotChange, SpotSaveBody
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.bench_names import named
from noonframe.api.bench_shapes import place_answer, spot_answer
from noonframe.api.bench_shelf import Visit, merged
from noonframe.api.examples import SAVED_PLACE, SAVED_PLACE_CHANGE, SAVED_SPOT, SAVED_SPOT_CHANGE
from noonframe.api.inputs_spot import SpotBody, SpotFields
from noonframe.api.shelf_routes import Kind, Said, add_shelf
from noonframe.errors import OutOfDomain
from noonframe.places import resolve_place

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.places_saved import PlaceFields
    from noonframe.store.spots import SpotFields as SavedSpot
    from noonframe.store.versioned import Shelf

router = APIRouter(tags=["saved spots and places"])
_POSITION = ("place", "latitude_deg", "longitude_deg", "elevation_m", "time_zone")


def _spots() -> "Shelf[SavedSpot]":
    from noonframe.store.spots import SPOTS

    return SPOTS


SPOT_KIND = Kind(
    what="spot",
    noun="saved_spot",
    path="/v1/spots",
    shelf=_spots,
    body=SpotSaveBody,
    change=SpotChange,
    body_example=SAVED_SPOT,
    change_example=SAVED_SPOT_CHANGE,
    answer=SpotAnswer,
    many=SpotsAnswer,
    gather=lambda spots: SpotsAnswer(spots=spots),
    make=lambda visit, body: lambda db: _spot(visit.desk, db, None, body),
    alter=lambda visit, body: lambda db, now: _spot(visit.desk, db, now.fields, body),
    shape=spot_answer,
    says={
        "create": Said(
            "Save a spot and the place it is at; `place` may name a saved place, which may then change."
        ),
        "list": Said(operation_id="spots"),
        "get": Said(operation_id="spot"),
        "versions": Said(operation_id="spot_versions"),
    },
)
add_shelf(router, SPOT_KIND)


def _places() -> "Shelf[PlaceFields]":
    from noonframe.store.places_saved import PLACES

    return PLACES


def _make_place(_visit: Visit, body: PlaceSaveBody) -> "Callable[[Connection], PlaceFields]":
    from noonframe.store.places_saved import PlaceFields

    if body.saved_place is not None:
        raise OutOfDomain("saved_place", body.saved_place, "left out: this saves a place")
    where = find_where(body)
    place = where.place
    if not where.elevation_known:
        raise OutOfDomain("elevation_m", None, "given: nobody here knows it, and 1000 m add about 5 % light")
    fields = PlaceFields(
        body.name, place.latitude_deg, place.longitude_deg, place.elevation_m, where.zone.key
    )
    return lambda _db: fields


PLACE_KIND = Kind(
    what="place",
    noun="saved_place",
    path="/v1/saved-places",
    shelf=_places,
    body=PlaceSaveBody,
    change=PlaceChange,
    body_example=SAVED_PLACE,
    change_example=SAVED_PLACE_CHANGE,
    answer=PlaceAnswer,
    many=SavedPlacesAnswer,
    gather=lambda places: SavedPlacesAnswer(places=places),
    make=_make_place,
    alter=lambda _visit, body: lambda _db, now: merged(now.fields, body, tuple(PlaceChange.model_fields)),
    shape=place_answer,
    says={
        "create": Said(
            "Save a place by coordinates, or as found by words, with its elevation and time zone."
        ),
        "change": Said("Save a new version of a place, with `If-Match`; spots that name it follow."),
    },
)
add_shelf(router, PLACE_KIND)


def _spot(desk: BenchDesk, db: "Connection", now: "SavedSpot | None", body: SpotChange) -> "SavedSpot":
    """A spot as it will be, its geometry and its place checked."""
    from noonframe.store.spots import SpotFields as SavedSpot

    told = body.model_fields_set
    for field in ("name", "spot"):
        if getattr(body, field) is None and (field in told or now is None):
            raise OutOfDomain(field, None, "given: it cannot be empty")
    values: dict[str, Any] = {"name": body.name} if body.name is not None else {}
    if body.spot is not None:
        values["spot"] = _checked(desk, body.spot)
    if now is None or told & {*_POSITION, "saved_place"}:
        values.update({each: getattr(body, each) for each in _POSITION})
        if body.saved_place is not None:
            if any(values[each] is not None for each in _POSITION):
                raise OutOfDomain("saved_place", body.saved_place, "left out when a place is given")
            values["place"] = desk.place(db, body.saved_place).fields.name
    fields = SavedSpot(**values) if now is None else replace(now, **values)
    if fields.place is not None and "place" in values:
        _check_words(db, fields.place)
    return fields


def _checked(desk: BenchDesk, body: SpotBody) -> dict[str, Any]:
    spot = find_spot(SpotFields(), body)
    pane_of(spot, desk.settings.spectra_dir, flat=False)
    return body.model_dump(mode="json", exclude_none=True)


def _check_words(db: "Connection", words: str) -> None:
    """Raise unless words are the name of a saved place, or can be found offline."""
    from noonframe.store.places_saved import PLACES

    with named({"name": "place"}):
        if PLACES.find(db, words) is None:
            resolve_place(words)
