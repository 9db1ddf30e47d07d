"""From request fields to the engine's own objects; no physics here."""

import datetime as dt
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from noonframe.api.ask_objects import stack_of
from noonframe.api.ask_spot import describe_spot, find_spot, pane_of
from noonframe.api.inputs import PlaceFields, SceneFields, TargetFields
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.outputs import Basis, SkyBasis
from noonframe.dose.scene import Scene, Target
from noonframe.errors import OutOfDomain, UnknownName
from noonframe.places import resolve_place, time_zone_at
from noonframe.settings import Settings
from noonframe.sky.assume import assume_sky
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import OpenSpot
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer, find_sensitizer
from noonframe.sun.place import Place

LIGHT_MODEL = "16-stream transfer table 1"
GIVEN_TARGET_SPREAD_STOPS = 0.25
MODEST_ELEVATION_NOTE = "elevation not given: sea level taken (1000 m would add about 5 % light)"


@dataclass(frozen=True)
class Where:
    """A request's place with its zone and name."""

    place: Place
    zone: ZoneInfo
    label: str
    elevation_known: bool


@dataclass(frozen=True)
class Ask:
    """A request understood: where, and the scene there."""

    where: Where
    scene: Scene

    @cached_property
    def basis(self) -> Basis:
        """What an answer rests on."""
        return _basis(self)


def find_where(fields: PlaceFields) -> Where:
    """The place a request names; coordinates and words exclude each other."""
    lamp = getattr(fields, "lamp", None)
    if lamp is not None:
        named = lamp if isinstance(lamp, str) else lamp.name or lamp.kind
        raise OutOfDomain("lamp", named, "left out here: this is about the sun")
    return _where(
        fields.place, fields.latitude_deg, fields.longitude_deg, fields.elevation_m, fields.time_zone
    )


@lru_cache(maxsize=1024)
def _where(
    words: str | None,
    latitude_deg: float | None,
    longitude_deg: float | None,
    elevation_m: float | None,
    time_zone: str | None,
) -> Where:
    if words is not None:
        if latitude_deg is not None or longitude_deg is not None:
            raise OutOfDomain("place", words, "left out when latitude_deg and longitude_deg are given")
        found = resolve_place(words)
        elevation = found.elevation_m if elevation_m is None else elevation_m
        place = Place(found.latitude_deg, found.longitude_deg, 0.0 if elevation is None else elevation)
        zone = found.time_zone if time_zone is None else time_zone
        return Where(place, time_zone_of(zone), found.label, elevation is not None)
    if latitude_deg is None or longitude_deg is None:
        missing = "latitude_deg" if latitude_deg is None else "longitude_deg"
        raise OutOfDomain(missing, None, "given, together with the other coordinate, or else place")
    place = Place(latitude_deg, longitude_deg, 0.0 if elevation_m is None else elevation_m)
    zone = time_zone_at(latitude_deg, longitude_deg) if time_zone is None else time_zone
    label = f"{latitude_deg:.4f}, {longitude_deg:.4f}"
    return Where(place, time_zone_of(zone), label, elevation_m is not None)


def time_zone_of(name: str) -> ZoneInfo:
    """The zone of an IANA name; `UnknownName` on `time_zone` for any other."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UnknownName("time_zone", name, "an IANA time zone such as Europe/Lisbon") from None


def understand(
    fields: SceneFields, moment: dt.datetime, settings: Settings, spot: SpotBody | None = None
) -> Ask:
    """The scene a request describes, under the sky of the local day of `moment`."""
    where = find_where(fields)
    where_it_lies = find_spot(fields, spot)
    return _ask(
        _Question(
            where,
            moment.astimezone(where.zone).date(),
            fields.ozone_du,
            fields.aerosol_optical_depth,
            fields.ground_albedo,
            fields.near_ground_albedo,
            fields.cloud_optical_depth,
            fields.sky,
            where_it_lies,
            pane_of(where_it_lies, settings.spectra_dir, flat=spot is None),
            stack_of(fields, settings.spectra_dir),
            find_sensitizer(fields.sensitizer, settings.spectra_dir),
            fields.reciprocity_exponent if isinstance(fields, TargetFields) else 1.0,
        )
    )


class _Question(NamedTuple):
    where: Where
    day: dt.date
    ozone_du: float | None
    aerosol_optical_depth: float | None
    ground_albedo: float | None
    near_ground_albedo: float | None
    cloud_optical_depth: float | None
    sky: str | None
    spot: OpenSpot | WindowSpot
    pane: Stack
    stack: Stack
    sensitizer: Sensitizer
    reciprocity_exponent: float


@lru_cache(maxsize=32)
def _ask(question: _Question) -> Ask:
    """A question understood, kept with its curves: people ask about the same sheet again and again."""
    sky = assume_sky(
        question.where.place,
        question.day,
        ozone_du=question.ozone_du,
        aerosol_optical_depth=question.aerosol_optical_depth,
        ground_albedo=question.ground_albedo,
        cloud_optical_depth=question.cloud_optical_depth,
        sky=question.sky,
    )
    near = question.near_ground_albedo
    scene = Scene(
        place=question.where.place,
        sky=sky,
        spot=question.spot,
        stack=question.stack,
        sensitizer=question.sensitizer,
        near_ground_albedo=sky.state.ground_albedo if near is None else near,
        reciprocity_exponent=question.reciprocity_exponent,
        pane=question.pane,
    )
    return Ask(question.where, scene)


def find_target(fields: TargetFields, sensitizer: Sensitizer) -> Target:
    """The target asked for, or the sensitizer's documented prior with its wide spread."""
    if fields.target_j_m2 is None:
        if fields.target_spread_stops is not None:
            raise OutOfDomain(
                "target_spread_stops", fields.target_spread_stops, "left out unless target_j_m2 is given"
            )
        if fields.target_source is not None:
            raise OutOfDomain("target_source", fields.target_source, "left out unless target_j_m2 is given")
        return Target(sensitizer.target_j_m2, sensitizer.target_spread_stops, prior_words(sensitizer.id))
    spread = GIVEN_TARGET_SPREAD_STOPS if fields.target_spread_stops is None else fields.target_spread_stops
    return Target(fields.target_j_m2, spread, fields.target_source or "given")


def prior_words(whose: str) -> str:
    """Who says so, for a target that no exposure has sharpened yet."""
    return f"prior of {whose}: a test strip will narrow it"


def _basis(ask: Ask) -> Basis:
    scene, place, state = ask.scene, ask.where.place, ask.scene.sky.state
    sky = SkyBasis(
        evidence=scene.sky.evidence,
        says=scene.sky.says,
        ozone_du=round(state.ozone_du, 1),
        aerosol_optical_depth=round(state.aerosol_optical_depth, 4),
        ground_albedo=state.ground_albedo,
        pressure_hpa=round(state.pressure_hpa, 1),
        sources=dict(scene.sky.sources),
        spread_stops=round(scene.sky.spread_stops, 3),
    )
    return Basis(
        place=ask.where.label,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
        time_zone=ask.where.zone.key,
        sky=sky,
        spot=describe_spot(scene.spot),
        stack=list(scene.stack.ids),
        sensitizer=scene.sensitizer.id,
        light_model=LIGHT_MODEL,
        notes=[] if ask.where.elevation_known else [MODEST_ELEVATION_NOTE],
    )
