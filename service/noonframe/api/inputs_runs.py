"""What may be said of a running exposure."""

from typing import Annotated, Literal
from uuid import UUID

from pydantic import BaseModel, Field

from noonframe.api.inputs import ExposureBody
from noonframe.api.inputs_spot import STRICT, SpotBody
from noonframe.api.times import OffsetTime

EventKind = Literal["covered", "uncovered", "sky", "moved", "meter", "target", "finished", "discarded"]


class RunBody(ExposureBody):
    """A sheet put into the light."""

    name: str = Field("", max_length=200, description="what is printed", examples=["kelp fronds"])


class EventBody(BaseModel):
    """Something that happened to a running exposure.

    `sky` goes with what was seen (sun-out, thin-cloud, covered, broken, overcast, rain, fog); `moved` with a
    spot; `meter` with a ratio to a reading by the same meter at `reference`; `target` with the new dose.
    """

    model_config = STRICT

    kind: EventKind
    at: OffsetTime | None = Field(
        None, description="when it happened; now if not given, late ones are welcome"
    )
    event_id: UUID | None = Field(None, description="made by the teller, so that a repetition counts once")
    sky: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    vouched_s: float | None = Field(None, ge=0, le=3600, description="for how long the sky seen holds")
    spot: SpotBody | None = None
    quantity: Literal["uv", "lux"] | None = None
    ratio: float | None = Field(None, ge=0.001, le=1000)
    reference: OffsetTime | None = None
    relative_uncertainty: float | None = Field(None, gt=0, le=1)
    target_j_m2: float | None = Field(None, ge=1, le=1e8)
    target_spread_stops: float | None = Field(None, ge=0, le=4)


class RunsQuery(BaseModel):
    """Which exposures to list."""

    model_config = STRICT

    status: Literal["running", "covered", "finished", "discarded"] | None = Field(
        None, description="all if not given"
    )
    limit: int = Field(50, ge=1, le=200)


class EventsQuery(BaseModel):
    """Which events to list."""

    model_config = STRICT

    after: int = Field(0, ge=0, description="sequence number of the last event already known")
