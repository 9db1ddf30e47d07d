"""One-line answers without nesting, for phone automations: times with offset and as epoch seconds."""

from typing import Literal

from pydantic import BaseModel, Field


class SayTomorrow(BaseModel):
    """The best slot of tomorrow."""

    summary: str
    found: bool
    date: str = Field(description="the day that tomorrow is, at the place")
    best_start: str | None
    best_start_epoch: int | None
    best_end: str | None
    best_end_epoch: int | None
    minutes: float | None
    seconds: int | None
    minutes_low: float | None
    minutes_high: float | None
    first_start: str | None
    first_start_epoch: int | None
    last_start: str | None
    last_start_epoch: int | None
    pace: str | None
    sky: str
    next_start: str | None = Field(description="the next chance, where tomorrow gives none")
    next_start_epoch: int | None
    caution: str | None


class SayNextMove(BaseModel):
    """The next thing to do with a frame."""

    summary: str
    found: bool = Field(description="false: nothing is left to do, or nothing is under way")
    of: Literal["plan", "session", "run", "nothing"] = Field(description="what the move belongs to")
    name: str | None = Field(description="of the sheet, or of the print")
    says: str | None = Field(description="what to do")
    at: str | None
    at_epoch: int | None
    minutes_left: float | None = Field(description="until then; below zero when it is overdue")
    seconds_left: int | None
    moves_left: int = Field(description="how many there are from this one on")
    end: str | None = Field(description="when the exposure, or the session, is over")
    end_epoch: int | None
    caution: str | None


class SayRunning(BaseModel):
    """What is in the light; the fields are of the print that is the next to finish."""

    summary: str
    count: int = Field(description="how many prints are in the light")
    names: str = Field(description="of all, the next to finish first, parted by commas")
    run_id: str | None
    name: str | None
    status: str | None
    reached: bool
    start: str | None
    start_epoch: int | None
    end: str | None = Field(description="when it has its dose, or had it")
    end_epoch: int | None
    end_low: str | None
    end_high: str | None
    minutes_left: float | None
    seconds_left: int | None
    dose_percent: int | None
    sky: str | None
    caution: str | None


class AddressAnswer(BaseModel):
    """The address that the service was reached by."""

    address: str
    loopback: bool = Field(description="true: it leads to the service's own machine only")
    summary: str
