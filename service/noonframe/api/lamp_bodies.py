"""Lamps in requests: the name of a saved one, or all that is known of it."""

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, Field, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from noonframe.api.inputs_spot import STRICT
from noonframe.lamp.geometry import MOST_TUBES
from noonframe.lamp.lamp import LONGEST_HOURS

LONGEST_NAME = 200
_Word = Annotated[str, Field(min_length=1, max_length=100)]
_Spread = Annotated[float, Field(ge=0, le=4)]


class PointBody(BaseModel):
    """A lamp small beside its distance."""

    model_config = STRICT

    shape: Literal["point"]
    beam_angle_deg: float = Field(
        120.0, ge=5, le=160, description="full width of the beam at half of its intensity; 120 is a plain LED"
    )


class TubesBody(BaseModel):
    """One tube, or several side by side in parallel to the sheet."""

    model_config = STRICT

    shape: Literal["tubes"]
    length_m: float = Field(ge=0.02, le=3, description="of the part that glows")
    count: int = Field(1, ge=1, le=MOST_TUBES)
    pitch_m: float = Field(0.0, ge=0, le=1, description="from axis to axis; left out for one tube")
    reflector_gain: float = Field(
        1.0, ge=1, le=2, description="what a reflector adds: 1 for none, about 1.5 for white or metal"
    )


class PanelBody(BaseModel):
    """An evenly bright rectangle, such as a field of LEDs, in parallel to the sheet."""

    model_config = STRICT

    shape: Literal["panel"]
    width_m: float = Field(ge=0.01, le=3)
    depth_m: float = Field(ge=0.01, le=3)


SourceBody = Annotated[PointBody | TubesBody | PanelBody, Field(discriminator="shape")]


class ReadingOutput(BaseModel):
    """A UV meter was laid where the sheet lies, under the warm lamp."""

    model_config = STRICT

    by: Literal["reading"]
    irradiance_w_m2: float | None = Field(None, gt=0, le=1e5)
    irradiance_mw_cm2: float | None = Field(None, gt=0, le=1e4, description="instead: 1 mW/cm2 is 10 W/m2")
    meter_low_nm: float | None = Field(
        None, ge=280, le=475, description="where the meter's band begins; 315 if not given"
    )
    meter_high_nm: float | None = Field(None, ge=285, le=480, description="where it ends; 400 if not given")
    meter_centre_nm: float | None = Field(
        None, ge=280, le=480, description="instead of a band: the wavelength the meter is calibrated for"
    )
    spread_stops: _Spread | None = Field(None, description="one standard deviation; 0.25 if not given")


class PrintOutput(BaseModel):
    """A print under this lamp that came right."""

    model_config = STRICT

    by: Literal["print"]
    length_s: float = Field(gt=0, le=86400, description="that came right")
    lit_before_s: float = Field(0.0, ge=0, le=1e6, description="so long the lamp had burned before")
    recipe: Annotated[str, Field(min_length=1, max_length=200)] | None = Field(
        None, description="a saved recipe: its stack, sensitizer and target"
    )
    target_j_m2: float | None = Field(None, ge=1, le=1e8, description="the sensitizer's prior if not given")
    stack: str | None = Field(None, max_length=400, description="as in a request; none if not given")
    sensitizer: _Word | None = Field(None, description="citrate-classic if not given")
    spread_stops: _Spread | None = Field(None, description="how exactly right; 0.25 if not given")


class PowerOutput(BaseModel):
    """Power and distance; no better than half a stop or so."""

    model_config = STRICT

    by: Literal["power"]
    power_w: float | None = Field(None, gt=0, le=1e5, description="electrical, of all lamps together")
    efficiency: float | None = Field(
        None,
        ge=0.01,
        le=0.9,
        description="UV and violet radiated per electrical watt; the kind's if not given",
    )
    radiant_w: float | None = Field(None, gt=0, le=1e5, description="instead: radiated, of all together")
    source: SourceBody
    distance_m: float = Field(ge=0.005, le=10, description="from the lamp's middle to the sheet")
    sheet_width_m: float = Field(0.2, ge=0, le=3, description="along the tubes")
    sheet_depth_m: float = Field(0.25, ge=0, le=3, description="across them")
    spread_stops: _Spread | None = Field(None, description="worked out if not given")


OutputBody = Annotated[ReadingOutput | PrintOutput | PowerOutput, Field(discriminator="by")]


class LampFields(BaseModel):
    """What is known of a lamp; what is not said is usual for its kind."""

    model_config = STRICT

    kind: _Word = Field(description="id of a kind of lamp, see /v1/lamp-kinds", examples=["uv-a-tube-368"])
    output: OutputBody = Field(description="how its light at the sheet is known")
    hours: float = Field(
        0.0, ge=0, le=LONGEST_HOURS, description="burned since it was measured, or since new where by power"
    )
    loss_per_1000_h: float | None = Field(None, ge=0, le=0.9, description="share of its light that age takes")
    start_share: float | None = Field(None, ge=0.05, le=1, description="of full light when switched on cold")
    time_constant_s: float | None = Field(None, ge=0, le=3600, description="of coming to full light")


class LampBody(LampFields):
    """A lamp told in a request."""

    name: Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)] | None = Field(
        None, description="what to call it in the answer"
    )


def _name_or_lamp(value: Any) -> str | LampBody | None:
    """Only the faults of what was meant: a union would tell those of the other as well."""
    if value is None or isinstance(value, LampBody):
        return value
    if isinstance(value, dict):
        return LampBody.model_validate(value, strict=True)
    if not isinstance(value, str):
        raise PydanticCustomError("lamp", "Input should be the name of a saved lamp, or an object")
    if not 1 <= len(value) <= LONGEST_NAME:
        raise PydanticCustomError("lamp", "A lamp's name has 1 to 200 characters")
    return value


if TYPE_CHECKING:
    LampField = str | LampBody | None
else:
    # A union's schema would be built anew, all of a lamp, into each of the many requests with this field.
    LampField = Annotated[
        Any,
        PlainValidator(_name_or_lamp),
        WithJsonSchema(
            {
                "anyOf": [
                    {"type": "string", "minLength": 1, "maxLength": LONGEST_NAME},
                    {"type": "object", "description": "a lamp told whole, with the fields of POST /v1/lamps"},
                    {"type": "null"},
                ]
            }
        ),
    ]
"""A saved lamp by name or id, or a lamp told whole."""


def names_records(lamp: str | LampBody) -> bool:
    """Whether a lamp can be understood only with the records: it is a name, or has a recipe's."""
    return isinstance(lamp, str) or (isinstance(lamp.output, PrintOutput) and lamp.output.recipe is not None)
