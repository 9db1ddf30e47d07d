"""What may be asked of calendars and feeds."""

from typing import Literal
from uuid import UUID

from pydantic import BaseModel, Field

from noonframe.api.inputs import Saved, TargetFields
from noonframe.api.inputs_spot import STRICT, SpotBody

MOST_DAYS = 14
MOST_PER_DAY = 3


class CalendarQuery(TargetFields):
    """The best slots of the next days, from today on."""

    days: int = Field(7, ge=1, le=MOST_DAYS, description="civil days at the place, today among them")
    per_day: int = Field(1, ge=1, le=MOST_PER_DAY, description="at most so many slots a day, the best ones")
    reminder: bool = Field(True, description="whether an entry reminds of its best start")
    reminder_min: int = Field(15, ge=0, le=1440, description="minutes before the best start")


class FeedSlots(CalendarQuery):
    """Slots that a feed shows, with a spot."""

    spot: SpotBody | None = None


class FeedBody(BaseModel):
    """A calendar to subscribe to: the slots of the next days, or a saved session; one of the two."""

    model_config = STRICT

    name: Saved = Field(description="what the calendar is called", examples=["Yard"])
    slots: FeedSlots | None = Field(None, description="fields as of /v1/slots/calendar.ics, with a spot")
    session: Saved | None = Field(None, description="a saved session by name or id")


class FeedsQuery(BaseModel):
    """A page of feeds, newest first."""

    model_config = STRICT

    revoked: Literal["no", "yes", "both"] = "no"
    before: UUID | None = Field(None, description="id of the last feed of the page before")
    limit: int = Field(50, ge=1, le=200)
