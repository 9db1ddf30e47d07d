"""Answers about a month or a year."""

from pydantic import BaseModel, Field

from noonframe.api.outputs import Basis

_CLOCK = "clock time at the place, HH:MM"


class HourItem(BaseModel):
    """One hour of the clock over a month."""

    start: str = Field(description=_CLOCK)
    starts: int = Field(description="how often the clock shows this hour in the month")
    possible: int = Field(description="from how many of these starts the exposure can be made")
    length_s: float | None = Field(
        description="median, counting starts that fail as endless; null unless more than half can be made"
    )
    shortest_s: float | None = Field(description="of the starts that can be made")
    longest_s: float | None


class MonthOfYearItem(BaseModel):
    """A month: its best hour, the useful part of its days, and every hour."""

    month: int
    days: int
    days_possible: int = Field(description="days with at least one start")
    best_start: str | None = Field(description=f"the whole hour with the shortest median; {_CLOCK}")
    best_length_s: float | None = Field(description="median at the best start")
    useful_from: str | None = Field(
        description="first start that takes at most twice as long as its day's best, to five minutes; "
        "median over the days"
    )
    useful_until: str | None = Field(description="last such start")
    day_length_s: float = Field(description="from sunrise to sunset, median over the days")
    shortest_day_s: float
    longest_day_s: float
    hours: list[HourItem]


class StartsAnswer(BaseModel):
    """What answers about a month and a year share."""

    days_possible: int = Field(description="days with at least one start")
    clock_changes: list[str] = Field(description="instants at which the clocks change, RFC 3339")
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    low_factor: float = Field(description="eight prints in ten need between this times the minutes told")
    high_factor: float = Field(description="and this times them, as far as the light holds on")
    cautions: list[str]
    basis: Basis
    summary: str


class YearAnswer(StartsAnswer):
    """The starts of a year, month by month."""

    year: int
    months: list[MonthOfYearItem]


class StartItem(BaseModel):
    """One start."""

    start: str = Field(description="RFC 3339")
    length_s: float | None = Field(description="null where the light does not suffice")


class DayItem(BaseModel):
    """A day of a month: its sun, its best start to five minutes, and every whole hour on its clock."""

    date: str
    outcome: str = Field(description="what the sun does: rises-and-sets, up-all-day, down-all-day, ...")
    rise: str | None
    set: str | None
    day_length_s: float
    best_start: str | None = Field(description="RFC 3339, to five minutes")
    best_length_s: float | None
    useful_from: str | None = Field(description="first start that takes at most twice as long as the best")
    useful_until: str | None = Field(description="last such start")
    starts: list[StartItem]


class MonthAnswer(StartsAnswer):
    """The starts of a month, day by day."""

    month: str = Field(description="such as 2026-06")
    days: list[DayItem]
