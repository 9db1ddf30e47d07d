"""What is told of running exposures."""

from typing import Any

from pydantic import BaseModel, Field

from noonframe.api.lamp_outputs import LampBasis
from noonframe.api.outputs import Basis


class SkyNow(BaseModel):
    """The sky taken for now, and why."""

    says: str
    evidence: str
    seen: str | None
    seen_at: str | None
    age_s: float | None
    weight: float = Field(description="share of the sky seen in what is taken; the forecast's is the rest")
    sun_out_share: float
    metered: float = Field(description="factor a meter put on the light, 1 without")


class RunAnswer(BaseModel):
    """A running exposure, from its events and their own times."""

    id: str
    name: str
    status: str
    version: int
    last_sequence: int
    at: str = Field(description="the moment all of this is for")
    start: str | None
    stopped: str | None
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    dose_j_m2: float
    dose_low_j_m2: float = Field(description="lowest point of the sheet")
    dose_high_j_m2: float
    dose_share: float
    dose_spread_stops: float
    effective_w_m2: float
    reached: bool
    reached_at: str | None
    over_stops: float
    end: str | None = Field(description="expected end: the median of the skies ahead")
    end_epoch: int | None
    end_low: str | None
    end_high: str | None
    remaining_s: float | None
    if_sun_stays_s: float | None
    if_cloud_covers_s: float | None
    reached_chance: float | None
    events_ahead: int = Field(description="events told that lie ahead of the clock")
    readings_unused: int
    sky: SkyNow
    advice: str
    cautions: list[str]
    basis: Basis | LampBasis


class RunItem(BaseModel):
    """An exposure in a list."""

    id: str
    name: str
    status: str
    created: str
    target_j_m2: float
    version: int
    last_sequence: int


class RunsAnswer(BaseModel):
    """Exposures, newest first."""

    runs: list[RunItem]


class EventItem(BaseModel):
    """An event as it is kept."""

    sequence: int
    event_id: str
    kind: str
    at: str
    received: str
    payload: dict[str, Any]


class EventsAnswer(BaseModel):
    """Events in the order of telling."""

    events: list[EventItem]


class ToldAnswer(BaseModel):
    """An event kept, and the exposure with it."""

    event: EventItem
    run: RunAnswer
