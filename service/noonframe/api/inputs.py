"""What requests may say.  Unknown fields are refused; limits stand here and so in the OpenAPI."""

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from noonframe.api.inputs_spot import STRICT, SpotBody, SpotFields
from noonframe.api.lamp_bodies import LampField
from noonframe.api.times import CivilDate, OffsetTime
from noonframe.sky.words import SKY_WORDS, THICKEST_CLOUD
from noonframe.stack.objects import HIGHEST_DENSITY
from noonframe.sun.place import HIGHEST_ELEVATION_M, LOWEST_ELEVATION_M

Name = Annotated[str, Field(min_length=1, max_length=100)]
Saved = Annotated[str, Field(min_length=1, max_length=200)]
"""Name or id of something on the shelf."""


class PlaceFields(BaseModel):
    """Where: coordinates, or a place in words, never both."""

    model_config = STRICT

    latitude_deg: float | None = Field(
        None, gt=-90, lt=90, description="north positive; the poles themselves are left out", examples=[41.15]
    )
    longitude_deg: float | None = Field(None, ge=-180, le=180, description="east positive", examples=[-8.61])
    elevation_m: float | None = Field(
        None, ge=LOWEST_ELEVATION_M, le=HIGHEST_ELEVATION_M, description="above sea level; 0 if not given"
    )
    place: Name | None = Field(
        None, description="instead of coordinates: a city, `lat,lon` or a geo: URI (RFC 5870)"
    )
    time_zone: Name | None = Field(None, description="IANA name; found from the coordinates if not given")
    saved_place: Saved | None = Field(
        None, description="instead of all these: a saved place by name or id, see /v1/saved-places"
    )


class SceneFields(PlaceFields, SpotFields):
    """Where, under what sky, facing how, behind what, coated with what."""

    ozone_du: float | None = Field(None, ge=100, le=600, description="climatology if not given")
    aerosol_optical_depth: float | None = Field(
        None, ge=0, le=2, description="at 500 nm; 0.12 at sea level if not given, thinner higher up"
    )
    ground_albedo: float | None = Field(
        None, ge=0, le=1, description="of the country around, 300-480 nm; 0.04 if not given (snow: 0.8)"
    )
    near_ground_albedo: float | None = Field(
        None, ge=0, le=1, description="of the ground a tilted frame sees; as `ground_albedo` if not given"
    )
    cloud_optical_depth: float | None = Field(
        None, ge=0, le=THICKEST_CLOUD, description="of a whole-sky cloud; instead of `sky`"
    )
    sky: Name | None = Field(
        None, description=f"what is seen: {', '.join(SKY_WORDS)}; clear is assumed (and said) if not given"
    )
    sensitizer: Name = Field("citrate-classic", description="id of a sensitizer, see /v1/materials")
    stack: str = Field(
        "none",
        max_length=400,
        description="comma list of what the light passes, outermost first; `none` is a bare sheet",
        examples=["float-glass-4mm,polyester-film"],
    )
    recipe: Saved | None = Field(
        None,
        description="a saved recipe by name or id, see /v1/recipes: its stack and sensitizer, and the target "
        "learned of it where none is given",
    )
    recipe_version: int | None = Field(
        None, ge=1, le=2**31 - 1, description="of the recipe; the newest if not given"
    )
    saved_spot: Saved | None = Field(
        None, description="a saved spot by name or id, with its place, see /v1/spots"
    )
    lamp: LampField = Field(
        None,
        description="in place of sun, place and spot: a saved lamp by name or id, see /v1/lamps; a body may "
        "tell a lamp itself",
    )
    lamp_lit_s: float | None = Field(
        None, ge=0, le=1e6, description="so long the lamp has burned when it begins; switched on then if not"
    )
    negative_density: float | None = Field(
        None,
        ge=0,
        le=HIGHEST_DENSITY,
        description="UV density of the negative's clearest part, above the film that the stack names",
    )
    negative_density_spread: float | None = Field(
        None, ge=0, le=1, description="one standard deviation of it; 0.03 if not given"
    )
    negative_includes_base: bool | None = Field(
        None, description="true: it was read through the film too, which the stack then leaves out"
    )


