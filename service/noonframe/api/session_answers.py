"""What is told of a session plan."""

from typing import Any, Literal

from pydantic import BaseModel, Field

from noonframe.api.bench_answers import SavedItem
from noonframe.api.outputs import Basis, Evenness, Move, Position

StepKind = Literal["load", "expose", "move", "unload", "wash", "soak", "break"]


class SessionStep(BaseModel):
    """One thing on the day's list."""

    id: str = Field(description="the same after planning anew: SHEET:KIND", examples=["kelp-fronds-1:expose"])
    kind: StepKind
    sheet_id: str | None
    sheet: str | None
    frame: str | None
    spot: str | None
    start: str
    end: str
    hands: bool = Field(description="whether the printer is needed")
    state: Literal["done", "running", "planned"]
    chance: float | None = Field(description="of an exposure: the chance that the dose is there by its end")
    says: str


class SessionSheet(BaseModel):
    """What becomes of a sheet; every sheet asked for is told of."""

    sheet_id: str
    sheet: str
    state: Literal["done", "running", "planned", "dropped", "not-fitting"]
    priority: int
    frame: str | None
    spot: str | None
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    load_start: str | None
    start: str | None
    end: str | None
    done: str | None = Field(description="washed and out of the tray")
    length_s: float | None
    length_low_s: float | None = Field(description="10 % quantile")
    length_high_s: float | None = Field(description="90 % quantile; null when the light may go first")
    done_by: str | None
    limit: str | None = Field(description="the latest end of the exposure with which it is done in time")
    chance_by_end: float | None
    chance_by_limit: float | None
    steadiness: float | None = Field(description="lowest light over highest during the exposure")
    evenness: Evenness | None = Field(description="inside a window")
    begin: Position | None = Field(
        description="where the frame begins, where that was chosen among places or aims"
    )
    begin_says: str | None
    moves: list[Move]
    reason: str | None = Field(
        description="not-fitting: too-dim, uneven, no-time, too-late, hands-busy, frames-busy, tray-full or "
        "spot-full"
    )
    says: str


class SpotLightItem(BaseModel):
    """The likely light of the first sheet's kind at a spot."""

    spot: str
    time: list[str]
    effective_w_m2: list[float]


class SessionPlanAnswer(BaseModel):
    """The plan of a session."""

    start: str
    end: str
    planned_at: str
    steps: list[SessionStep]
    sheets: list[SessionSheet]
    advice: list[str]
    light: list[SpotLightItem]
    next: str | None = Field(description="id of the first planned step")
    sheets_planned: int
    sheets_left_out: int
    method: Literal["solver", "search"] = Field(description="search: where no solver is installed")
    proven: bool = Field(description="whether no plan on the same grid of starts is better")
    within_share: float | None = Field(
        description="the time until the sheets are done, weighed by priority and for unsteady light, is at "
        "most this share above the best possible; null while more sheets might be done"
    )
    most_proven: bool = Field(description="whether no plan gets more done, weighed by priority")
    more_might_fit: int = Field(description="how much more, in priority, is not ruled out")
    starts_every_s: float = Field(description="the grid of starts")
    bound_says: str
    cautions: list[str]
    basis: Basis
    summary: str


class SessionAnswer(SavedItem):
    """A saved session: what was asked, what happened, and the plan."""

    asked: dict[str, Any]
    events: list[dict[str, Any]]
    plan: SessionPlanAnswer


class SessionVersionsAnswer(BaseModel):
    """Every version of a saved session."""

    sessions: list[SessionAnswer]


class SessionItem(SavedItem):
    """A saved session in a list."""

    start: str
    end: str
    summary: str
    sheets_planned: int
    sheets_left_out: int
    events_told: int


class SessionsAnswer(BaseModel):
    """Saved sessions, the latest to begin first."""

    sessions: list[SessionItem]
