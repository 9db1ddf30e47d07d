"""What is told of feeds."""

from typing import Literal

from pydantic import BaseModel, Field


class FeedItem(BaseModel):
    """A feed, without its private address."""

    id: str
    name: str
    shows: Literal["slots", "session"]
    says: str = Field(description="what it shows, in words")
    created: str
    revoked: str | None = Field(description="since when nobody may read it any more")
    last_used_day: str | None = Field(description="day (UTC) on which it was last read, kept no finer")


class FeedsAnswer(BaseModel):
    """Feeds, newest first."""

    feeds: list[FeedItem]


class FeedMadeAnswer(FeedItem):
    """A feed with its private address, which is told this once and kept nowhere."""

    path: str = Field(description="the private path, for whatever address the service has")
    address: str = Field(description="the private address, as the service was reached for this request")
    webcal_address: str = Field(description="the same in the form that many calendars open at a touch")
    summary: str = Field(description="what to do with it, and what to mind")
