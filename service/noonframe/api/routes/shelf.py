"""/v1/spots and /v1/saved-places: where prints are exposed, saved by name."""

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any
from uuid import UUID, uuid4

from fastapi import APIRouter, Depends, Request, Response

from noonframe.api.ask import find_where
from noonframe.api.ask_spot import find_spot, pane_of
from noonframe.api.bench_answers import PlaceAnswer, SavedPlacesAnswer, SpotAnswer, SpotsAnswer
from noonframe.api.bench_bodies import (
    ListQuery,
    PlaceChange,
    PlaceSaveBody,
    SpotChange,
    SpotSaveBody,
    VersionQuery,
)
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.bench_fill import bench_of
from noonframe.api.bench_match import CHANGE
from noonframe.api.bench_names import named
from noonframe.api.bench_shapes import place_answer, spot_answer
from noonframe.api.bench_shelf import changed, kept, listed, merged, shown, turned
from noonframe.api.examples import SAVED_PLACE, SAVED_PLACE_CHANGE, SAVED_SPOT, SAVED_SPOT_CHANGE
from noonframe.api.inputs_spot import SpotBody, SpotFields
from noonframe.api.problems import CHANGE_RESPONSES
from noonframe.api.reading import body_of, json_body, no_query, query_parameters, read_query
from noonframe.api.routes.common import now_of
from noonframe.errors import OutOfDomain
from noonframe.places import resolve_place

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.places_saved import PlaceFields
    from noonframe.store.spots import SpotFields as SavedSpot
    from noonframe.store.versioned import Saved

router = APIRouter(tags=["saved spots and places"])
_POSITION = ("place", "latitude_deg", "longitude_deg", "elevation_m", "time_zone")


@router.post(
    "/v1/spots",
    operation_id="save_spot",
    status_code=201,
    response_model=SpotAnswer,
    openapi_extra=json_body(SpotSaveBody, SAVED_SPOT),
)
def post_spot(request: Request, body: Annotated[SpotSaveBody, Depends(body_of(SpotSaveBody))]) -> Response:
    """Save a spot and the place it is at; `place` may name a saved place, which may then change."""
    from noonframe.store.spots import SPOTS

    desk, now_s = bench_of(request), now_of(request)

    def work(db: "Connection") -> SpotAnswer:
        return spot_answer(SPOTS.create(db, uuid4(), _spot(desk, db, None, body), now_s=now_s))

    content = body.model_dump(mode="json", exclude_unset=True)
    return kept(request, content, lambda: work, status_code=201)


@router.get("/v1/spots", operation_id="spots", openapi_extra=query_parameters(ListQuery, {"limit": 10}))
def list_spots(request: Request) -> SpotsAnswer:
    """Saved spots, newest first."""
    from noonframe.store.spots import SPOTS

    query = read_query(ListQuery, request)
    with bench_of(request).records.open().read() as db:
        return SpotsAnswer(spots=[spot_answer(each) for each in listed(db, SPOTS, query)])


@router.get(
    "/v1/spots/{spot_id}",
    operation_id="spot",
    response_model=SpotAnswer,
    openapi_extra=query_parameters(VersionQuery, {}),
)
def get_spot(request: Request, spot_id: UUID) -> Response:
    """A saved spot, as it is now or as it was in a version."""
    from noonframe.store.spots import SPOTS

    return shown(request, SPOTS, spot_id, spot_answer)


@router.get("/v1/spots/{spot_id}/versions", operation_id="spot_versions")
def get_spot_versions(request: Request, spot_id: UUID) -> SpotsAnswer:
    """Every version of a saved spot, oldest first."""
    from noonframe.store.spots import SPOTS

    no_query(request)
    with bench_of(request).records.open().read() as db:
        return SpotsAnswer(spots=[spot_answer(each) for each in SPOTS.history(db, spot_id)])


@router.patch(
    "/v1/spots/{spot_id}",
    operation_id="change_spot",
    response_model=SpotAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra={**json_body(SpotChange, SAVED_SPOT_CHANGE), **CHANGE},
)
def patch_spot(
    request: Request, spot_id: UUID, body: Annotated[SpotChange, Depends(body_of(SpotChange))]
) -> Response:
    """Save a new version of a spot, with `If-Match`."""
    from noonframe.store.spots import SPOTS

    desk = bench_of(request)

    def changes(db: "Connection", now: "Saved[SavedSpot]") -> "SavedSpot":
        return _spot(desk, db, now.fields, body)

    return changed(request, SPOTS, spot_id, body, changes=changes, shape=lambda _, saved: spot_answer(saved))


@router.post(
    "/v1/spots/{spot_id}/retire",
    operation_id="retire_spot",
    response_model=SpotAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra=CHANGE,
)
def retire_spot(request: Request, spot_id: UUID) -> Response:
    """Put a spot away: it is listed no more, its name is free, nothing is lost."""
    from noonframe.store.spots import SPOTS

    return turned(request, SPOTS, spot_id, lambda _, saved: spot_answer(saved), retire=True)


