"""From request fields to the engine's own objects; no physics here."""

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from noonframe.api.inputs import OpenSpotBody, PlaceFields, SceneFields, TargetFields
from noonframe.api.outputs import Basis, SkyBasis
from noonframe.dose.scene import Scene, Target
from noonframe.errors import OutOfDomain, UnknownName
from noonframe.places import resolve_place, time_zone_at
from noonframe.settings import Settings
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.skyline import Skyline
from noonframe.stack.materials import parse_stack
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


def find_where(fields: PlaceFields) -> Where:
    """The place a request names; coordinates and words exclude each other."""
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
        return Where(place, _zone(zone), found.label, elevation is not None)
    if latitude_deg is None or longitude_deg is None:
        missing = "latitude_deg" if latitude_deg is None else "longitude_deg"
        raise OutOfDomain(missing, None, "given, together with the other coordinate, or else place")
    place = Place(latitude_deg, longitude_deg, 0.0 if elevation_m is None else elevation_m)
    zone = time_zone_at(latitude_deg, longitude_deg) if time_zone is None else time_zone
    label = f"{latitude_deg:.4f}, {longitude_deg:.4f}"
    return Where(place, _zone(zone), label, elevation_m is not None)


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UnknownName("time_zone", name, "an IANA time zone such as Europe/Lisbon") from None


def understand(
    fields: SceneFields, moment: dt.datetime, settings: Settings, spot: OpenSpotBody | None = None
) -> Ask:
    """The scene a request describes, under the sky of the local day of `moment`."""
    where = find_where(fields)
    sensitizer = find_sensitizer(fields.sensitizer, settings.spectra_dir)
    sky = assume_sky(
        where.place,
        moment.astimezone(where.zone).date(),
        ozone_du=fields.ozone_du,
        aerosol_optical_depth=fields.aerosol_optical_depth,
        ground_albedo=fields.ground_albedo,
        cloud_optical_depth=fields.cloud_optical_depth,
        sky=fields.sky,
    )
    near = fields.near_ground_albedo
    exponent = fields.reciprocity_exponent if isinstance(fields, TargetFields) else 1.0
    scene = Scene(
        place=where.place,
        sky=sky,
        spot=_spot(fields, spot),
        stack=parse_stack(fields.stack, settings.spectra_dir),
        sensitizer=sensitizer,
        near_ground_albedo=sky.state.ground_albedo if near is None else near,
        reciprocity_exponent=exponent,
    )
    return Ask(where, scene)


def _spot(fields: SceneFields, body: OpenSpotBody | None) -> OpenSpot:
    if body is None:
        return OpenSpot(Aim(fields.tilt_deg, fields.aim_azimuth_deg))
    if {"tilt_deg", "aim_azimuth_deg"} & fields.model_fields_set:
        raise OutOfDomain("tilt_deg", fields.tilt_deg, "left out when a spot is given (it has its own)")
    skyline = None if body.skyline is None else Skyline(tuple(body.skyline))
    return OpenSpot(Aim(body.tilt_deg, body.aim_azimuth_deg), skyline)


def find_target(fields: TargetFields, sensitizer: Sensitizer) -> Target:
    """The target asked for, or the sensitizer's documented prior with its wide spread."""
    if fields.target_j_m2 is None:
        if fields.target_spread_stops is not None:
            raise OutOfDomain(
                "target_spread_stops", fields.target_spread_stops, "left out unless target_j_m2 is given"
            )
        return Target(
            sensitizer.target_j_m2,
            sensitizer.target_spread_stops,
            f"prior of {sensitizer.id}: a test strip will narrow it",
        )
    spread = fields.target_spread_stops
    return Target(fields.target_j_m2, GIVEN_TARGET_SPREAD_STOPS if spread is None else spread, "given")


def describe_basis(ask: Ask, *notes: str) -> Basis:
    """What an answer to `ask` rests on."""
    scene, place, state = ask.scene, ask.where.place, ask.scene.sky.state
    all_notes = [*notes]
    if not ask.where.elevation_known:
        all_notes.append(MODEST_ELEVATION_NOTE)
    # The parts are already typed and checked; validating them again would cost as much as the dose.
    sky = SkyBasis.model_construct(
        evidence=scene.sky.evidence,
        says=scene.sky.says,
        ozone_du=round(state.ozone_du, 1),
        aerosol_optical_depth=round(state.aerosol_optical_depth, 4),
        ground_albedo=state.ground_albedo,
        pressure_hpa=round(state.pressure_hpa, 1),
        sources=dict(scene.sky.sources),
        spread_stops=round(scene.sky.spread_stops, 3),
    )
    return Basis.model_construct(
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
        notes=all_notes,
    )


def describe_spot(spot: OpenSpot) -> str:
    """A spot in plain words."""
    aim = spot.aim
    facing = "level" if aim.tilt_deg == 0.0 else f"tilted {aim.tilt_deg:g}° toward {aim.aim_azimuth_deg:g}°"
    around = "" if spot.skyline is None else ", with a skyline"
    return f"open ground, {facing}{around}"
