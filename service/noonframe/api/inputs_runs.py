"""What may be said of a running exposure."""

from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import BaseModel, Field

from noonframe.api.inputs import ExposureBody
from noonframe.api.inputs_spot import STRICT, SpotBody
from noonframe.api.times import OffsetTime
from noonframe.errors import OutOfDomain

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
    lamp_on: bool | None = Field(
        None, description="covered under a lamp: whether it burns on; it is off if not given"
    )


_NEEDED: dict[str, tuple[str, ...]] = {
    "sky": ("sky",),
    "moved": ("spot",),
    "meter": ("quantity", "ratio", "reference", "relative_uncertainty"),
    "target": ("target_j_m2",),
}
_ALLOWED: dict[str, tuple[str, ...]] = {
    "covered": ("lamp_on",),
    "sky": ("vouched_s",),
    "target": ("target_spread_stops",),
}
_OF_EVERY_KIND = {"kind", "at", "event_id"}


def payload_of(body: EventBody) -> dict[str, Any]:
    """What is kept of an event besides its kind, time and id.

    Raises `OutOfDomain` for a field that its kind needs and lacks, or has and does not know.
    """
    needed = _NEEDED.get(body.kind, ())
    for name in needed:
        if getattr(body, name) is None:
            raise OutOfDomain(name, None, f"given with an event of kind {body.kind}")
    known = _OF_EVERY_KIND.union(needed, _ALLOWED.get(body.kind, ()))
    for name in EventBody.model_fields:
        if name not in known and getattr(body, name) is not None:
            raise OutOfDomain(name, None, f"left out of an event of kind {body.kind}")
    fields = body.model_dump(mode="json", exclude_none=True, exclude={*_OF_EVERY_KIND, "reference"})
    if body.reference is not None:
        fields["reference_s"] = body.reference.timestamp()
    return fields


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

    after: int = Field(0, ge=0, le=2**31 - 1, description="sequence number of the last event already known")
