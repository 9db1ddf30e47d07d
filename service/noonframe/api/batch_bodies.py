"""What may be asked about many places at once."""

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, Field, WithJsonSchema

from noonframe.api.inputs import Name
from noonframe.api.inputs_spot import STRICT
from noonframe.api.times import OffsetTime
from noonframe.sky.words import SKY_WORDS, THICKEST_CLOUD
from noonframe.sun.place import HIGHEST_ELEVATION_M, LOWEST_ELEVATION_M

MOST_PLACES = 100_000
MOST_BATCH_BYTES = 8_388_608
"""Room for five numbers of fifteen characters for each of the places."""

Part = Literal["light", "exposure"]


def _listed(value: object) -> object:
    return [value] if isinstance(value, int | float) and not isinstance(value, bool) else value


def _schema(low: float, high: float) -> WithJsonSchema:
    number = {"type": "number", "minimum": low, "maximum": high}
    several = {"type": "array", "items": number, "minItems": 1, "maxItems": MOST_PLACES}
    return WithJsonSchema({"anyOf": [number, several]})


def _several() -> object:
    # One wrong number is told: a hundred thousand of them would take longer than the answer.
    return Field(min_length=1, max_length=MOST_PLACES, fail_fast=True)


Latitudes = Annotated[list[Annotated[float, Field(gt=-90, lt=90)]], _several()]
Longitudes = Annotated[list[Annotated[float, Field(ge=-180, le=180)]], _several()]
Elevations = Annotated[
    list[Annotated[float, Field(ge=LOWEST_ELEVATION_M, le=HIGHEST_ELEVATION_M)]],
    _several(),
    BeforeValidator(_listed),
    _schema(LOWEST_ELEVATION_M, HIGHEST_ELEVATION_M),
]
Ozone = Annotated[
    list[Annotated[float, Field(ge=100, le=600)]], _several(), BeforeValidator(_listed), _schema(100, 600)
]
Aerosols = Annotated[
    list[Annotated[float, Field(ge=0, le=2)]], _several(), BeforeValidator(_listed), _schema(0, 2)
]
"""A number for all places, or one for each."""


class BatchBody(BaseModel):
    """Level frames on open ground at many places, all with the same sheet, under a given or a clear sky."""

    model_config = STRICT

    latitude_deg: Latitudes = Field(description="north positive, one for each place")
    longitude_deg: Longitudes = Field(description="east positive, as many as latitudes")
    elevation_m: Elevations | None = Field(None, description="for all, or one for each; 0 if not given")
    ozone_du: Ozone | None = Field(None, description="for all, or one for each; climatology if not given")
    aerosol_optical_depth: Aerosols | None = Field(
        None,
        description="at 500 nm, for all, or one for each; 0.12 at sea level if not given, thinner higher up",
    )
    ground_albedo: float | None = Field(None, ge=0, le=1, description="of the country around; 0.04 else")
    cloud_optical_depth: float | None = Field(
        None, ge=0, le=THICKEST_CLOUD, description="of a whole-sky cloud over every place; instead of `sky`"
    )
    sky: Name | None = Field(
        None, description=f"over every place: {', '.join(SKY_WORDS)}; clear (and said so) if not given"
    )
    sensitizer: Name = Field("citrate-classic", description="id of a sensitizer, see /v1/materials")
    stack: str = Field(
        "none",
        max_length=400,
        description="comma list of what the light passes, outermost first; `none` is a bare sheet",
    )
    start: OffsetTime | None = Field(None, description="one moment for all places; now if not given")
    target_j_m2: float | None = Field(
        None, ge=1, le=1e8, description="effective dose; the sensitizer's documented prior if not given"
    )
    target_spread_stops: float | None = Field(
        None, ge=0, le=4, description="one standard deviation of the target; 0.25 for a given target"
    )
    reciprocity_exponent: float = Field(
        1.0, ge=0.7, le=1.1, description="Schwarzschild's p; 1 is plain reciprocity"
    )
    parts: list[Part] = Field(
        default=["light", "exposure"], min_length=1, max_length=2, description="what to answer"
    )