class LightQuery(SceneFields):
    """A course of light."""

    start: OffsetTime
    end: OffsetTime
    step_s: float = Field(ge=1, le=86400, description="seconds between instants", examples=[600])


class TargetFields(SceneFields):
    """What the sheet needs."""

    target_j_m2: float | None = Field(
        None,
        ge=1,
        le=1e8,
        description="effective dose; the sensitizer's documented prior if not given",
        examples=[24000],
    )
    target_spread_stops: float | None = Field(
        None, ge=0, le=4, description="one standard deviation of the target; 0.25 for a given target"
    )
    target_source: Annotated[str, Field(min_length=1, max_length=300)] | None = Field(
        None, description="who says so, told again with the answer; only with a target"
    )
    reciprocity_exponent: float = Field(
        1.0, ge=0.7, le=1.1, description="Schwarzschild's p; 1 is plain reciprocity"
    )


class ExposureQuery(TargetFields):
    """One exposure, of 24 hours at most.  Where weather is on and no sky is given, the forecast is asked."""

    start: OffsetTime | None = Field(None, description="now if not given")
    objects: str | None = Field(
        None,
        min_length=1,
        max_length=400,
        description="comma list of what lies on the sheet: ids of objects, see /v1/materials, or `opaque`; "
        "the answer tells what their own part gets",
        examples=["leaf"],
    )


class SlotsQuery(TargetFields):
    """The slots of a civil day, or of a span."""

    date: CivilDate | None = Field(None, description="civil day at the place; today if nothing is given")
    start: OffsetTime | None = None
    end: OffsetTime | None = None
    limit: int = Field(6, ge=1, le=50, description="at most so many slots, best first")


class LightBody(LightQuery):
    """A course of light, with a spot."""

    spot: SpotBody | None = None


class MovesQuery(ExposureQuery):
    """A plan of moves."""

    max_moves: int = Field(4, ge=0, le=8, description="at most so many moves")
    move_cost_s: float = Field(30.0, ge=0, le=1800, description="seconds without light for each move")
    evenness_stops: float | None = Field(
        0.5, gt=0, le=4, description="every part of the sheet within so many stops of the target"
    )
    start_fixed: bool = Field(
        False, description="true: the frame begins where the spot says; false: the plan chooses"
    )
    aims: Literal["flat", "propped", "free"] = Field(
        "free", description="outdoors: flat only, also propped at 30 degrees, or freely aimed"
    )
    table_nearest_m: float | None = Field(
        None, ge=0, le=20, description="indoors: how near the frame's centre may come to the wall"
    )
    table_farthest_m: float | None = Field(None, ge=0, le=20)
    table_leftmost_m: float | None = Field(None, ge=-20, le=20)
    table_rightmost_m: float | None = Field(None, ge=-20, le=20)
    most_places: int = Field(60, ge=1, le=120, description="indoors: places on the table to try")
    object_height_mm: float | None = Field(
        None, ge=0, le=500, description="height of an object on the sheet, for the blur of its edge"
    )
    dose_map: bool = Field(False, description="true: the dose over the sheet, row by row from the wall")


class PatchQuery(SceneFields):
    """The patch of sun inside a window on a civil day."""

    date: CivilDate | None = Field(None, description="today at the place if not given")
    table_nearest_m: float | None = Field(None, ge=0, le=20)
    table_farthest_m: float | None = Field(None, ge=0, le=20)
    table_leftmost_m: float | None = Field(None, ge=-20, le=20)
    table_rightmost_m: float | None = Field(None, ge=-20, le=20)
    months: bool = Field(False, description="true: the best place in the middle of every month too")


class MovesBody(MovesQuery):
    """A plan of moves, with a spot."""

    spot: SpotBody | None = None


class PatchBody(PatchQuery):
    """The patch of sun, with a spot."""

    spot: SpotBody | None = None


class ExposureBody(ExposureQuery):
    """One exposure, with a spot."""

    spot: SpotBody | None = None


class SlotsBody(SlotsQuery):
    """Slots, with a spot."""

    spot: SpotBody | None = None


class PlacesQuery(BaseModel):
    """A place looked for by name."""

    model_config = STRICT

    name: Name = Field(description="a city, `lat,lon` or a geo: URI", examples=["Porto"])
    limit: int = Field(10, ge=1, le=50)