@router.post(
    "/v1/spots/{spot_id}/restore",
    operation_id="restore_spot",
    response_model=SpotAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra=CHANGE,
)
def restore_spot(request: Request, spot_id: UUID) -> Response:
    """Take a retired spot back."""
    from noonframe.store.spots import SPOTS

    return turned(request, SPOTS, spot_id, lambda _, saved: spot_answer(saved), retire=False)


@router.post(
    "/v1/saved-places",
    operation_id="save_place",
    status_code=201,
    response_model=PlaceAnswer,
    openapi_extra=json_body(PlaceSaveBody, SAVED_PLACE),
)
def post_place(request: Request, body: Annotated[PlaceSaveBody, Depends(body_of(PlaceSaveBody))]) -> Response:
    """Save a place by coordinates, or as found by words, with its elevation and time zone."""
    from noonframe.store.places_saved import PLACES, PlaceFields

    if body.saved_place is not None:
        raise OutOfDomain("saved_place", body.saved_place, "left out: this saves a place")
    where, now_s = find_where(body), now_of(request)
    place = where.place
    if not where.elevation_known:
        raise OutOfDomain("elevation_m", None, "given: nobody here knows it, and 1000 m add about 5 % light")
    fields = PlaceFields(
        body.name, place.latitude_deg, place.longitude_deg, place.elevation_m, where.zone.key
    )

    def work(db: "Connection") -> PlaceAnswer:
        return place_answer(PLACES.create(db, uuid4(), fields, now_s=now_s))

    content = body.model_dump(mode="json", exclude_unset=True)
    return kept(request, content, lambda: work, status_code=201)


@router.get(
    "/v1/saved-places", operation_id="saved_places", openapi_extra=query_parameters(ListQuery, {"limit": 10})
)
def list_places(request: Request) -> SavedPlacesAnswer:
    """Saved places, newest first."""
    from noonframe.store.places_saved import PLACES

    query = read_query(ListQuery, request)
    with bench_of(request).records.open().read() as db:
        return SavedPlacesAnswer(places=[place_answer(each) for each in listed(db, PLACES, query)])


@router.get(
    "/v1/saved-places/{place_id}",
    operation_id="saved_place",
    response_model=PlaceAnswer,
    openapi_extra=query_parameters(VersionQuery, {}),
)
def get_place(request: Request, place_id: UUID) -> Response:
    """A saved place, as it is now or as it was in a version."""
    from noonframe.store.places_saved import PLACES

    return shown(request, PLACES, place_id, place_answer)


@router.get("/v1/saved-places/{place_id}/versions", operation_id="saved_place_versions")
def get_place_versions(request: Request, place_id: UUID) -> SavedPlacesAnswer:
    """Every version of a saved place, oldest first."""
    from noonframe.store.places_saved import PLACES

    no_query(request)
    with bench_of(request).records.open().read() as db:
        return SavedPlacesAnswer(places=[place_answer(each) for each in PLACES.history(db, place_id)])


@router.patch(
    "/v1/saved-places/{place_id}",
    operation_id="change_place",
    response_model=PlaceAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra={**json_body(PlaceChange, SAVED_PLACE_CHANGE), **CHANGE},
)
def patch_place(
    request: Request, place_id: UUID, body: Annotated[PlaceChange, Depends(body_of(PlaceChange))]
) -> Response:
    """Save a new version of a place, with `If-Match`; spots that name it follow."""
    from noonframe.store.places_saved import PLACES

    needed = tuple(PlaceChange.model_fields)

    def changes(_db: "Connection", now: "Saved[PlaceFields]") -> "PlaceFields":
        return merged(now.fields, body, needed)

    return changed(
        request, PLACES, place_id, body, changes=changes, shape=lambda _, saved: place_answer(saved)
    )


@router.post(
    "/v1/saved-places/{place_id}/retire",
    operation_id="retire_place",
    response_model=PlaceAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra=CHANGE,
)
def retire_place(request: Request, place_id: UUID) -> Response:
    """Put a place away: it is listed no more, its name is free, nothing is lost."""
    from noonframe.store.places_saved import PLACES

    return turned(request, PLACES, place_id, lambda _, saved: place_answer(saved), retire=True)


@router.post(
    "/v1/saved-places/{place_id}/restore",
    operation_id="restore_place",
    response_model=PlaceAnswer,
    responses=CHANGE_RESPONSES,
    openapi_extra=CHANGE,
)
def restore_place(request: Request, place_id: UUID) -> Response:
    """Take a retired place back."""
    from noonframe.store.places_saved import PLACES

    return turned(request, PLACES, place_id, lambda _, saved: place_answer(saved), retire=False)


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
