"""What requests may say.  Unknown fields are refused; limits stand here and so in the OpenAPI."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from noonframe.api.times import CivilDate, OffsetTime
from noonframe.sky.words import SKY_WORDS, THICKEST_CLOUD
from noonframe.sun.place import HIGHEST_ELEVATION_M, LOWEST_ELEVATION_M

_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

Name = Annotated[str, Field(min_length=1, max_length=100)]


class PlaceFields(BaseModel):
    """Where: coordinates, or a place in words, never both."""

    model_config = _STRICT

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


class SceneFields(PlaceFields):
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
    tilt_deg: float = Field(0.0, ge=0, le=90, description="of the frame, from level")
    aim_azimuth_deg: float = Field(
        180.0, ge=0, le=360, description="which way a tilted frame leans, clockwise from true north"
    )
    sensitizer: Name = Field("citrate-classic", description="id of a sensitizer, see /v1/materials")
    stack: str = Field(
        "none",
        max_length=400,
        description="comma list of what the light passes, outermost first; `none` is a bare sheet",
        examples=["float-glass-4mm,polyester-film"],
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
    reciprocity_exponent: float = Field(
        1.0, ge=0.7, le=1.1, description="Schwarzschild's p; 1 is plain reciprocity"
    )


class ExposureQuery(TargetFields):
    """One exposure."""

    start: OffsetTime | None = Field(None, description="now if not given")


class SlotsQuery(TargetFields):
    """The slots of a civil day, or of a span."""

    date: CivilDate | None = Field(None, description="civil day at the place; today if nothing is given")
    start: OffsetTime | None = None
    end: OffsetTime | None = None
    limit: int = Field(6, ge=1, le=50, description="at most so many slots, best first")


class OpenSpotBody(BaseModel):
    """A spot on open ground."""

    model_config = _STRICT

    kind: Literal["open"]
    tilt_deg: float = Field(0.0, ge=0, le=90)
    aim_azimuth_deg: float = Field(180.0, ge=0, le=360)
    skyline: Annotated[list[tuple[float, float]], Field(max_length=720)] | None = Field(
        None,
        description="pairs of azimuth and elevation, by rising azimuth",
        examples=[[[90, 10], [270, 35]]],
    )


class LightBody(LightQuery):
    """A course of light, with a spot."""

    spot: OpenSpotBody | None = None


class ExposureBody(ExposureQuery):
    """One exposure, with a spot."""

    spot: OpenSpotBody | None = None


class SlotsBody(SlotsQuery):
    """Slots, with a spot."""

    spot: OpenSpotBody | None = None


class PlacesQuery(BaseModel):
    """A place looked for by name."""

    model_config = _STRICT

    name: Name = Field(description="a city, `lat,lon` or a geo: URI", examples=["Porto"])
    limit: int = Field(10, ge=1, le=50)
